"""Geometry that cannot be gives a finding, never a number."""

import numpy as np
import pytest

from photoangle.core.findings import UNUSABLE, Refusal
from photoangle.linkage.advice import advise
from photoangle.linkage.checks import SENSIBLE_MM, check_corner, check_length
from photoangle.linkage.corner import Corner, Taped
from photoangle.linkage.ride import carry
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Travel, over_travel
from tests.linkage.corners import POINTS, STRUT, corner

TRAVEL = Travel(-70, 60, steps=14)


@pytest.mark.parametrize("change_mm, word", [(-80.0, "too short"), (420.0, "too long")])
def test_a_link_that_does_not_close_has_no_angle_there(change_mm, word):
    result = over_travel(corner(), TRAVEL, change_mm, sampling=Sampling(200))
    said = [f for f in result.findings if word in f.what]
    assert said and said[0].level == UNUSABLE and said[0].do
    gone = np.isnan(result.courses["bar_arm_angle"].value)
    assert gone.any()
    for course in result.courses.values():
        if course.name != "control_arm_angle":
            assert np.isnan(course.value[gone]).all() and np.isnan(course.low95[gone]).all(), course.name
    assert not result.nearest


def test_an_arm_that_cannot_get_there_is_named():
    result = over_travel(corner(change=STRUT), Travel(-70, 700, steps=14), sampling=Sampling(100))
    assert any("cannot reach" in f.what and f.level == UNUSABLE for f in result.findings)


def test_an_eye_on_the_dead_line_is_refused_by_everything():
    # the foot in the line of bush and eye, seen along the bar's axis
    bush, eye = np.array(POINTS["bar_bush"], float), np.array(POINTS["bar_eye"], float)
    line = (eye - bush) * [1, 0, 1]
    foot = eye + 130 * line / np.linalg.norm(line)
    stuck = corner(change={"link_foot": tuple(foot)}, link_foot_on="knuckle")
    for refused in (over_travel(stuck, TRAVEL), advise(stuck, TRAVEL), carry(stuck, TRAVEL)):
        assert isinstance(refused, Refusal) and "one line" in refused.finding.what
    # a hair off the line the side is still not known: less than the points' own uncertainty
    near = corner(change={"link_foot": tuple(foot + [0, 0, 0.2])}, link_foot_on="knuckle")
    assert isinstance(over_travel(near, TRAVEL), Refusal)
    well = corner(change={"link_foot": tuple(foot + [0, 0, -60.0])}, link_foot_on="knuckle")
    assert not any(f.level == UNUSABLE for f in check_corner(well))


@pytest.mark.parametrize("rest, words", [
    ({"hub_to_arch_mm": {"droop": Taped(14.9, 0.5), "ride": Taped(330, 0.5)}}, "inches"),
    ({"hub_to_arch_mm": {"droop": Taped(-400, 0.5), "ride": Taped(330, 0.5)}}, "more than zero"),
    ({"hub_to_arch_mm": {"droop": Taped(330, 0.5), "ride": Taped(400, 0.5)}}, "mixed up"),
    ({"link": Taped(-120.0, 0.5)}, "more than zero"),
    ({"link": Taped(4.9, 0.5)}, "inches"),
    ({"link": Taped(145.0, 0.5)}, "joints are"),
    ({"hub_to_arch_mm": {"droop": Taped(float("nan"), 0.5), "ride": Taped(330, 0.5)}}, "more than zero"),
    ({"change": {"link_foot": POINTS["arm_ball_joint"], "arm_ball_joint": POINTS["link_foot"]}}, "mixed up")])
def test_lengths_that_cannot_be(rest, words):
    made = corner(**rest)
    for refused in (over_travel(made, TRAVEL), advise(made, TRAVEL)):
        assert isinstance(refused, Refusal)
        assert words in refused.finding.what + refused.finding.do and refused.finding.do


def test_a_whole_corner_in_inches_is_recognised():
    made = corner()
    small = Corner(**{**made.__dict__, "positions_mm": made.positions_mm / 25.4})
    refused = over_travel(small, TRAVEL)
    assert isinstance(refused, Refusal) and "inches" in refused.finding.what


@pytest.mark.parametrize("name", SENSIBLE_MM)
def test_lengths_within_reason_pass(name):
    low, high = SENSIBLE_MM[name]
    assert check_length(name, (low + high) / 2, "") is None
    assert check_length(name, high * 3, "").level == UNUSABLE


def test_points_that_are_no_numbers_are_refused():
    made = corner(change={"bar_eye": (np.nan, 400, 90)})
    assert isinstance(over_travel(made, TRAVEL), Refusal)


@pytest.mark.parametrize("hole_mm", [230.0, 300.0, -500.0])
def test_an_eye_hole_that_leaves_no_lever_is_refused(hole_mm):
    for refused in (over_travel(corner(), TRAVEL,
                                hole_mm=hole_mm), advise(corner(), TRAVEL, hole=("inner", hole_mm))):
        assert isinstance(refused, Refusal) and "lever" in refused.finding.what


def test_nearly_in_line_over_the_travel_is_said_with_its_place():
    plain = over_travel(corner(), TRAVEL, sampling=Sampling(200))
    assert plain.nearest["line_up_min"].verdict == "clear"
    near = over_travel(corner(), TRAVEL, -61.0, sampling=Sampling(200))
    closest = near.nearest["line_up_min"]
    assert closest.verdict != "clear" and closest.figure.low95 < 10.0 and closest.at_mm == -70.0
    assert any("of one line at -70 mm" in f.what and f.do for f in near.findings)
