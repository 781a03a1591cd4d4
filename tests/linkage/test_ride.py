"""To ride height by tape and by linkage, with the facts of the trade as the planar limit."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photoangle.core.figure import Figure
from photoangle.core.findings import Refusal
from photoangle.linkage.corner import Corner, KnownDirection, Taped
from photoangle.linkage.kinematics.mechanism import bar_arm_angle, control_arm_angle, position
from photoangle.linkage.not_given import KNUCKLE
from photoangle.linkage.ride import at_ride, carry, check, no_datum_finding
from photoangle.linkage.tape_only import LEAN, Readings, TapedCorner, tape_corner
from photoangle.linkage.travel import Travel
from tests.linkage.corners import STRUT, TIE_ROD, corner

INCH = 25.4
TRAVEL = Travel(-54, 50, steps=5)
# Facts of the trade (common practice, no source): hub to arch 14.9 in at droop and 12.8 in loaded, control
# arm 13.5 in with the link's foot at 8.5 in; bar arm 7.3 in, bush at 5.85 in and eye at 4.62 in over a level
# line at droop.
RISE = (14.9 - 12.8) * INCH


def _inches(value, u_mm=0.5):
    return Taped(value * INCH, u_mm)


def _taped(link=None, pitch=(0.0, 0.0), u_mm=0.5, **change):
    heights = dict(bar_bush=_inches(5.85, u_mm), bar_eye=_inches(4.62, u_mm), arm_pivot=_inches(1.0, u_mm),
                   arm_ball_joint=_inches(1.0 - 2.1, u_mm)) | change.pop("heights", {})
    lengths = dict(bar_arm=_inches(7.3, u_mm),
                   control_arm=_inches(13.5, u_mm),
                   foot_from_pivot=_inches(8.5, u_mm))
    lengths |= {} if link is None else {"link": _inches(link, u_mm)}
    lengths |= change.pop("lengths", {})
    arch = change.pop("arch", dict(droop=_inches(14.9, u_mm), ride=_inches(12.8, u_mm)))
    read = {k: change.pop(k) for k in ("roll_deg", "pitch_between_deg") if k in change}
    readings = Readings(heights, lengths, arch, pitch, **{"roll_deg": (0.0, 0.0)} | read)
    # hub and ball joint rise alike, as the trade's sum has it, unless a test says otherwise
    return tape_corner("front-left", "droop", readings, **{"hub_differs_within": 0.0} | change)


def test_facts_of_the_trade_as_the_planar_limit():
    layout = _taped().nominal()
    place = position(layout, np.full((1, 1), RISE))
    arm = np.degrees(place.arm_turn).item()
    assert arm == pytest.approx(8.95, abs=0.005)                       # two figures after the point, as told
    assert (place.foot - layout.at["link_foot"])[0, 0, 2] / INCH == pytest.approx(1.32, abs=0.005)
    # the link goes straight up and down in the trade's sum; the exact closure lets it lean, by a few
    # thousandths here
    assert (place.eye - layout.at["bar_bush"])[0, 0, 2] / INCH == pytest.approx(0.09, abs=0.005)
    assert np.degrees(bar_arm_angle(layout, place.bar_turn)).item() == pytest.approx(0.7, abs=0.05)


def test_a_very_long_link_is_the_trades_straight_up_and_down():
    taped = _taped(heights={"arm_pivot": Taped(-1e6, 0), "arm_ball_joint": Taped(-1e6 - 2.1 * INCH, 0)})
    layout = taped.nominal()
    place = position(layout, np.full((1, 1), RISE))
    wanted = math.degrees(math.asin((4.62 - 5.85 + 8.5 * 2.1 / 13.5) / 7.3))
    assert np.degrees(bar_arm_angle(layout, place.bar_turn)).item() == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize("ahead, sign", [(True, -1), (False, 1)])
def test_a_raised_nose_makes_the_trades_answer_wrong_by_its_pitch(ahead, sign):
    level = carry(_taped(eye_ahead=ahead), TRAVEL, budget=False).figures["bar_arm_angle"].value
    pitched = carry(_taped(pitch=(5.5, 0.0), eye_ahead=ahead), TRAVEL,
                    budget=False).figures["bar_arm_angle"].value
    # droop was read 5.5 deg off; what the link does on the way changes that by a tenth or so
    assert pitched - level == pytest.approx(sign * 5.5, abs=0.3)
    assert level == pytest.approx(0.7, abs=0.05)


def test_roll_shifts_the_control_arm_by_itself():
    for left, sign in ((True, -1), (False, 1)):
        flat, rolled = (_taped(roll_deg=(r, 0.0), left=left).nominal() for r in (0.0, 1.0))
        zero = np.zeros((1, 1))
        apart = control_arm_angle(rolled, zero) - control_arm_angle(flat, zero)
        assert np.degrees(apart).item() == pytest.approx(sign * 1.0, abs=1e-6)


def test_no_datum_is_loud_and_its_size_is_right_and_counts():
    finding = no_datum_finding("front-left/droop", (0.0, 5.517))
    assert "nose up by anything from 0.0 to 5.5 deg" in finding.what
    assert "tail up by anything from 0.0 to 5.5 deg" in no_datum_finding("", (-5.517, 0.0)).what
    blind = _taped(pitch=None, pitch_between_deg=(0.0, 5.517))
    assert blind.findings and "pitch" in blind.findings[0].what
    known = carry(_taped(), TRAVEL, budget=False).figures["bar_arm_angle"]
    wide = carry(blind, TRAVEL, budget=False).figures["bar_arm_angle"]
    assert wide.u > 2.5 * known.u and wide.u == pytest.approx(math.hypot(5.517 / math.sqrt(12), known.u), rel=0.1)
    # an arm that points forward is lifted with the nose: the chassis sees it lower by the middle of it
    assert wide.value - known.value == pytest.approx(-5.517 / 2, abs=0.3)


def test_tape_agrees_with_the_three_dimensional_corner_within_its_interval():
    # a taped corner made from the points of a full one, the link's lean unknown to it
    full = replace(corner(), bar_axis=KnownDirection.within([0, 1, 0], 0.3))  # as motion shows it
    at = dict(zip(full.names, full.positions_mm, strict=False))
    axis = at["arm_pivot_front"] - at["arm_pivot_rear"]
    axis = axis / np.linalg.norm(axis)
    pivot = at["arm_pivot_front"] + axis * ((at["arm_ball_joint"] - at["arm_pivot_front"]) @ axis)
    arm = at["arm_ball_joint"] - pivot
    bar = at["bar_eye"] - at["bar_bush"]
    reach = at["link_foot"] - pivot
    taped = tape_corner(
        "front-left",
        "droop", Readings({
            "bar_bush": Taped(at["bar_bush"][2], 0.5), "bar_eye": Taped(
                at["bar_eye"][2], 0.5), "link_foot": Taped(at["link_foot"][2], 0.5), "arm_pivot": Taped(
                    pivot[2], 0.5), "arm_ball_joint": Taped(at["arm_ball_joint"][2], 0.5)
        }, {
            "bar_arm": Taped(float(np.hypot(bar[0], bar[2])), 0.5), "control_arm": Taped(
                float(np.linalg.norm(arm)), 0.5), "foot_from_pivot": Taped(
                    float(np.hypot(reach[1], reach[2])), 0.5), "link": Taped(
                        float(np.linalg.norm(at["bar_eye"] - at["link_foot"])), 0.5)
        },
        full.hub_to_arch_mm,
        pitch_deg=(0.0, 0.1),
        roll_deg=(0.0, 0.1)), eye_ahead=False)
    assert isinstance(taped, TapedCorner)
    by_tape = carry(taped, TRAVEL, budget=True).figures["bar_arm_angle"]
    by_points = carry(full, TRAVEL, budget=False).figures["bar_arm_angle"]
    assert by_tape.low95 < by_points.value < by_tape.high95
    assert by_tape.u > by_points.u
    assert LEAN in by_tape.budget


def test_which_way_a_taped_link_leans_has_no_best_guess_so_the_mean_is_given():
    upright = carry(_taped(), TRAVEL, budget=False).figures["bar_arm_angle"]
    leaning = carry(_taped(link=5.5), TRAVEL, budget=False).figures["bar_arm_angle"]
    assert leaning.u > 1.3 * upright.u
    # leaning any way, it is on average as if it stood upright
    assert abs(leaning.value - upright.value) < 0.1 * leaning.u


def test_the_unknown_knuckle_is_a_line_of_its_own_and_the_known_one_is_not():
    bare = carry(corner(hub_differs_within=None), TRAVEL)
    known = carry(corner(change=STRUT | TIE_ROD), TRAVEL)
    assert bare.figures["bar_arm_angle"].budget[KNUCKLE] > 0.1
    assert KNUCKLE not in known.figures["bar_arm_angle"].budget
    assert not any("knuckle tilts" in f.what for f in known.findings)
    assert any("knuckle tilts" in f.what for f in bare.findings)


def test_set_and_droop_check_each_other():
    from_droop = carry(corner(change=STRUT), TRAVEL, budget=False).figures["bar_arm_angle"]
    layout = corner(change=STRUT).nominal()
    place = position(layout, np.full((1, 1), 70.0))
    at = dict(zip(corner(change=STRUT).names, corner(change=STRUT).positions_mm, strict=False)) | {
        "bar_eye": place.eye[0, 0], "link_foot": place.foot[0, 0]}
    names = tuple(at)
    def at_set(shift):
        moved = np.array([at[n] for n in names]) + [[0, 0, shift if n == "bar_eye" else 0] for n in names]
        made = Corner("front-left", "set", names, moved, {"pixels": 0.09 * np.eye(3 * len(names))})
        return carry(made, TRAVEL, budget=False).figures["bar_arm_angle"]
    same = check({"measured": at_set(0.0), "carried": from_droop})
    assert same.agrees and abs(same.e_n) < 0.05 and same.finding is None
    other = check({"measured": at_set(12.0), "carried": from_droop})
    assert not other.agrees and other.e_n > 1 and "contradict" in other.finding.what
    assert "measured" in other.finding.what and "carried" in other.finding.what and other.best is None
    u = [2 * f.u for f in (at_set(12.0), from_droop)]
    assert other.e_n == pytest.approx(
        (at_set(12.0).value - from_droop.value) / math.hypot(*u))  # ISO 13528, k = 2


_WAYS = st.lists(st.tuples(st.floats(-20, 20), st.floats(0.01, 5)), min_size=2, max_size=5)


@given(_WAYS)
def test_ways_together_are_never_wider_than_the_best_of_them_and_a_contradicted_one_is_not_in(ways):
    figures = {f"way {k}": Figure("front-left", "predicted-ride", "bar_arm_angle", "chassis", "deg", v, u, 1e4,
                                  v - 2 * u, v + 2 * u) for k, (v, u) in enumerate(ways)}
    made = check(figures)
    apart = any(abs(a.value - b.value) / (2 * math.hypot(a.u, b.u)) > 1
                for a, b in itertools.combinations(figures.values(), 2))
    assert made.agrees != apart
    if made.agrees:
        assert figures[made.best].u <= min(u for _, u in ways)
    else:
        assert made.best is None and sum(f"{name} " in f"{made.finding.what} " for name in figures) == 2


def test_a_state_off_ride_height_is_taken_there_and_pays_for_it():
    """Measured 6 mm short of ride height, the angle is what the linkage has 6 mm on, as well as hub to arch is
    known."""
    made = corner(state="set", hub_to_arch_mm={"set": Taped(336.0, 1.0), "ride": Taped(330.0, 1.0)})
    seen = carry(replace(made, hub_to_arch_mm={"set": Taped(330.0, 0.0), "ride": Taped(330.0, 0.0)}), TRAVEL,
                 budget=False).figures["bar_arm_angle"]
    there = at_ride(seen, made, TRAVEL)
    whole = carry(made, TRAVEL, budget=False).figures["bar_arm_angle"]
    assert there.value == pytest.approx(whole.value, abs=0.02) and abs(there.value - seen.value) > 0.5  # deg
    assert there.u == pytest.approx(whole.u, rel=0.05) and there.u > seen.u
    assert sum(there.budget.values()) == pytest.approx(1.0) or not seen.budget


@pytest.mark.parametrize("change, word", [
    (dict(heights={"bar_eye": _inches(14.62)}), "mixed up"),
    (dict(lengths={"bar_arm": Taped(7.3, 0.5)}), "inches"),
    (dict(lengths={"control_arm": Taped(-343, 0.5)}), "more than zero"),
    (dict(lengths={"foot_from_pivot": _inches(23)}), "foot"),
    (dict(lengths={"link": _inches(3.0)}), "taped"),
    (dict(heights={"link_foot": _inches(10.0)}), "mixed up"),
    (dict(arch={"droop": Taped(14.9, 0.5), "ride": _inches(12.8)}), "inches"),
    (dict(heights={"bar_bush": Taped(float("nan"), 0.5)}), "")])
def test_readings_that_cannot_be_give_a_finding_and_no_number(change, word):
    made = _taped(**change)
    refused = made if isinstance(made, Refusal) else carry(made, TRAVEL, budget=False)
    assert isinstance(refused, Refusal)
    assert word in refused.finding.what + refused.finding.do and refused.finding.do


def test_missing_readings_are_named():
    refused = tape_corner("front-left", "droop", Readings({"bar_bush": _inches(5)}, {"bar_arm": _inches(7)}, {}))
    assert isinstance(refused, Refusal) and "height of bar_eye" in refused.finding.what
