"""car.toml: every key, and every way to get it wrong."""

import pytest

from photoangle.carfile.checks import CarFileError
from photoangle.carfile.reader import read_carfile
from photoangle.carfile.template import start_folder

EXAMPLE = """
[car]
name = "Heron"
units = "mm"
tape_division = "1 mm"
tape_class = "II"
wheelbase = "2330 mm"
[print]
x_line = "200.0 mm"
y_line = "150.0 mm"
[level]
by = "plumb"
floor_slope_along_deg = 0.3
[front-left]
link_foot_on = "control arm"
stuck_within = "1 mm"
[front-left.standoff]
bar_eye = "34 mm"
[front-left.tape.droop]
hub_to_arch = "378 mm"
bar_arm_length = "7 5/16 in"
[front-left.wanted]
bar_arm_angle_deg = 0.0
within_deg = 3.0
[front-left.link]
thread_pitch = "1.25 mm"
threaded_ends = 2
shortest = "120 mm"
longest = "165 mm"
"""


def read(tmp_path, text):
    path = tmp_path / "car.toml"
    path.write_text(text)
    return read_carfile(path)


def test_the_whole_example_is_understood(tmp_path):
    car = read(tmp_path, EXAMPLE)
    corner = car.corner("front-left")
    assert car.name == "Heron" and car.wheelbase_mm == 2330 and car.level.floor_given
    assert corner.standoff_mm == {"bar_eye": 34.0}
    assert corner.tape["droop"]["bar_arm_length"].value_mm == pytest.approx(7.3125 * 25.4)
    assert corner.link["longest"] == 165
    assert car.corner("rear-left").stuck_within_mm == 1.0


def test_standoffs_read_more_than_once(tmp_path):
    """The mean of n readings set anew: their spread counts, and both parts shrink by the root of n (JCGM 100, 4.2)."""
    text = '[front-left.standoff]\nbar_eye = {}\n'
    once = read(tmp_path, text.format('"34 mm +- 0.9"')).corner("front-left")
    twice = read(tmp_path, text.format('["34 mm +- 0.9", "35 mm +- 0.9"]')).corner("front-left")
    assert twice.standoff_mm == {"bar_eye": 34.5}
    assert twice.standoff_u_mm["bar_eye"] ** 2 == pytest.approx((once.standoff_u_mm["bar_eye"] ** 2 + 0.5) / 2)
    for wrong in ("[]", '["34 mm", "34 furlong"]'):
        with pytest.raises(CarFileError, match="bar_eye"):
            read(tmp_path, text.format(wrong))


@pytest.mark.parametrize("old, new, words", [
    ("wheelbase", "wheelbas", "did you mean 'wheelbase'"), ("[print]", "[prints]", "did you mean 'print'"),
    ('"378 mm"', '"378 furlong"', "unit"), ('"378 mm"', '"378000 mm"', "possible"),
    ('units = "mm"', 'units = "cm"', '"mm", "in"'), ('by = "plumb"', 'by = "plum"', "one of"),
    ("bar_eye = ", "bar_ey = ", "did you mean 'bar_eye'"), ("hub_to_arch", "hub_to_arc", "hub_to_arch"),
    ("floor_slope_along_deg = 0.3", 'floor_slope_along_deg = "x"', "number"),
    ("floor_slope_along_deg = 0.3", "floor_slope_along_deg = nan", "number"),
    ("floor_slope_along_deg = 0.3", "floor_slope_along_deg = 80", "out of range"),
    ('x_line = "200.0 mm"', 'x_line = "7.87 mm"', "did you mean in"), ('name = "Heron"', "name = 3", "text"),
    ('shortest = "120 mm"', 'shortest = "170 mm"', "exchange"), ("[print]", "[front-right]\ntape = 3\n[print]", "section"),
    ('name = "Heron"', "name = Heron", "cannot be understood"), ('"34 mm"', '"34 mm +- 1 +- 2"', "plus-or-minus"),
    ("bar_arm_angle_deg = 0.0", "bar_arm_angle_deg = true", "number")])
def test_faults_say_where_and_what_to_do(tmp_path, old, new, words):
    assert old in EXAMPLE
    with pytest.raises(CarFileError) as error:
        read(tmp_path, EXAMPLE.replace(old, new, 1))
    assert words in str(error.value)
    assert error.value.where.startswith("car.toml") and error.value.do


def test_bytes_that_are_no_text(tmp_path):
    (tmp_path / "car.toml").write_bytes(b"\xff\xfe[car]")
    with pytest.raises(CarFileError, match="UTF-8"):
        read_carfile(tmp_path / "car.toml")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_fresh_file_can_be_read_also_with_its_examples(tmp_path, units):
    import re

    start_folder(tmp_path / "c", units)
    car = read_carfile(tmp_path / "c" / "car.toml")
    assert car.units == units
    filled = re.sub(r"(?m)^# (\w+ = )", r"\1", (tmp_path / "c" / "car.toml").read_text())
    assert read(tmp_path, filled).corner("front-left").standoff_mm["bar_bush"] == 38


def test_starting_twice_changes_nothing(tmp_path):
    start_folder(tmp_path)
    path = tmp_path / "car.toml"
    path.write_text("[car]\nname = \"mine\"\n")
    made, new = start_folder(tmp_path)
    assert not made and not new and "mine" in path.read_text()
