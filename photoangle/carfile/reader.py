"""The user's car.toml: read, checked, explained.

Every key is optional; an unknown one is refused with the nearest known.  Lengths are written as
in `photoangle.tape`; numbers without a unit are in the car's units.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

from calib.files import toml_text
from photoangle.carfile.checks import CarFileError, Checks
from photoangle.carfile.corner_section import read_corner
from photoangle.carfile.lengths import TAPE_CLASSES
from photoangle.carfile.notes import Axle, CarFile, Level, PrintCheck
from photoangle.core.states import AXLES, CORNERS


def read_carfile(path):
    """Read car.toml.  Returns CarFile; raises CarFileError with where, what and what to do."""
    name = Path(path).name
    try:
        table = tomllib.loads(toml_text(path))
    except OSError as error:
        raise CarFileError(name, f"it cannot be read ({error.strerror})", "check the file") from error
    except UnicodeDecodeError as error:
        raise CarFileError(name, "it is not plain text (UTF-8)", "save it again as UTF-8") from error
    except RecursionError as error:
        raise CarFileError(name, "it is nested too deeply", "start from a fresh one") from error
    except ValueError as error:  # tomllib's own, and a whole number of thousands of digits
        raise CarFileError(name, f"this line cannot be understood: {error}",
                           "text wants quotes, as in hub_to_arch = \"378 mm\"") from error
    return parse_carfile(table, name)


def parse_carfile(table, where="car.toml"):
    """As `read_carfile`, from a table already read."""
    reader = Checks(where)
    reader.known(table, ("car", "print", "level") + AXLES + CORNERS, "")
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
    corners = {c: read_corner(reader, table[c], c) for c in CORNERS if c in table}
    axles = {a: _axle(reader, reader.table(table, a), a) for a in AXLES if a in table}
    return CarFile(reader.text(car, "name", "car", ""), reader.units, division, tape_class,
                   reader.length(car, "wheelbase", "car", None, least=1000, most=6000),
                   reader.text(car, "kit", "car", None), check, _level(reader, table), corners, axles)


def _level(reader, table):
    level = reader.table(table, "level")
    reader.known(level, ("by", "floor_slope_along_deg", "floor_slope_across_deg",
                       "floor_within_deg", "plumb_standoff"), "level")
    given = "floor_slope_along_deg" in level
    return Level(
        reader.choice(level, "by", "level", ("plumb", "card", "none"), "plumb"),
        reader.number(level, "floor_slope_along_deg", "level", 0.0, -15, 15),
        reader.number(level, "floor_slope_across_deg", "level", 0.0, -15, 15),
        reader.number(level, "floor_within_deg", "level", 0.1 if given else 0.5, 0, 5), given,
        reader.length(level, "plumb_standoff", "level", 1.6, least=0, most=50))


def _axle(reader, table, path):
    reader.known(table, ("bar_rate_n_per_mm", "preload_within"), path)
    return Axle(reader.number(table, "bar_rate_n_per_mm", path, None, 0.1, 2000),
                reader.length(table, "preload_within", path, 2.0, 0.1, 50))
