"""A new car folder with a commented car.toml, its keys and words those of the schema."""

from __future__ import annotations

import json
from pathlib import Path

from calib.files import write_whole
from photoangle.carfile.car import SECTIONS
from photoangle.carfile.kinds import Table, Use
from photoangle.carfile.section import keys_of

_TOP = """\
# One file for the whole car.  Everything here is optional; lines that start with # are
# ignored until you take the # away.  Lengths: "378 mm", "37.8 cm", "14 7/8 in".
"""
_SHOWN = ("car", "print", "level", "front-left")
_COMMENTS_AT = 31
FOLDERS = ("lens", "front-left/droop", "front-left/set", "front-left/ride", "front-left/fitted")


def starter_text(units="mm"):
    """The commented car.toml of a new folder; examples in ``units``, "mm" or "in"."""
    return _TOP + "".join(
        _part(name, getattr(SECTIONS[name], "heading", ""), keys_of(SECTIONS[name]), units)
        for name in _SHOWN)


def start_folder(folder, units="mm"):
    """Make a car folder: photo folders and a car.toml, nothing overwritten.

    Parameters: folder: path, made where absent; units "mm" or "in".
    Returns (paths made, whether car.toml is new).  Raises OSError as the system does.
    """
    folder = Path(folder)
    made = []
    for name in FOLDERS:
        path = folder / name
        if not path.is_dir():
            path.mkdir(parents=True)
            made.append(path)
    carfile = folder / "car.toml"
    new = not carfile.exists()
    if new:
        write_whole(carfile, starter_text(units))
        made.append(carfile)
    return made, new


def _part(path, heading, keys, units):
    """The text of a section and of those below it; nothing of one that shows no key."""
    own, below = [], ""
    for name, key in keys.items():
        if isinstance(key, type):
            below += _part(f"{path}.{name}", key.heading, keys_of(key), units)
        elif isinstance(key, Table):
            state = "" if key.names else f".{key.example}"
            below += _part(f"{path}.{name}{state}", key.words, key.names or key.limits.names, units)
        elif key.use & ~Use.PAGE:
            mark = {Use.SET: "", Use.INSTEAD: "# or: "}.get(key.use & ~Use.PAGE, "# ")
            own.append(_line(f"{mark}{name} = {json.dumps(key.example_in(units))}", key.words))
    return ("\n" + _line(f"[{path}]", heading) + "".join(own) if own else "") + below


def _line(text, words):
    return f"{text.ljust(_COMMENTS_AT - 1)} # {words}\n" if words else text + "\n"
