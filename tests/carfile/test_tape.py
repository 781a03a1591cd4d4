"""Tape readings and how well they are known."""

import math

import pytest

from calib.lengths import LengthError
from photoangle.carfile.lengths import parse_reading, tape_limit_mm


def test_uncertainty_of_a_reading():
    """2014/32/EU, Annex X: class II, 300 mm from the hook: +-0.7 mm."""
    assert tape_limit_mm(300, "II") == pytest.approx(0.7)
    assert tape_limit_mm(300, "I", from_hook=False) == pytest.approx(0.2)
    assert tape_limit_mm(1001, "III") == pytest.approx(0.6 + 2 * 0.4 + 0.3)
    assert parse_reading("300 mm").u_mm == pytest.approx(math.hypot(0.5, 0.7) / math.sqrt(3))
    assert parse_reading("300 mm +- 2").u_mm == pytest.approx(math.hypot(2, 0.7) / math.sqrt(3))
    assert parse_reading("300 mm +- 1/16 in").u_mm == pytest.approx(math.hypot(25.4 / 16, 0.7) / math.sqrt(3))
    assert parse_reading("about 300 mm").u_mm == pytest.approx(math.hypot(1.5, 0.7) / math.sqrt(3))
    half = parse_reading("14 7/8 +- 1/16 in")
    assert (half.value_mm, half.u_mm) == pytest.approx((377.825, math.hypot(25.4 / 16, 0.7) / math.sqrt(3)))


@pytest.mark.parametrize("text, mm", [("11/16 in", 17.4625), ("about 1 13/16 in", 46.0375),
                                      ("~25/32\"", 19.84375), ("63/64 in +- 1/64", 25.003125),
                                      ("15/16 +- 1/32 in", 23.8125), ("14⅞ in", 377.825), ("5' 3\"", 1600.2)])
def test_fractions_in_readings(text, mm):
    assert parse_reading(text).value_mm == pytest.approx(mm)


def test_a_reading_with_a_sign():
    assert parse_reading("-16 mm +- 1", signed=True).value_mm == -16
    with pytest.raises(LengthError):
        parse_reading("-16 mm")
