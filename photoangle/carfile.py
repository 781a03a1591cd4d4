"""The user's car.toml: read, checked, explained.

Every key is optional; an unknown one is refused with the nearest known.  Lengths are written as
in `photoangle.tape`; numbers without a unit are in the car's units.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

from calib.kit import ROLES
from photoangle.tape import TAPE_CLASSES, TapeError, parse_length, parse_reading

CORNERS = ("front-left", "front-right", "rear-left", "rear-right")
ROLE_KEYS = tuple(r.key for r in ROLES)
HEIGHTS = tuple(f"{key}_height" for key in ROLE_KEYS[:8])
TAPE_NAMES = ("hub_to_arch", "bar_arm_length", "control_arm_length", "link_length", "bar_lever",
              "link_foot_from_pivot", "sill_length", "hose_gap_a", "hose_gap_b", "hose_gap_c") + HEIGHTS
_MOST_BYTES = 1_000_000


class CarFileError(Exception):
    """A car.toml that cannot be used: where in it, what is wrong, what to do."""

    def __init__(self, where, what, do):
        super().__init__(f"{where}: {what}; {do}")
        self.where, self.what, self.do = where, what, do


@dataclass(frozen=True)
class PrintCheck:
    """What a steel rule said of the print-check lines, mm, or None; u_mm of each reading."""

    x_line_mm: float | None = None
    y_line_mm: float | None = None
    u_mm: float = 0.15


@dataclass(frozen=True)
class Level:
    """How gravity is known: by "plumb", "card" or "none"; the floor's slopes in degrees.

    floor_slope_along_deg is positive where the floor rises towards the car's nose, across where it
    rises to the left; floor_within_deg is the half-width of both; plumb_standoff_mm: from a plumb
    marker's face to the string.
    """

    by: str = "plumb"
    floor_slope_along_deg: float = 0.0
    floor_slope_across_deg: float = 0.0
    floor_within_deg: float = 0.5
    floor_given: bool = False
    plumb_standoff_mm: float = 1.6


@dataclass(frozen=True)
class Corner:
    """What the file says of one corner.  Lengths in mm; tape: state -> name -> Reading."""

    link_foot_on: str = "control arm"
    stuck_within_mm: float = 1.0
    standoff_mm: dict = field(default_factory=dict)
    standoff_u_mm: dict = field(default_factory=dict)
    offset_mm: dict = field(default_factory=dict)
    tape: dict = field(default_factory=dict)
    wanted: dict = field(default_factory=dict)
    link: dict = field(default_factory=dict)
    radius_mm: dict = field(default_factory=dict)


@dataclass(frozen=True)
class CarFile:
    """Everything in car.toml, with the defaults for what is not there."""

    name: str = ""
    units: str = "mm"
    tape_division_mm: float = 1.0
    tape_class: str = "II"
    wheelbase_mm: float | None = None
    kit: str | None = None
    print_check: PrintCheck = PrintCheck()
    level: Level = Level()
    corners: dict = field(default_factory=dict)

    def corner(self, name):
        """The Corner of a name, with defaults where the file is silent."""
        return self.corners.get(name, Corner())


def read_carfile(path):
    """Read car.toml.  Returns CarFile; raises CarFileError with where, what and what to do."""
    name = Path(path).name
    try:
        data = Path(path).read_bytes()
        if len(data) > _MOST_BYTES:
            raise CarFileError(name, "the file is far too long for a car file", "start from a fresh one")
        table = tomllib.loads(data.decode("utf-8"))
    except OSError as error:
        raise CarFileError(name, f"it cannot be read ({error.strerror})", "check the file") from error
    except UnicodeDecodeError as error:
        raise CarFileError(name, "it is not plain text (UTF-8)", "save it again as UTF-8") from error
    except RecursionError as error:
        raise CarFileError(name, "it is nested too deeply", "start from a fresh one") from error
    except tomllib.TOMLDecodeError as error:
        raise CarFileError(name, f"this line cannot be understood: {error}",
                           "text wants quotes, as in hub_to_arch = \"378 mm\"") from error
    return parse_carfile(table, name)


def parse_carfile(table, where="car.toml"):
    """As `read_carfile`, from a table already read."""
    reader = _Reader(where)
    reader.known(table, ("car", "print", "level") + CORNERS, "")
    car = reader.table(table, "car")
    reader.known(car, ("name", "units", "tape_division", "tape_class", "wheelbase", "kit"), "car")
    reader.units = reader.choice(car, "units", "car", ("mm", "in"), "mm")
    division = reader.length(car, "tape_division", "car", 1.0, least=0.05, most=26)
    tape_class = reader.choice(car, "tape_class", "car", tuple(TAPE_CLASSES), "II")
    reader.division, reader.tape_class = division, tape_class
    printed = reader.table(table, "print")
    reader.known(printed, ("x_line", "y_line", "within"), "print")
    check = PrintCheck(
        reader.length(printed, "x_line", "print", None, least=150, most=260),
        reader.length(printed, "y_line", "print", None, least=110, most=200),
        reader.length(printed, "within", "print", 0.25, least=0.01, most=5) / math.sqrt(3))
    corners = {c: reader.corner(table[c], c) for c in CORNERS if c in table}
    return CarFile(reader.text(car, "name", "car", ""), reader.units, division, tape_class,
                   reader.length(car, "wheelbase", "car", None, least=1000, most=6000),
                   reader.text(car, "kit", "car", None), check, reader.level(table), corners)


class _Reader:
    """Checks one table after the other; ``where`` starts every message."""

    def __init__(self, where):
        self.where, self.units, self.division, self.tape_class = where, "mm", 1.0, "II"

    def fail(self, key, what, do):
        raise CarFileError(f"{self.where}, {key}" if key else self.where, what, do)

    def known(self, table, keys, path):
        for key in table:
            if key not in keys:
                near = difflib.get_close_matches(str(key), keys, 1, 0.5)
                hint = f"did you mean {near[0]!r}?" if near else "known here: " + ", ".join(keys)
                self.fail(path, f"{key!r} is not known", hint)

    def table(self, table, key, path=""):
        value = table.get(key, {})
        if not isinstance(value, dict):
            self.fail(path, f"{key!r} should be a section", f"write it as [{path + '.' if path else ''}{key}]")
        return value

    def text(self, table, key, path, default):
        value = table.get(key, default)
        if value is not None and (not isinstance(value, str) or len(value) > 200):
            self.fail(path, f"{key} should be text", f"write it like {key} = \"...\"")
        return value

    def choice(self, table, key, path, choices, default):
        value = table.get(key, default)
        if value not in choices:
            self.fail(path, f"{key} = {value!r} is not one of the choices",
                      "use one of " + ", ".join(f'"{c}"' for c in choices))
        return value

    def length(self, table, key, path, default, least=None, most=None):
        if key not in table:
            return default
        try:
            value = parse_length(table[key], self.units)
        except TapeError as error:
            self.fail(path, f"{key}: {error}", "numbers without a unit are in " + self.units)
        if (least is not None and value < least) or (most is not None and value > most):
            other = "in" if self.units == "mm" else "mm"
            self.fail(path, f"{key} = {table[key]!r} is {value:.4g} mm; {least:g} to {most:g} mm are possible",
                      f"check the number and its unit (did you mean {other}?)")
        return value

    def number(self, table, key, path, default, least, most):
        value = table.get(key, default)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
            self.fail(path, f"{key} should be a number", f"write it like {key} = 0.3")
        if not least <= value <= most:
            self.fail(path, f"{key} = {value:g} is out of range", f"it should be {least:g} to {most:g}")
        return float(value)

    def level(self, table):
        level = self.table(table, "level")
        self.known(level, ("by", "floor_slope_along_deg", "floor_slope_across_deg",
                           "floor_within_deg", "plumb_standoff"), "level")
        given = "floor_slope_along_deg" in level
        return Level(
            self.choice(level, "by", "level", ("plumb", "card", "none"), "plumb"),
            self.number(level, "floor_slope_along_deg", "level", 0.0, -15, 15),
            self.number(level, "floor_slope_across_deg", "level", 0.0, -15, 15),
            self.number(level, "floor_within_deg", "level", 0.1 if given else 0.5, 0, 5), given,
            self.length(level, "plumb_standoff", "level", 1.6, least=0, most=50))

    def reading(self, value, path, key, least, most):
        try:
            reading = parse_reading(value, self.units, self.division, self.tape_class)
        except TapeError as error:
            self.fail(path, f"{key}: {error}", "numbers without a unit are in " + self.units)
        if not least <= reading.value_mm <= most:
            self.fail(path, f"{key} = {value!r} is {reading.value_mm:.4g} mm; {least:g} to {most:g} mm"
                            " are possible", "check the number and its unit")
        return reading

    def corner(self, corner, path):
        if not isinstance(corner, dict):
            self.fail("", f"{path!r} should be a section", f"write it as [{path}]")
        self.known(corner, ("link_foot_on", "stuck_within", "standoff", "offset", "tape", "wanted",
                            "link", "radius"), path)
        standoff, standoff_u = self.standoffs(self.table(corner, "standoff", path), f"{path}.standoff")
        return Corner(
            self.choice(corner, "link_foot_on", path, ("control arm", "strut", "knuckle"), "control arm"),
            self.length(corner, "stuck_within", path, 1.0, least=0, most=20),
            standoff, standoff_u, self.offsets(self.table(corner, "offset", path), f"{path}.offset"),
            self.tape(self.table(corner, "tape", path), f"{path}.tape"),
            self.wanted(self.table(corner, "wanted", path), f"{path}.wanted"),
            self.link(self.table(corner, "link", path), f"{path}.link"),
            self.radii(self.table(corner, "radius", path), f"{path}.radius"))

    def standoffs(self, table, path):
        self.known(table, ROLE_KEYS, path)
        values, sigmas = {}, {}
        for key, value in table.items():
            # a negative stand-off is a joint in front of the marker: rare, but possible
            sign = -1 if isinstance(value, str) and value.strip().startswith("-") else 1
            body = value.strip()[1:] if sign < 0 else value
            if isinstance(body, (int, float)) and not isinstance(body, bool):
                sign, body = (-1 if body < 0 else 1), abs(body)
            reading = self.reading(body, path, key, 0, 400)
            stated = isinstance(value, str) and any(s in value for s in ("+-", "±", "+/-"))
            values[key] = sign * reading.value_mm
            # a rule is set against both ends, the print's face and the joint's middle
            sigmas[key] = reading.u_mm if stated else max(self.division / 2, 0.5) * math.sqrt(2 / 3)
        return values, sigmas

    def offsets(self, table, path):
        self.known(table, ROLE_KEYS, path)
        out = {}
        for key, value in table.items():
            if not (isinstance(value, list) and len(value) == 3):
                self.fail(path, f"{key} should be three lengths", f"write {key} = [right, down, into] as on the"
                          " marker, such as [\"0 mm\", \"45 mm\", \"16 mm\"]")
            try:
                out[key] = tuple(self._signed(v) for v in value)
            except TapeError as error:
                self.fail(path, f"{key}: {error}", "numbers without a unit are in " + self.units)
            if max(abs(v) for v in out[key]) > 500:
                self.fail(path, f"{key} is more than 500 mm away", "check the numbers and units")
        return out

    def _signed(self, value):
        if isinstance(value, str) and value.strip().startswith("-"):
            return -parse_length(value.strip()[1:], self.units)
        return parse_length(value, self.units)

    def tape(self, table, path):
        out = {}
        for state, readings in table.items():
            if not isinstance(readings, dict):
                self.fail(path, f"{state!r} should name a state", f"write readings under [{path}.droop], "
                          f"[{path}.set], [{path}.ride], ...")
            self.known(readings, TAPE_NAMES, f"{path}.{state}")
            out[state] = {key: self.reading(value, f"{path}.{state}", key,
                                            0.0 if key in HEIGHTS else 1.0, 3000)
                          for key, value in readings.items()}
        return out

    def wanted(self, table, path):
        self.known(table, ("bar_arm_angle_deg", "within_deg", "datum", "square_to_link"), path)
        out = {"bar_arm_angle_deg": self.number(table, "bar_arm_angle_deg", path, 0.0, -80, 80),
               "within_deg": self.number(table, "within_deg", path, 3.0, 0.01, 45),
               "datum": self.choice(table, "datum", path, ("chassis", "gravity"), "chassis")}
        square = table.get("square_to_link", False)
        if not isinstance(square, bool):
            self.fail(path, "square_to_link should be true or false", "write square_to_link = true")
        out["square_to_link"] = square
        return out

    def link(self, table, path):
        self.known(table, ("thread_pitch", "threaded_ends", "shortest", "longest", "least_engagement",
                           "eye_holes"), path)
        out = {"thread_pitch": self.length(table, "thread_pitch", path, None, 0.3, 5),
               "threaded_ends": self.number(table, "threaded_ends", path, 2, 0, 2),
               "shortest": self.length(table, "shortest", path, None, 10, 1500),
               "longest": self.length(table, "longest", path, None, 10, 1500)}
        if out["shortest"] and out["longest"] and out["shortest"] > out["longest"]:
            self.fail(path, "shortest is longer than longest", "exchange the two")
        return out

    def radii(self, table, path):
        self.known(table, ("hose", "bar_eye", "link"), path)
        return {key: self.length(table, key, path, None, 0, 100) for key in table}

