"""Which link: lengths in closed form, guarded verdicts, the adjuster's half turns and its limits."""

import numpy as np
import pytest

from photoangle.core.findings import Refusal
from photoangle.linkage.adjuster import Adjuster
from photoangle.linkage.advice import CANNOT_TELL, CHANGE, LEAVE, OUT_OF_REACH, advise, advise_holes
from photoangle.linkage.corner import Taped
from photoangle.linkage.kinematics.lengths import Wanted, lengths, other_hole
from photoangle.linkage.kinematics.mechanism import bar_arm_angle, position
from photoangle.linkage.kinematics.turning import angle_between, square_to
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Travel, over_travel
from tests.linkage.corners import STRUT, corner

TRAVEL = Travel(-70, 60, steps=14)
TURNBUCKLE = Adjuster(1.25, 2)
MICRODEGREE = 1e-6


def _angle_with(layout, link):
    return np.degrees(bar_arm_angle(layout, position(layout, np.full((1, 1), 70.0), link).bar_turn)).item()


@pytest.mark.parametrize("tops", [{}, STRUT])
@pytest.mark.parametrize("degrees", [-12.0, 0.0, 5.0])
def test_the_length_wanted_gives_the_angle_wanted(tops, degrees):
    layout = corner(change=tops).nominal()
    found = lengths(layout, np.full((1, 1), 70.0), Wanted(degrees, 3.0))
    at = [_angle_with(layout, m) for m in (found.low_mm, found.wanted_mm, found.high_mm)]
    assert np.abs(np.array(at) - [degrees - 3, degrees, degrees + 3]).max() < 1 * MICRODEGREE


def test_square_to_the_lever_is_square_to_the_lever():
    layout = corner().nominal()
    rise = np.full((1, 1), 70.0)
    found = lengths(layout, rise, Wanted(square=True))
    place = position(layout, rise, found.wanted_mm)
    lever = square_to(place.eye - layout.at["bar_bush"], layout.bar_axis)
    assert abs(np.degrees(angle_between(lever, place.eye - place.foot)).item() - 90) < 1 * MICRODEGREE


def test_another_hole_keeps_the_bars_angle():
    layout = corner().nominal()
    near = lengths(layout, np.full((1, 1), 70.0), Wanted(-3.0, 1.0), hole_mm=25.0)
    moved = over_travel(corner(), TRAVEL, (near.wanted_mm - near.present_mm).item(), sampling=Sampling(50),
                        hole_mm=25.0)
    assert abs(moved.at_ride["bar_arm_angle"].value + 3.0) < 1 * MICRODEGREE
    holes = advise_holes(corner(), TRAVEL, [("outer", 0.0), ("inner", 25.0)], Wanted(-3.0, 1.0),
                         sampling=Sampling(4000, budget=False))
    assert holes["inner"].figures["link_length_wanted"].value == pytest.approx(near.wanted_mm.item(),
                                                                               abs=1e-9)
    assert holes["outer"].figures["link_length_wanted"].value != pytest.approx(near.wanted_mm.item(), abs=0.5)
    # the present link hangs in the outer hole: nothing can be left as it is in the other
    assert holes["inner"].verdict != LEAVE


def test_another_hole_lies_nearer_to_the_axis_on_the_same_lever():
    layout = corner().nominal()
    lever = square_to(layout.at["bar_eye"] - layout.at["bar_bush"], layout.bar_axis)
    inner = other_hole(layout, 25.0)
    other = square_to(inner.at["bar_eye"] - inner.at["bar_bush"], inner.bar_axis)
    assert np.linalg.norm(lever) - np.linalg.norm(other) == pytest.approx(25.0, abs=1e-9)
    assert np.degrees(angle_between(lever, other)).item() < 1 * MICRODEGREE


def test_leave_it_when_it_is_surely_within():
    advice = advise(corner(), TRAVEL, Wanted(-5.8, 3.0), TURNBUCKLE)
    assert advice.verdict == LEAVE and advice.sentence.startswith("leave it") and advice.conforms > 0.99


def test_change_names_a_change_and_its_band_and_any_of_it_will_do():
    made = corner()
    advice = advise(made, TRAVEL, Wanted(0.0, 3.0), TURNBUCKLE)
    assert advice.verdict == CHANGE and advice.sentence.startswith("lengthen by 25.0 mm, any of")
    assert advice.half_turns * TURNBUCKLE.half_turn_mm == pytest.approx(advice.change_mm)
    turns = advice.figures["link_turns"].value
    assert 2 * turns == round(
        2 * turns) and abs(turns * 2.5 - advice.figures["link_change"].value) <= 0.5 * 1.25
    # other samples than those it was made from: both ends of the band must conform in about 95 of 100
    drawn = made.sample(4000, seed=99)
    rise = drawn.hub_to_arch_mm["droop"] - drawn.hub_to_arch_mm["ride"]
    present = lengths(drawn, rise, Wanted()).present_mm
    for change in (*advice.any_of_mm, advice.change_mm):
        angle = np.degrees(bar_arm_angle(drawn, position(drawn, rise, present + change).bar_turn))
        assert np.mean(np.abs(angle) <= 3.0) > 0.94, change


def test_beyond_the_band_it_does_not_do():
    advice = advise(corner(), TRAVEL, Wanted(0.0, 3.0), TURNBUCKLE)
    width = advice.any_of_mm[1] - advice.any_of_mm[0]
    plain = advice.figures["link_length_longest"].value - advice.figures["link_length_shortest"].value
    # guarded: narrower than the plain tolerance by about two standard uncertainties at either end
    u = advice.figures["link_change"].u
    assert plain - width == pytest.approx(2 * 1.96 * u, rel=0.15)


def test_at_the_edge_of_the_tolerance_it_cannot_tell_and_says_what_helps():
    advice = advise(corner(), TRAVEL, Wanted(-3.0, 3.0), TURNBUCKLE)
    assert advice.verdict == CANNOT_TELL and 0.05 < advice.conforms < 0.95
    assert "can't tell yet" in advice.sentence and "% of the uncertainty" in advice.do
    assert advice.findings


def test_a_tolerance_finer_than_what_is_known_is_never_promised():
    surely_out = advise(corner(), TRAVEL, Wanted(0.0, 0.2), TURNBUCKLE)
    assert surely_out.any_of_mm is None and "measure again" in surely_out.sentence
    perhaps = advise(corner(), TRAVEL, Wanted(-5.8, 0.3), TURNBUCKLE)
    assert perhaps.verdict == CANNOT_TELL and perhaps.any_of_mm is None


@pytest.mark.parametrize("adjuster, step", [(Adjuster(1.25, 1), 0.625), (Adjuster(1.25, 2), 1.25),
                                            (Adjuster(1.5, 2, opposite_hands=False), 0.75),
                                            (Adjuster(), None)])
def test_half_a_turn(adjuster, step):
    assert adjuster.half_turn_mm == step


def test_range_and_thread_left_in():
    # M10 x 1.25, 1.5 diameters must stay in (common practice, no source): 22 - 15 = 7 mm at each of two ends
    adjuster = Adjuster(1.25, 2, longest_mm=200, thread_mm=10, thread_in_mm=22, thread_out_mm=9, jam_nut_mm=6)
    low, high, why_low, why_high = adjuster.reach(120.0)
    assert (low, high) == (-6.0, 14.0)
    assert "jam nut" in why_low and "15 mm" in why_high
    advice = advise(corner(), TRAVEL, Wanted(0.0, 1.0), adjuster)
    assert advice.verdict == OUT_OF_REACH and "15 mm of thread must stay in" in advice.sentence
    # a wider tolerance lets the nearest change within the thread do
    wide = advise(corner(), TRAVEL, Wanted(0.0, 5.0), adjuster)
    assert wide.verdict == CHANGE and wide.any_of_mm[1] == 14.0 and 0 < wide.change_mm <= 14.0


def test_out_of_the_makers_range():
    advice = advise(corner(), TRAVEL, Wanted(10.0, 2.0), Adjuster(1.25, 2, shortest_mm=100, longest_mm=130))
    assert (
        advice.verdict == OUT_OF_REACH
        and "no longer than 130 mm" in advice.sentence
        and advice.half_turns is None
    )


def test_a_pitch_too_coarse_for_the_band_is_said():
    advice = advise(corner(u_mm=0.05, hub_to_arch_mm={"droop": Taped(400, 0.05), "ride": Taped(330, 0.05)},
                           hub_differs_within=0.0, change={"bar_bush_far": (250, -330, 150)}),
                    TRAVEL, Wanted(0.1, 0.05), Adjuster(6.0, 2))
    assert any("no half turn" in f.what for f in advice.findings)


def test_lowering_and_another_link_are_answered_together():
    wanted = Wanted(0, 2)
    plain, lowered = (advise(corner(), way, wanted, TURNBUCKLE, sampling=Sampling(200))
                      for way in (TRAVEL, TRAVEL.lowered(15)))
    assert lowered.change_mm < plain.change_mm  # the arm has already come up
    as_advised = over_travel(corner(), TRAVEL, plain.change_mm, sampling=Sampling(200))
    assert abs(as_advised.at_ride["bar_arm_angle"].value) < 0.5
    shorter, present = (over_travel(corner(), TRAVEL, change, sampling=Sampling(200)) for change in (-10.0, 0.0))
    assert shorter.at_ride["bar_arm_angle"].value < present.at_ride["bar_arm_angle"].value - 1


def test_an_angle_beyond_the_dead_line_is_refused():
    # seen from the bush the foot lies 30 deg below level at ride height: there arm and link are in line
    refused = advise(corner(), TRAVEL, Wanted(-60.0, 3.0))
    assert isinstance(refused, Refusal) and "one line" in refused.finding.what


@pytest.mark.parametrize("wrong", [{"threaded_ends": 3}, {"thread_pitch_mm": -1.0},
                                   {"shortest_mm": 150, "longest_mm": 120}, {"longest_mm": float("nan")}])
def test_adjusters_that_cannot_be_raise(wrong):
    with pytest.raises(ValueError):
        Adjuster(**wrong)
