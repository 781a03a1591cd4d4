"""Between what an unread pitch lies: the raised end is known by the corner, how far by lift and wheelbase."""

import tomllib

import pytest

from photoangle.carfile.car import CarFile
from photoangle.carfile.reader import CarFileError, parse_carfile
from photoangle.carfile.template import all_keys_text

TOLD = parse_carfile(tomllib.loads('[car]\nwheelbase = "100 in"\nlift = "12 in"'))


def test_a_foot_of_lift_over_a_hundred_inches():
    """Before: +-5 deg about level, with 6.8 deg outside."""
    assert TOLD.pitch_between_deg("front-left", "droop") == pytest.approx((0, 6.843), abs=0.001)
    assert TOLD.pitch_between_deg("rear-right", "set-2") == pytest.approx((-6.843, 0), abs=0.001)
    assert TOLD.pitch_between_deg(None, None) == pytest.approx((-6.843, 6.843), abs=0.001)


def test_on_its_wheels_it_is_the_floors():
    car = parse_carfile(tomllib.loads("[level]\nfloor_slope_along_deg = 0.3"))
    assert car.pitch_between_deg("front-left", "ride") == pytest.approx((0.2, 0.4))


@pytest.mark.parametrize("corner", ["front-left", "rear-left", None])
def test_leaving_wheelbase_or_lift_out_never_narrows(corner):
    low, high = TOLD.pitch_between_deg(corner, "droop")
    for less in (CarFile(), CarFile(wheelbase_mm=2540.0), CarFile(lift_mm=304.8)):
        wide = less.pitch_between_deg(corner, "droop")
        assert wide[0] <= low and wide[1] >= high and wide[1] - wide[0] > high - low


def test_the_starter_file_asks_for_both_and_for_what_a_level_reads():
    text = all_keys_text()
    for key in ("# wheelbase = ", "# lift = ", "# sill_slope_deg = ", "# roll_deg = "):
        assert key in text


def test_a_lift_that_cannot_be_is_refused():
    with pytest.raises(CarFileError, match="lift"):
        parse_carfile(tomllib.loads('[car]\nlift = "3 m"'))
