"""A line's angle from heights and a length."""

import pytest

from calib.lengths import LengthError
from photoangle.figures.triangles import angle_from_heights, angle_from_rise


def test_a_bar_arm_by_tape():
    """Facts of the trade (common practice, no source): bar arm 7.3 in, bush 5.85 in and eye 4.62 in above a level line."""
    u = 1 / 32
    arm = angle_from_heights((5.85, u), (4.62, u), (7.3, u))
    assert arm.rise_mm == pytest.approx(-1.23, abs=1e-9)
    assert arm.angle_deg == pytest.approx(-9.70, abs=0.005)


def test_a_rise_longer_than_the_arm_is_refused():
    with pytest.raises(LengthError, match="another unit"):
        angle_from_rise((200.0, 1), (7.3, 0.1))


def test_uncertainty_agrees_with_the_uncertainties_package():
    from uncertainties import ufloat, umath

    ours = angle_from_heights((100.0, 0.6), (160.0, 0.7), (210.0, 0.9))
    theirs = umath.degrees(umath.asin((ufloat(160, 0.7) - ufloat(100, 0.6)) / ufloat(210, 0.9)))
    assert ours.angle_deg == pytest.approx(theirs.nominal_value, abs=1e-12)
    assert ours.u_deg == pytest.approx(theirs.std_dev, rel=1e-6)
