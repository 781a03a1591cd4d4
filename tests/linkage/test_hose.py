"""The hose's points over the travel: between two heights, beyond them, and carried by shares."""

import numpy as np
import pytest

from photoangle.linkage.corner import Taped
from photoangle.linkage.kinematics.hose import SWAY, WANDER, hose_gaps, hose_places
from photoangle.linkage.kinematics.mechanism import position
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Travel, over_travel
from tests.linkage.corners import POINTS, corner

SECOND = np.array(POINTS["hose_a"]) + (12.0, -4.0, 30.0)


def _seen_twice(**rest):
    made = corner(
        0.001,
        drop=("hose_b", "hose_c"),
        change={"hose_a_second": tuple(SECOND)},
        second_state={"hose_a": "set"},
        hose_on={},
        hub_to_arch_mm={"droop": Taped(400, 1e-6), "set": Taped(340, 1e-6), "ride": Taped(330, 1e-6)},
        **rest)
    return made


@pytest.mark.parametrize("rise_mm, share", [(0.0, 0.0), (60.0, 1.0), (30.0, 0.5), (90.0, 1.5), (-30.0, -0.5)])
def test_on_the_line_through_both_places(rise_mm, share):
    made = _seen_twice()
    layout = made.nominal()
    at = hose_places(layout, position(layout, np.array([[rise_mm]])), np.array([[rise_mm]]), layout.hose)["hose_a"]
    first = np.array(POINTS["hose_a"])
    assert at.ravel() == pytest.approx(first + share * (SECOND - first), abs=1e-9)


def test_beyond_the_two_heights_it_is_less_sure():
    made = _seen_twice()
    layout = made.sample(4000)
    rise = np.array([[30.0, 90.0]])
    spread = hose_places(layout, position(layout, rise), rise, layout.hose)["hose_a"].std(axis=0)
    # half the movement is extrapolated at 90 of 60 mm
    assert np.linalg.norm(spread[0]) < 0.05
    assert np.linalg.norm(spread[1]) == pytest.approx(WANDER * 0.5 *
                                                      np.linalg.norm(SECOND - POINTS["hose_a"]),
                                                      rel=0.05)


def test_seen_once_and_nothing_said_it_may_be_anything_between():
    made = corner(0.001, drop=("hose_b", "hose_c"), hose_on={})
    layout = made.sample(4000)
    rise = np.array([[50.0]])
    place = position(layout, rise)
    at = hose_places(layout, place, rise, layout.hose)["hose_a"]
    still, moved = layout.at["hose_a"], place.knuckle.carried(layout.at["hose_a"])
    share = ((at - still)[..., 2] / (moved - still)[..., 2]).ravel()
    # evenly spread from 0 to 1: a standard deviation of 1 / sqrt(12), and swaying to all sides
    up = (moved - still)[0, 0, 2] / np.linalg.norm((moved - still)[0, 0])
    assert share.std() == pytest.approx(np.hypot(12**-0.5, SWAY / up), rel=0.03)


def test_a_hose_seen_at_one_place_may_run_anywhere_unless_it_was_looked_at():
    # a marker 60 mm beside the eye; what the hose does beyond it nobody said
    beside = {"hose_a": (20, 460, 90), "hose_a_second": (20, 460, 90)}
    options = dict(change=beside, drop=("hose_b", "hose_c"), second_state={"hose_a": "ride"})
    looked, unseen = (over_travel(corner(0.3, hose_leads_away=said, **options), Travel(-70, 60, steps=9),
                                  sampling=Sampling(2000)).nearest["gap_min_eye"] for said in (True, False))
    assert looked.verdict == "clear" and unseen.verdict == "cannot tell"
    # nothing that is left out narrows
    assert unseen.figure.low95 < looked.figure.low95 - 10
    assert unseen.figure.high95 > looked.figure.high95 - 0.5


def test_three_points_of_a_bow_are_joined_by_the_bow_and_not_by_its_chords():
    # markers 50 mm apart on a circle of 100 mm, and the eye at its centre: chords would come 3.2 mm nearer
    turns = (-0.5, 0.0, 0.5)
    eye = np.array(POINTS["bar_eye"], float)
    places = {f"hose_{k}": tuple(eye + 100 * np.array([np.cos(t), 0, np.sin(t)]))
              for k, t in zip("abc", turns, strict=True)}
    layout = corner(change=places).nominal()
    gap = hose_gaps(layout, position(layout, np.zeros((1, 1))), np.zeros((1, 1)))["gap_eye"].item()
    assert gap == pytest.approx(100 - 12 - 6, abs=1.0)
