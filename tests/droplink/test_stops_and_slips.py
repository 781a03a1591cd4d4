"""By tape alone: what leaves no travel, no toggle position in a wide tolerance, and heights that are odd."""

import tomllib

import numpy as np
import pytest

from calib.errors import InputError
from photoangle.carfile.reader import parse_carfile
from photoangle.core.findings import Refusal
from photoangle.core.options import LinkRequest
from photoangle.droplink.axles import axle_answers
from photoangle.droplink.by_tape import tape_answers
from photoangle.droplink.stops import LITTLE_BUMP_MM, NO_TRAVEL_MM
from photoangle.linkage.kinematics.lengths import NEAR_LINE_DEG, Wanted, lengths
from tests.linkage.corners import corner

HEIGHTS = {"bar_bush": 581, "bar_eye": 560, "arm_pivot_front": 429, "arm_pivot_rear": 378,
           "arm_ball_joint": 333, "link_foot": 413}
LENGTHS = {"bar_arm_length": 207, "control_arm_length": 328, "link_foot_from_pivot": 205, "link_length": 153}
BUMP_MM = 50


def _car(heights=HEIGHTS, lengths=LENGTHS, bump=f'bump = "{BUMP_MM} mm"', ride=325, corner="front-left"):
    rows = [f'{k}_height = "{v} mm"' for k, v in heights.items()]
    rows += [f'{k} = "{v} mm"' for k, v in lengths.items()]
    return "\n".join([
        f"[{corner}]", 'bar_arm_points = "rear"', f"[{corner}.tape.droop]", 'hub_to_arch = "378 mm"', "sill_slope_deg = 5.5", *rows,
        f"[{corner}.tape.ride]", f'hub_to_arch = "{ride} mm"', "sill_slope_deg = 0.3",
        f"[{corner}.travel]", bump, ""])


def _answer(text, **wishes):
    return tape_answers(parse_carfile(tomllib.loads(text)), LinkRequest(**wishes))[0]


def _said(answer, words):
    return [f for f in answer.findings if words in f.what]


def test_no_verdict_where_the_car_would_stand_on_its_stops():
    low = _answer(_car(), lowered_mm=BUMP_MM - NO_TRAVEL_MM + 1)
    assert low.advice.verdict == "cannot tell" and "bump stops" in low.advice.sentence
    (found,) = _said(low, "bump travel")
    assert found.level == "attention" and "only 9 mm" in found.what
    little = _answer(_car(), lowered_mm=BUMP_MM - LITTLE_BUMP_MM + 1)
    assert little.advice.verdict == "change" and _said(little, "only 24 mm of bump travel")
    assert not _said(_answer(_car(), lowered_mm=BUMP_MM - LITTLE_BUMP_MM), "bump travel")


def test_a_bump_stop_that_nobody_gave_is_not_promised():
    answer = _answer(_car(bump=""), lowered_mm=30)
    assert answer.advice.verdict == "cannot tell" and "is not given" in answer.advice.sentence
    with pytest.raises(InputError, match="taken for granted"):
        _answer(_car(bump=""), lowered_mm=50)


def test_no_verdict_where_the_wheels_would_hang():
    answer = _answer(_car(), lowered_mm=-48)
    assert answer.advice.verdict == "cannot tell" and _said(answer, "5 mm is left to full droop")


@pytest.mark.parametrize("wishes", [dict(within_deg=45), dict(within_deg=45, angle_deg=40),
                                    dict(within_deg=45, square=True), dict(within_deg=30, angle_deg=60)])
def test_every_tolerance_has_an_answer(wishes):
    answer = _answer(_car(), **wishes)
    assert not isinstance(answer.advice, Refusal)
    f = answer.advice.figures
    assert f["link_length_shortest"].value < f["link_length_wanted"].value < f["link_length_longest"].value


def test_a_wide_band_ends_short_of_the_toggle_position():
    """With the band's ends the bar arm and the link are no nearer to one line than is said elsewhere."""
    from photoangle.linkage.kinematics.mechanism import position

    layout = corner().nominal()
    rise = np.zeros((1, 1))
    narrow, wide = (lengths(layout, rise, Wanted(0.0, w)) for w in (3.0, 80.0))
    assert narrow.wanted_mm == wide.wanted_mm
    for mm in (wide.low_mm, wide.high_mm):
        margin = np.degrees(position(layout, rise, mm).margin).item()
        # seen along the bar's axis it is the angle itself; a link that leans across has less of it
        assert NEAR_LINE_DEG * 0.8 < margin < 90
    assert np.degrees(position(layout, rise, wide.low_mm).margin).item() < NEAR_LINE_DEG * 1.2


def test_heights_below_the_line_are_heights():
    """The same corner over another level line is the same corner."""
    below = {k: v - HEIGHTS["bar_bush"] for k, v in HEIGHTS.items()}
    assert min(below.values()) < 0
    one, other = (_answer(_car(h)).advice.figures["link_change"] for h in (HEIGHTS, below))
    assert other.value == pytest.approx(one.value, abs=0.1)  # mm, of readings whose tape's own part differs


def test_a_length_below_nothing_is_explained():
    with pytest.raises(InputError, match="less than nothing"):
        parse_carfile(tomllib.loads(_car().replace('"378 mm"\nsill', '"-378 mm"\nsill')))


def _exchanged(one, other):
    return HEIGHTS | {one: HEIGHTS[other], other: HEIGHTS[one]}


def test_exchanged_heights_are_asked_after():
    bare = {k: v for k, v in LENGTHS.items() if k != "link_length"}
    steep = _answer(_car(_exchanged("bar_bush", "bar_eye"), bare))
    (found,) = _said(steep, "steeper than arms do")
    assert "bar bush's and bar eye's heights exchanged" in found.what and found.level == "attention"
    assert not _said(_answer(_car(lengths=bare)), "steeper")
    # with the link taped the heights contradict it, and the same is asked
    told = _answer(_car(_exchanged("bar_bush", "bar_eye")))
    assert told.base is None and "exchanged" in told.findings[0].do


def test_a_link_nobody_taped_may_lean():
    bare = {k: v for k, v in LENGTHS.items() if k != "link_length"}
    taped, open_ = (_answer(_car(lengths=n)).advice.figures["link_length"] for n in (LENGTHS, bare))
    assert open_.u > 2 * taped.u


def test_two_ride_heights_make_two_links():
    """One side 12 mm lower: the links that leave the bar free differ, and the lower side's is the shorter."""
    text = _car() + _car(ride=337, corner="front-right")
    car = parse_carfile(tomllib.loads(text))
    (front,) = axle_answers(tape_answers(car), [], car)
    assert any("its own ride height" in f.what for f in front.findings)
    links = front.unstressed
    assert links.right.value - links.left.value > 3
    assert links.left.u > 2  # mm: nobody saw the bar free, 2 deg over 200 mm
    assert any("free shape is not known" in f.what for f in front.findings)


@pytest.mark.parametrize("heights, lengths, slope, words", [
    ({}, {"link_foot_from_pivot": 20}, 5.5, "foot cannot be 20 mm"),
    ({"arm_pivot_rear": 0}, {}, 5.5, "pivots differ by 429 mm"), ({}, {}, -15, "farther apart than stands")])
def test_readings_of_no_car_are_not_taken_in_silence(heights, lengths, slope, words):
    text = _car(HEIGHTS | heights, LENGTHS | lengths).replace("sill_slope_deg = 5.5", f"sill_slope_deg = {slope}")
    (found,) = _said(_answer(text), words)
    assert found.level in ("attention", "unusable") and found.do
    assert not _said(_answer(_car()), words)
