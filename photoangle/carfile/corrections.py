"""Markers put right by hand: dismissed, placed, or given another role; plain dots tapped; kept in one small file beside the photos.

The file is FOLDER/corrections.json.  Every command that measures the folder honours it, so that page and commands give
the same figures.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, field
from pathlib import Path

from calib.errors import InputError
from calib.files import read_small, write_whole
from calib.kit import FAMILIES
from photoangle.core.roles import ROLE_BY_KEY

NAME, VERSION = "corrections.json", 1
_MOST_BYTES = 2_000_000
_AFRESH = "mend it, or delete it to start afresh"
_MOST_IDS = max(n for _, n in FAMILIES.values())


class CorrectionsError(InputError, ValueError):
    """A corrections file that cannot be used."""


@dataclass(frozen=True)
class PhotoFix:
    """What was put right in one photo, by the markers' printed ids.

    dismissed: ids; placed: (id, corners (4 pairs) px in the sensor's frame) each; roles: (id, role key) each.
    """

    dismissed: tuple = ()
    placed: tuple = ()
    roles: tuple = ()


@dataclass(frozen=True)
class Corrections:
    """photos: "corner/state/file" -> (dismissed ids, id -> corners); roles: "corner/state" -> id -> role key; dots:
    "corner/state/file" -> role key -> (x, y, sigma) px in the sensor's frame."""

    photos: dict = field(default_factory=dict)
    roles: dict = field(default_factory=dict)
    dots: dict = field(default_factory=dict)

    def of(self, name):
        """The PhotoFix of a photo by its name "corner/state/file"."""
        dismissed, placed = self.photos.get(name, ((), {}))
        roles = self.roles.get(name.rpartition("/")[0], {})
        return PhotoFix(tuple(sorted(dismissed)), tuple(sorted(placed.items())), tuple(sorted(roles.items())))


def read_corrections(root):
    """Corrections of a car folder; none where there is no file.  Raises CorrectionsError."""
    path = Path(root) / NAME
    if not path.exists():
        return Corrections()
    try:
        content = json.loads(read_small(path, _MOST_BYTES))
    except OSError as error:
        raise CorrectionsError(NAME, f"it cannot be read ({error.strerror})", _AFRESH) from error
    except (ValueError, RecursionError) as error:
        raise CorrectionsError(NAME, f"it cannot be understood ({error})", _AFRESH) from error
    if not isinstance(content, dict) or content.get("version") != VERSION:
        raise CorrectionsError(NAME, "it is of another version", "update the program, or delete the file")
    photos, roles, dots = {}, {}, {}
    for name, entry in _table(content, "photos").items():
        if not isinstance(entry, dict):
            raise CorrectionsError(NAME, f"{name!r} should hold an object", _AFRESH)
        dismissed = entry.get("dismissed", [])
        if not isinstance(dismissed, list):
            raise CorrectionsError(NAME, f"{name}: dismissed should be a list of marker numbers", _AFRESH)
        photos[name] = (tuple(_id(i, name) for i in dismissed),
                        {_id(i, name): _corners(c, name) for i, c in _table(entry, "placed").items()})
        dots[name] = {role: _dot(role, d, name) for role, d in _table(entry, "dots").items()}
    for where, entry in _table(content, "roles").items():
        if not isinstance(entry, dict):
            raise CorrectionsError(NAME, f"{where!r} should hold an object", _AFRESH)
        for role in entry.values():
            if not isinstance(role, str) or role not in ROLE_BY_KEY:
                raise CorrectionsError(NAME, f"{where}: {role!r} is no role", _AFRESH)
        roles[where] = {_id(i, where): role for i, role in entry.items()}
    return Corrections(photos, roles, {name: d for name, d in dots.items() if d})


def save_corrections(root, corrections):
    """Write corrections.json whole.  Raises OSError."""
    photos = {}
    for name in sorted({*corrections.photos, *corrections.dots}):
        dismissed, placed = corrections.photos.get(name, ((), {}))
        dots = corrections.dots.get(name, {})
        if dismissed or placed or dots:
            photos[name] = {"dismissed": sorted(dismissed), "placed": {str(i): [list(p) for p in c] for i, c in sorted(placed.items())}}
        if dots:
            photos[name]["dots"] = {role: list(d) for role, d in sorted(dots.items())}
    roles = {where: {str(i): r for i, r in sorted(entry.items())} for where, entry in sorted(corrections.roles.items()) if entry}
    write_whole(Path(root) / NAME, json.dumps({"version": VERSION, "photos": photos, "roles": roles}, indent=1) + "\n")


def _table(content, key):
    table = content.get(key, {})
    if not isinstance(table, dict):
        raise CorrectionsError(NAME, f"{key} should hold an object", _AFRESH)
    return table


def _id(value, where):
    if isinstance(value, bool) or not re.fullmatch(r"\d{1,5}", str(value)) or int(value) >= _MOST_IDS:
        raise CorrectionsError(NAME, f"{where}: {str(value)[:20]!r} is no marker number", _AFRESH)
    return int(value)


def _corners(value, where):
    good = isinstance(value, list) and len(value) == 4 and all(
        isinstance(p, list) and len(p) == 2 and all(isinstance(v, (int, float)) and not isinstance(v, bool) and math.isfinite(v)
                                                    and abs(v) < 1e5 for v in p) for p in value)
    if not good:
        raise CorrectionsError(NAME, f"{where}: a placed marker should have four corners", _AFRESH)
    return tuple((float(x), float(y)) for x, y in value)


def _dot(role, value, where):
    if role not in ROLE_BY_KEY:
        raise CorrectionsError(NAME, f"{where}: {role!r} is no role", _AFRESH)
    good = isinstance(value, list) and len(value) == 3 and all(
        isinstance(v, (int, float)) and not isinstance(v, bool) and math.isfinite(v) and abs(v) < 1e5 for v in value) and value[2] >= 0.05
    if not good:
        raise CorrectionsError(NAME, f"{where}: a dot should have its place and how well it is known, in pixels", _AFRESH)
    return tuple(float(v) for v in value)

