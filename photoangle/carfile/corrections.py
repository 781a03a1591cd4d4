"""Markers put right by hand: dismissed, placed, or given another role; plain dots tapped, places pointed at;
kept in one small file beside the photos.

The file is FOLDER/corrections.json.  Every command that measures the folder honours it, so that page and
commands give the same figures.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, BeforeValidator, Field, ValidationError

from calib.errors import InputError
from calib.files import read_small, write_whole
from calib.kit import FAMILIES
from photoangle.core.roles import ROLE_BY_KEY

NAME, VERSION = "corrections.json", 1
_MOST_BYTES = 2_000_000
_AFRESH = "mend it, or delete it to start afresh"
# What of a part may be pointed at.
POINTED_AT = ("bolt", "stud", "hole", "edge", "other")
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
    """photos: "corner/state/file" -> (dismissed ids, id -> corners); roles: "corner/state" -> id -> role key;
    dots: "corner/state/file" -> role key -> (x, y, sigma) px in the sensor's frame; pointed: the same ->
    role key -> (x, y, sigma, what), `what` one of POINTED_AT."""

    photos: dict = field(default_factory=dict)
    roles: dict = field(default_factory=dict)
    dots: dict = field(default_factory=dict)
    pointed: dict = field(default_factory=dict)

    def of(self, name):
        """The PhotoFix of a photo by its name "corner/state/file"."""
        dismissed, placed = self.photos.get(name, ((), {}))
        roles = self.roles.get(name.rpartition("/")[0], {})
        return PhotoFix(tuple(sorted(dismissed)), tuple(sorted(placed.items())), tuple(sorted(roles.items())))

    def pointed_in(self, names):
        """What was pointed at in the named photos, as `pointed`."""
        return {name: self.pointed[name] for name in names if name in self.pointed}


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
    try:
        found = _File.model_validate(content)
    except ValidationError as error:
        raise CorrectionsError(NAME, _said(error.errors(include_url=False, include_input=False)[0]["loc"]),
                               _AFRESH) from error
    return Corrections({name: (p.dismissed, p.placed) for name, p in found.photos.items()}, found.roles,
                       {name: p.dots for name, p in found.photos.items() if p.dots},
                       {name: p.pointed for name, p in found.photos.items() if p.pointed})


def save_corrections(root, corrections):
    """Write corrections.json whole.  Raises OSError."""
    photos = {}
    for name in sorted({*corrections.photos, *corrections.dots, *corrections.pointed}):
        dismissed, placed = corrections.photos.get(name, ((), {}))
        dots = corrections.dots.get(name, {})
        pointed = corrections.pointed.get(name, {})
        if dismissed or placed or dots or pointed:
            photos[name] = {
                "dismissed": sorted(dismissed),
                "placed": {str(i): [list(p) for p in c]
                           for i, c in sorted(placed.items())}
            }
        if dots:
            photos[name]["dots"] = {role: list(d) for role, d in sorted(dots.items())}
        if pointed:
            photos[name]["pointed"] = {role: list(p) for role, p in sorted(pointed.items())}
    roles = {
        where: {str(i): r
                for i, r in sorted(entry.items())}
        for where, entry in sorted(corrections.roles.items()) if entry
    }
    write_whole(
        Path(root) / NAME,
        json.dumps({"version": VERSION, "photos": photos, "roles": roles}, indent=1) + "\n")


def _digits(value):
    # JSON's keys are texts; true is no marker
    text = str(value)
    if isinstance(value, bool) or len(text) > 5 or not (text.isascii() and text.isdigit()):
        raise ValueError
    return int(text)


_Id = Annotated[int, BeforeValidator(_digits), Field(ge=0, lt=_MOST_IDS)]
if TYPE_CHECKING:
    _Role = str
    _What = str
else:
    _Role = Literal[tuple(ROLE_BY_KEY)]
    _What = Literal[POINTED_AT]
_Px = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=-1e5, lt=1e5)]
_Point = tuple[_Px, _Px]
_HOLDS = {
    "photos": "an object for each photo", "dismissed": "a list of marker numbers",
    "placed": "four corners for each marker number",
    "dots": "for each role a dot's place and how well it is known, in pixels",
    "pointed": "for each role a place, how well it is known, in pixels, and what it is",
    "roles": "a role for each marker number"
}


class _Photo(BaseModel):
    dismissed: tuple[_Id, ...] = ()
    placed: dict[_Id, tuple[_Point, _Point, _Point, _Point]] = {}
    dots: dict[_Role, tuple[_Px, _Px, Annotated[_Px, Field(ge=0.05)]]] = {}
    pointed: dict[_Role, tuple[_Px, _Px, Annotated[_Px, Field(ge=0.05, le=200)], _What]] = {}


class _File(BaseModel):
    photos: dict[str, _Photo] = {}
    roles: dict[str, dict[_Id, _Role]] = {}


def _said(loc):
    part = loc[2] if loc[0] == "photos" and len(loc) > 2 else loc[0]
    return f"{loc[1]}: {part} should hold {_HOLDS[part]}" if len(
        loc) > 1 else f"{part} should hold {_HOLDS[part]}"
