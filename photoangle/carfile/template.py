"""A new car folder with a short car.toml, and every key there is with its words: both from the schema."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path

from calib.files import write_whole
from photoangle.carfile.car import SECTIONS
from photoangle.carfile.kinds import Table, Use
from photoangle.carfile.reader import key_at
from photoangle.carfile.section import keys_of
from photoangle.core.states import DROOP, FITTED, RIDE
from photoangle.core.states import SET as AT_SET

_SHORT = """\
# What rule, tape and level say, in the order in which you read them off.  Everything is optional: what
# is left out widens the plus-or-minus.  Lines that start with # are ignored until you take the # away.
# Lengths: "378 mm", "37.8 cm", "14 7/8 in".  Every key there is: photoangle help car.toml
"""
_ALL = """\
# One file for the whole car.  Everything here is optional; lines that start with # are
# ignored until you take the # away.  Lengths: "378 mm", "37.8 cm", "14 7/8 in".
# Each corner has a section like front-left's; each axle one like front's.
"""
_SHOWN = ("car", "print", "level", "front-left", "front")
_COMMENTS_AT = 31
# Of keys that are written alike so many are shown, the others named.
_MOST_ALIKE = 8
# The short way: keys of a corner's readings, and whether the starter file shows them on their own line.
_ON_WHEELS, _HANGING = "tape.ride", "tape.droop"
STANDOFFS = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_ball_joint")
SIDES = ("front-left", "front-right")
FOLDERS = ("lens", *(f"{side}/{state}" for side in SIDES for state in (DROOP, AT_SET, RIDE, FITTED)))


def starter_text(units="mm"):
    """The car.toml of a new folder: the readings of the short way, both sides; examples in ``units``, "mm" or
    "in"."""
    out = [_SHORT, "\n[car]\n", _line('name = "my car"', "as it stands on reports"),
           _line(f'units = "{units}"', 'for numbers without a unit: "mm" or "in"')]
    for side in SIDES:
        out.append("\n" + _line(f"[{side}.{_ON_WHEELS}]", "on its wheels, settled; read twice"))
        out.append(_offered((side, "tape", RIDE, "hub_to_arch"), units, twice=True))
    out.append("\n" + _line("[print]", "a steel rule on the two lines beside the card"))
    out += [_offered(("print", name), units) for name in ("x_line", "y_line")]
    for side in SIDES:
        out.append("\n" + _line(f"[{side}.standoff]",
                                "from a marker's printed face straight back to the joint's middle"))
        out += [_offered((side, "standoff", name), units) for name in STANDOFFS]
        out.append("\n" + _line(f"[{side}.{_HANGING}]", "on stands, the wheel hanging"))
        out.append(_offered((side, "tape", DROOP, "hub_to_arch"), units, twice=True))
    return "".join(out)


def all_keys_text(units="mm"):
    """Every key of car.toml with an example and what it says, as a file."""
    return _ALL + "".join(_part(name, getattr(SECTIONS[name], "heading", ""), keys_of(SECTIONS[name]), units)
                          for name in _SHOWN)


def _offered(path, units, twice=False):
    """A key's line, commented out."""
    key = key_at(path)
    example = key.example_in(units)
    one = example[0] if isinstance(example, list) else example
    return _line(f"# {path[-1]} = {json.dumps([one, one] if twice else one)}", key.words)


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
    """The text of a section and of those below it; nothing of one that has no key."""
    own, below, alike = [], "", {}
    for name, key in keys.items():
        if isinstance(key, type):
            below += _part(f"{path}.{name}", key.heading, keys_of(key), units)
        elif isinstance(key, Table):
            state = "" if key.names else f".{key.example}"
            below += _part(f"{path}.{name}{state}", key.words, key.names or key.limits.names, units)
        else:
            example = json.dumps(key.example_in(units))
            alike.setdefault((example, key.words.partition(" to ")[0]), []).append(name)
            mark = {Use.SET: "", Use.INSTEAD: "# or: "}.get(key.use & ~Use.PAGE, "# ")
            if len(alike[example, key.words.partition(" to ")[0]]) <= _MOST_ALIKE:
                own.append(_line(f"{mark}{name} = {example}", key.words))
    for names in alike.values():
        if len(names) > _MOST_ALIKE:
            own += [f"# {line}\n" for line in textwrap.wrap(
                f"likewise {', '.join(names[_MOST_ALIKE:])}", 96, subsequent_indent="  ")]
    return ("\n" + _line(f"[{path}]", heading) + "".join(own) if own else "") + below


def _line(text, words):
    return f"{text.ljust(_COMMENTS_AT - 1)} # {words}\n" if words else text + "\n"
