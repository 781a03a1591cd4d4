"""Tape readings and two triangles."""

import math

import pytest

from photoangle.carfile.lengths import (
    TapeError,
    angle_from_heights,
    angle_from_rise,
    parse_length,
    parse_reading,
    point_on_arm,
    tape_limit_mm,
    turned_by_rise,
)
from photoangle.core.agreement import e_n

IN = 1 / 32  # the standard uncertainty of each reading in the facts of the trade below


@pytest.mark.parametrize("text", ["14 7/8 in", '14-7/8"', "14.875in", "377.825 mm", "37.7825 cm", "14 7/8 inches"])
def test_forms_of_one_length(text):
    assert parse_length(text) == pytest.approx(377.825, abs=1e-9)


@pytest.mark.parametrize("text", ["", "abc", "14 9/8 in", "3 furlong", "14.5 7/8 in", "1/0 in", "-5 mm", "nan", True,
                                  float("inf"), "5 mm 3"])
def test_what_is_no_length(text):
    with pytest.raises(TapeError):
        parse_length(text)


def test_numbers_take_the_cars_units():
    assert parse_length(2, "in") == pytest.approx(50.8)
    assert parse_length("7/8", "in") == pytest.approx(22.225)


def test_uncertainty_of_a_reading():
    """2014/32/EU, Annex X: class II, 300 mm from the hook: +-0.7 mm."""
    assert tape_limit_mm(300, "II") == pytest.approx(0.7)
    assert tape_limit_mm(300, "I", from_hook=False) == pytest.approx(0.2)
    assert tape_limit_mm(1001, "III") == pytest.approx(0.6 + 2 * 0.4 + 0.3)
    assert parse_reading("300 mm").u_mm == pytest.approx(math.hypot(0.5, 0.7) / math.sqrt(3))
    assert parse_reading("300 mm +- 2").u_mm == pytest.approx(math.hypot(2, 0.7) / math.sqrt(3))
    assert parse_reading("300 mm +- 1/16 in").u_mm == pytest.approx(math.hypot(25.4 / 16, 0.7) / math.sqrt(3))
    assert parse_reading("about 300 mm").u_mm == pytest.approx(math.hypot(1.5, 0.7) / math.sqrt(3))


def test_two_triangles():
    """Facts of the trade (common practice, no source): hub to arch 14.9 in at droop, 12.8 in loaded, control arm 13.5 in,
    level at droop: 8.95 deg loaded; link foot at 8.5 in: 1.32 in up.  Bar arm 7.3 in, bush 5.85 in and eye 4.62 in above a
    level line at droop: eye 1.23 in low, after the rise 0.09 in high: 0.7 deg, about 0.8 deg at 95 %."""
    arm = turned_by_rise((0.0, 0.0), (14.9 - 12.8, math.hypot(IN, IN)), (13.5, IN))
    assert arm.angle_deg == pytest.approx(8.95, abs=0.005)
    foot = point_on_arm(arm, (8.5, IN))
    assert foot[0] == pytest.approx(1.32, abs=0.005)
    before = angle_from_heights((5.85, IN), (4.62, IN), (7.3, IN))
    assert before.rise_mm == pytest.approx(-1.23, abs=1e-9)
    after = angle_from_rise((before.rise_mm + foot[0], math.hypot(before.u_rise_mm, foot[1])), (7.3, IN))
    assert after.rise_mm == pytest.approx(0.09, abs=0.005)
    assert after.angle_deg == pytest.approx(0.7, abs=0.05)
    assert 1.96 * after.u_deg == pytest.approx(0.8, abs=0.05)


def test_a_rise_longer_than_the_arm_is_refused():
    with pytest.raises(TapeError, match="another unit"):
        angle_from_rise((200.0, 1), (7.3, 0.1))


def test_uncertainty_agrees_with_the_uncertainties_package():
    from uncertainties import ufloat, umath

    ours = angle_from_heights((100.0, 0.6), (160.0, 0.7), (210.0, 0.9))
    theirs = umath.degrees(umath.asin((ufloat(160, 0.7) - ufloat(100, 0.6)) / ufloat(210, 0.9)))
    assert ours.angle_deg == pytest.approx(theirs.nominal_value, abs=1e-12)
    assert ours.u_deg == pytest.approx(theirs.std_dev, rel=1e-6)


def test_e_n():
    """ISO 13528: difference over the root sum of squares of the expanded uncertainties."""
    assert e_n(10.0, 0.3, 9.0, 0.4) == pytest.approx(1.0)
    assert e_n(1.0, 0.0, 2.0, 0.0) == math.inf
