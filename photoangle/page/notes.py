"""car.toml changed from the page: one value at a time, the user's comments kept, checked before it is written whole."""

from __future__ import annotations

import re
import threading
import tomllib
from pathlib import Path

import tomlkit
import tomlkit.exceptions

from calib.files import toml_text, write_whole
from photoangle.carfile.checks import CarFileError
from photoangle.carfile.notes import ATTITUDE_NAMES, ROLE_KEYS, TAPE_NAMES
from photoangle.carfile.reader import parse_carfile
from photoangle.carfile.symlinks import fixed_link
from photoangle.core.states import CORNERS
from photoangle.page.names import is_state

_LENGTH, _DEGREES, _COUNT, _WORDS = "length", "degrees", "count", "words"
# What may be changed from the page, below a corner: section -> key -> kind
CORNER_KEYS = {
    "standoff": dict.fromkeys(ROLE_KEYS, _LENGTH),
    "wanted": {"bar_arm_angle_deg": _DEGREES, "within_deg": _DEGREES},
    "link": {"thread_pitch": _LENGTH, "threaded_ends": _COUNT, "shortest": _LENGTH, "longest": _LENGTH},
    "travel": {"bump": _LENGTH, "droop": _LENGTH},
    "radius": {"hose": _LENGTH, "bar_eye": _LENGTH, "link": _LENGTH},
    "joint_limit": {"eye_deg": _DEGREES, "foot_deg": _DEGREES}}
CAR_KEYS = {"car": {"name": _WORDS, "units": _WORDS, "tape_division": _LENGTH},
            "print": {"x_line": _LENGTH, "y_line": _LENGTH},
            "level": {"by": _WORDS, "floor_slope_along_deg": _DEGREES, "floor_slope_across_deg": _DEGREES}}
_FRACTION = re.compile(r"\d\s*/\s*\d+\s*$")
_lock = threading.Lock()


class NotTaken(ValueError):
    """A value that is not written: what and what to do."""

    def __init__(self, what, do=""):
        super().__init__(what)
        self.what, self.do = what, do


def kind_of(path):
    """The kind of value at a path of keys, such as ("front-left", "tape", "set", "hub_to_arch").  Raises NotTaken."""
    found = None
    if len(path) == 2:
        found = CAR_KEYS.get(path[0], {}).get(path[1])
    elif len(path) == 3 and path[0] in CORNERS:
        found = CORNER_KEYS.get(path[1], {}).get(path[2])
    elif len(path) == 4 and path[0] in CORNERS and path[1] == "tape" and is_state(path[2]):
        found = _DEGREES if path[3] in ATTITUDE_NAMES else _LENGTH if path[3] in TAPE_NAMES else None
    if found is None:
        raise NotTaken("this cannot be written from the page", "write it into car.toml yourself")
    return found


def set_value(root, path, text):
    """Write one value into car.toml, or take it out where the text is empty.

    Parameters: root: car folder; path: tuple of keys; text: as typed.  Returns the text as written.
    Raises NotTaken, with car.toml as it was, and OSError.
    """
    value = _value(kind_of(path), str(text).strip()[:80])
    file = Path(root) / "car.toml"
    link = fixed_link(root)
    if link is not None:
        raise NotTaken(f"{link.where}: {link.what}", link.do)
    with _lock:
        try:
            before = toml_text(file) if file.exists() else ""
            table = tomllib.loads(before)
            document = tomlkit.parse(before)
        except (ValueError, RecursionError, tomlkit.exceptions.TOMLKitError) as error:
            raise NotTaken(f"car.toml cannot be understood: {error}", "mend it first") from error
        _put(document, path, value, tomlkit.table)
        _put(table, path, value, dict)
        after = tomlkit.dumps(document)
        try:
            same = tomllib.loads(after) == table
        except tomllib.TOMLDecodeError:
            same = False
        if not same:
            raise NotTaken("car.toml is laid out so that the page cannot change it safely", "write it in by hand")
        try:
            parse_carfile(table)
        except CarFileError as error:
            raise NotTaken(error.what, error.do) from error
        write_whole(file, after)
    return "" if value is None else str(value)


def _value(kind, text):
    if not text:
        return None
    if any(not c.isprintable() for c in text):
        raise NotTaken("this has characters in it that cannot be read", "type it again")
    if kind == _LENGTH:
        # a fraction is never millimetres
        return f"{text} in" if _FRACTION.search(text) else text
    if kind == _WORDS:
        return text
    try:
        number = float(text.replace(",", ".").replace("−", "-").rstrip("° "))
    except ValueError:
        raise NotTaken(f"{text!r} is no number", "write it like 3 or -1.5") from None
    return int(number) if kind == _COUNT else number


def _put(table, path, value, new):
    for key in path[:-1]:
        if key not in table:
            if value is None:
                return
            table[key] = new()
        table = table[key]
    if value is None:
        table.pop(path[-1], None)
    else:
        table[path[-1]] = value
