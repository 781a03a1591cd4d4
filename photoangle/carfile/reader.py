"""The user's car.toml: read, checked, explained.

Every key is optional; an unknown one is refused with the nearest known.  The keys themselves are in
`carfile.car` and `carfile.corner`; numbers without a unit are in the car's units.
"""

from __future__ import annotations

import tomllib
from dataclasses import fields
from pathlib import Path

from pydantic import ValidationError

from calib.errors import InputError
from calib.files import toml_text
from photoangle.carfile.car import SECTIONS, CarFile, CarNotes
from photoangle.carfile.kinds import Context, Refused, Table, check_names
from photoangle.carfile.section import keys_of
from photoangle.core.states import AXLES, CORNERS


class CarFileError(InputError):
    """A car.toml that cannot be used: where in it, what is wrong, what to do."""


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
    try:
        check_names(table, SECTIONS)
    except Refused as refused:
        raise _error(where, (), refused) from refused
    head = table.get("car", {})
    given = head.get("units") if isinstance(head, dict) else None
    head = _read(CarNotes, head, Context("in" if given == "in" else "mm"), where, "car")
    context = Context(head.units, head.tape_division_mm, head.tape_class)
    read = {name: _read(model, table.get(name, {}), context, where, name) for name, model in SECTIONS.items()}
    return CarFile(**{f.name: getattr(head, f.name)
                      for f in fields(head)},
                   print_check=read["print"],
                   level=read["level"],
                   corners={name: read[name]
                            for name in CORNERS if name in table},
                   axles={name: read[name]
                          for name in AXLES if name in table})


def key_at(path):
    """What stands at a path of keys, such as ("front-left", "tape", "set", "hub_to_arch"): a Key, a model, or
    None for nothing."""
    found = SECTIONS
    for name in path:
        names = names_below(found)
        if not (names is None or name in names):
            return None
        found = found.limits if names is None else names[name]
    return found


def names_below(found):
    """What stands below a model or a Table: name -> Key or model; None where a state's name does; {} below
    any other Key."""
    if isinstance(found, dict):
        return found
    return found.names if isinstance(found, Table) else keys_of(found) if isinstance(found, type) else {}


def _read(model, table, context, where, name):
    try:
        return model.__pydantic_validator__.validate_python(table, context=context)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        raise _error(where, (name, *first["loc"]), first["ctx"]["error"]) from error


def _error(where, path, refused):
    path = tuple(map(str, (*path, *refused.at)))
    key, above = (path[-1], path[:-1]) if refused.of_key and path else ("", path)
    do = refused.do.replace("{key}", key).replace("{path}", ".".join(path))
    return CarFileError(f"{where}, {'.'.join(above)}" if above else where, key + refused.what, do)
