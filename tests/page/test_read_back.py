"""What was typed is said back as it was read: lengths in the car's units, and nothing else as a length."""

import re

import pytest

from calib.lengths import INCH
from photoangle.carfile.kinds import Context, Key, Length, ListOf, Pitch, Table
from photoangle.carfile.lengths import Reading
from photoangle.carfile.reader import key_at, names_below
from photoangle.core.states import AXLES, CORNERS
from photoangle.page.notes import NotTaken, read_as, set_value


def keys(path, depth=0):
    """Every (path, Key) of the schema below a path; a state's name stands for all."""
    found = key_at(path)
    names = names_below(found)
    if names is None:
        names = {"droop": found.limits}
    if isinstance(found, Key) and not isinstance(found, Table):
        yield path, found
    for name in names or {}:
        yield from keys((*path, name), depth + 1)


ALL = [k for top in ("car", "print", "level", CORNERS[0], AXLES[0]) for k in keys((top,))]


def test_the_walk_finds_keys_of_every_kind():
    assert len(ALL) > 100 and {type(k).__name__ for _, k in ALL} >= {
        "Choice", "Number", "Length", "Pitch", "TapeKey", "StandOff", "ListOf"}


@pytest.mark.parametrize("units", ["mm", "in"])
def test_lengths_alone_are_read_back_and_in_the_cars_units(units):
    for path, key in ALL:
        example = key.example_in(units)
        if example is None:
            continue
        said = key.read_as(example, Context(units))
        if not isinstance(key, Length):
            assert said == "", (path, example, said)
            continue
        number, unit = re.fullmatch(r"(-?[\d.]+) (mm|in|tpi)", said).groups()
        assert unit == ("tpi" if isinstance(key, Pitch) and units == "in" else units), (path, said)
        parsed = key.parse(example, Context(units))
        mm = parsed.value_mm if isinstance(parsed, Reading) else parsed * key.over
        back = INCH / float(number) if unit == "tpi" else float(number) * (INCH if unit == "in" else 1)
        # no farther off than the digits that are shown: 0.05 mm, 0.0005 in
        assert abs(back - mm) <= (0.0005 * INCH if unit == "in" else 0.05) + 1e-9, (path, example, said)


def test_a_number_typed_for_what_is_no_length_is_never_a_length():
    for path, key in ALL:
        if not isinstance(key, (Length, ListOf, Table)):
            assert key.read_as("3", Context("in")) == key.read_as(3, Context("mm")) == "", path


@pytest.mark.parametrize("path, written, units, read", [
    (("front-left", "wanted", "within_deg"), "3", "in", ""),
    (("front-left", "link", "threaded_ends"), "2", "in", ""),
    (("front-left", "link", "thread_pitch"), "1.25 mm", "mm", "1.250 mm"),
    (("front-left", "link", "thread_pitch"), "24 tpi", "in", "24 tpi"),
    (("front-left", "tape", "set", "hub_to_arch"), "14 7/8 in", "in", "14.875 in"),
    (("front-left", "tape", "set", "hub_to_arch"), "378 mm", "in", "14.882 in"),
])
def test_examples(path, written, units, read):
    assert read_as(path, written, units) == read


def test_a_count_is_whole(tmp_path):
    (tmp_path / "car.toml").write_text("")
    with pytest.raises(NotTaken, match="out of range"):
        set_value(tmp_path, ("front-left", "link", "threaded_ends"), "2.7")
    assert (tmp_path / "car.toml").read_text() == ""
