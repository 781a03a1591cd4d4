"""car.toml: every key, and every way to get it wrong."""

from dataclasses import replace

import pytest

from photoangle.carfile.car import SECTIONS
from photoangle.carfile.kinds import Table
from photoangle.carfile.reader import CarFileError, key_at, parse_carfile, read_carfile
from photoangle.carfile.section import keys_of
from photoangle.carfile.template import SIDES, all_keys_text, start_folder, starter_text

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
    assert corner.link.longest_mm == 165
    assert car.corner("rear-left").stuck_within_mm == 1.0


def test_standoffs_read_more_than_once(tmp_path):
    """The mean of n readings set anew: their spread counts, and both parts shrink by the root of n (JCGM 100,
    4.2)."""
    text = '[front-left.standoff]\nbar_eye = {}\n'
    once = read(tmp_path, text.format('"34 mm +- 0.9"')).corner("front-left")
    twice = read(tmp_path, text.format('["34 mm +- 0.9", "35 mm +- 0.9"]')).corner("front-left")
    assert twice.standoff_mm == {"bar_eye": 34.5}
    assert twice.standoff_u_mm["bar_eye"]**2 == pytest.approx((once.standoff_u_mm["bar_eye"]**2 + 0.5) / 2)
    for wrong in ("[]", '["34 mm", "34 furlong"]'):
        with pytest.raises(CarFileError, match="bar_eye"):
            read(tmp_path, text.format(wrong))


@pytest.mark.parametrize(
    "old, new, words",
    [("wheelbase", "wheelbas", "did you mean 'wheelbase'"), ("[print]", "[prints]", "did you mean 'print'"),
     ('"378 mm"', '"378 furlong"', "unit"), ('"378 mm"', '"21/2 in"', "did you mean 2 1/2 or 10.5?"),
     ('thread_pitch = "1.25 mm"', "thread_pitch = 24", 'did you mean "24 tpi"'),
     ('"1.25 mm"', '"1000 tpi"', "possible"), ("threaded_ends = 2", "threaded_ends = 1.5", "whole"),
     ("[print]", "[front-left.joint_limit]\neye = 20\n[print]", "did you mean 'eye_deg'"),
     ("[print]", "[front-left.wanted.x]\n[print]", "not known"),
     ("[print]", "[front-left.from_bush]\nstrut_tip = 1\n[print]", "did you mean 'strut_top'"),
     ("[print]", '[front-left.stands_for]\nspare_1 = "hub"\n[print]', "strut_top"),
     ("[print]", '[front-left.stands_for]\nspare_1 = "strut_top"\nspare_2 = "strut_top"\n[print]', "once"),
     ("[print]", '[front-left.travel]\nbump = "45 mm"\ndamper_free = "30 mm"\n[print]', "one of them"),
     ("[print]", '[front-left.offset]\nbar_eye = ["1 mm", "2 mm"]\n[print]', "list of 3"),
     ("stuck_within =", "stuck_within_mm =", "stuck_within"),
     ("[print]", "[front-left.tape]\nhub_to_arch = 3\n[print]", "[front-left.tape.droop]"),
     ('"378 mm"', '"378000 mm"', "possible"), ('units = "mm"', 'units = "cm"', '"mm", "in"'),
     ('by = "plumb"', 'by = "plum"', "one of"), ("bar_eye = ", "bar_ey = ", "did you mean 'bar_eye'"),
     ("hub_to_arch", "hub_to_arc", "hub_to_arch"),
     ("floor_slope_along_deg = 0.3", 'floor_slope_along_deg = "x"', "number"),
     ("floor_slope_along_deg = 0.3", "floor_slope_along_deg = nan", "number"),
     ("floor_slope_along_deg = 0.3", "floor_slope_along_deg = 80", "out of range"),
     ('x_line = "200.0 mm"', 'x_line = "7.87 mm"', "did you mean in"), ('name = "Heron"', "name = 3", "text"),
     ('shortest = "120 mm"', 'shortest = "170 mm"', "exchange"),
     ("[print]", "[front-right]\ntape = 3\n[print]", "section"),
     ('name = "Heron"', "name = Heron", "cannot be understood"),
     ('"34 mm"', '"34 mm +- 1 +- 2"', "plus-or-minus"),
     ("bar_arm_angle_deg = 0.0", "bar_arm_angle_deg = true", "number")])
def test_faults_say_where_and_what_to_do(tmp_path, old, new, words):
    assert old in EXAMPLE
    with pytest.raises(CarFileError) as error:
        read(tmp_path, EXAMPLE.replace(old, new, 1))
    assert words in str(error.value)
    assert error.value.where.startswith("car.toml") and error.value.do


@pytest.mark.parametrize("old, new, where",
                         [('units = "mm"', 'units = "cm"', "car.toml, car"),
                          ('"378 mm"', '"x"', "car.toml, front-left.tape.droop"),
                          ("hub_to_arch", "hub_to_arc", "car.toml, front-left.tape.droop"),
                          ("thread_pitch", "thread_pitsch", "car.toml, front-left.link"),
                          ('longest = "165 mm"', 'longest = "9 m"', "car.toml, front-left.link"),
                          ('longest = "165 mm"', 'longest = "100 mm"', "car.toml, front-left.link"),
                          ("[print]", "[prunt]", "car.toml"),
                          ("[print]", "[front-right]\nlink = 3\n[print]", "car.toml, front-right")])
def test_faults_say_in_which_section(tmp_path, old, new, where):
    with pytest.raises(CarFileError) as error:
        read(tmp_path, EXAMPLE.replace(old, new, 1))
    assert error.value.where == where


def test_a_possible_other_unit_is_named_only_where_it_would_fit(tmp_path):
    with pytest.raises(CarFileError, match="did you mean in"):
        read(tmp_path, EXAMPLE.replace('"2330 mm"', '"92 mm"'))
    with pytest.raises(CarFileError, match=r"39\.37 to 236\.2 in are possible") as error:
        read(tmp_path, EXAMPLE.replace('"2330 mm"', "9").replace('units = "mm"', 'units = "in"'))
    assert "did you mean" not in str(error.value)


def test_threads_per_inch(tmp_path):
    assert read(tmp_path, EXAMPLE.replace(
        '"1.25 mm"', '"24 tpi"')).corner("front-left").link.thread_pitch_mm == pytest.approx(25.4 / 24)


def test_what_follows_from_several_keys(tmp_path):
    text = """
[level]
floor_slope_across_deg = 0.2
[print]
within = "0.5 mm"
[front-left]
hub_rise_within_percent = 4
[front-left.tape.set]
sill_slope_deg = 0.3
bar_eye_height = "120 mm"
[front-left.tape.ride]
hub_to_arch = ["325 mm", "327 mm"]
[front-left.standoff]
bar_eye = "-16 mm +- 1"
[front-left.hose]
hose_b_on = "between"
[front-left.joint_limit]
eye_deg = 20
[front-left.link]
eye_holes = ["20 mm", "-15 mm"]
"""
    car = read(tmp_path, text)
    corner = car.corner("front-left")
    assert (
        not car.level.floor_given
        and car.level.floor_within_deg == 0.5
        and car.level.floor_slope_along_deg == 0
    )
    assert read(tmp_path, text.replace("across", "along")).level.floor_within_deg == 0.1
    assert car.print_check.u_mm == pytest.approx(0.5 / 3**0.5) and corner.hub_differs_within == 0.04
    assert corner.attitude == {"set": {"sill_slope_deg": 0.3}} and set(
        corner.tape["set"]) == {"bar_eye_height"}
    assert corner.tape["ride"]["hub_to_arch"].value_mm == 326 and corner.standoff_mm == {"bar_eye": -16}
    assert corner.hose_on == {"hose_b": "between"} and corner.joint_limit_deg == {
        "eye": 20
    } and corner.link.eye_holes_mm == (20, -15)
    assert replace(car, name="x").corner("front-left") == corner


def keys(found=SECTIONS, path=()):
    """(path, Key) of every key there is."""
    for name, key in (found if isinstance(found, dict) else keys_of(found)).items():
        if isinstance(key, Table):
            yield from keys(key.names or key.limits.names, (*path, name) if key.names else
                            (*path, name, "droop"))
        elif isinstance(key, type):
            yield from keys(key, (*path, name))
        else:
            yield (*path, name), key


@pytest.mark.parametrize("units", ["mm", "in"])
def test_every_key_has_words_and_an_example_that_is_read(units):
    for path, key in keys():
        assert key.words or path[1] == "standoff", path
        table = key.example_in(units)
        assert table is not None and key_at(path) is key, path
        for name in reversed(path):
            table = {name: table}
        parse_carfile(table)


@pytest.mark.parametrize("value", [
    None, True, [], {}, [[]], "", "x", "{key}", -1e8, 1e308, 10**400,
    float("nan"), [1, 2, 3], ["1 mm"] * 30, {"x": {}}
])
def test_wrong_kinds_are_refused_in_our_own_words(value):
    for path, _ in keys():
        for end in range(1, len(path) + 1):
            table = value
            for name in reversed(path[:end]):
                table = {name: table}
            try:
                parse_carfile(table)
            except CarFileError as error:
                assert error.do and error.where.startswith("car.toml") and not any(
                    w in str(error) for w in ("pydantic", "Input should", "validation", "{path}"))


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
    assert read(tmp_path,
                filled).corner("front-left").standoff_mm["bar_bush"] == pytest.approx({"mm": 38,
                                                                                       "in": 38.1}[units])


def test_the_fresh_file_shows_each_unit():
    assert '# thread_pitch = "24 tpi"' in all_keys_text("in") and '# thread_pitch = "1.25 mm"' in all_keys_text(
        "mm")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_every_key_is_listed_and_its_example_can_be_read(tmp_path, units):
    import re

    text = all_keys_text(units)
    filled = re.sub(r"(?m)^# (\w+ = )", r"\1", text)
    # what stands instead of another, or belongs to a file that is not there
    filled = re.sub(r"(?m)^(kit|square_to_link) = .*$", "", filled)
    filled = re.sub(r"(?m)^(\w+) = \"strut_top\".*$", lambda m: m.group() if m[1] == "bar_bush" else "", filled)
    assert read(tmp_path, filled)

    def names(model):
        for name, key in keys_of(model).items():
            yield name
            if isinstance(key, type):
                yield from names(key)

    for model in (*SECTIONS.values(),):
        for name in names(model):
            assert re.search(rf"(?m)^(# (or: )?)?{name} = |[\[.]{name}[\].]|likewise[^#]*\b{name}\b", text), name


def test_the_starter_file_is_the_short_way():
    text = starter_text()
    keys = [line for line in text.splitlines() if " = " in line]
    assert len(keys) <= 20 and all(f"[{side}.standoff]" in text for side in SIDES)
    assert text.index("tape.ride") < text.index("[print]") < text.index("standoff") < text.index("tape.droop")


def test_starting_twice_changes_nothing(tmp_path):
    start_folder(tmp_path)
    path = tmp_path / "car.toml"
    path.write_text("[car]\nname = \"mine\"\n")
    made, new = start_folder(tmp_path)
    assert not made and not new and "mine" in path.read_text()
