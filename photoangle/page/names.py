"""Names that come with a request, checked before they are used: corners, states, photos."""

from __future__ import annotations

import re
from pathlib import Path

from flask import abort

from calib.images.photo import SUFFIXES
from photoangle.carfile.folder import photo_files
from photoangle.core.states import CORNERS

STATES = ("droop", "set", "ride", "fitted")
_STATE = re.compile(r"[a-z0-9][a-z0-9_-]{0,31}")
_OTHER = re.compile(r"[^A-Za-z0-9_-]+")


def checked_corner(corner):
    """A corner's name, or 404."""
    if corner not in CORNERS:
        abort(404, "there is no such corner")
    return corner


def is_state(name):
    """Whether a text may be the name of a state."""
    return isinstance(name, str) and bool(_STATE.fullmatch(name))


def checked_state(state):
    """A state's name, or 404."""
    if not is_state(state) or state in ("results", "lens"):
        abort(404, "a state's name is of small letters, digits, - and _")
    return state


def folder_of(root, where):
    """The folder of "lens" or "corner/state", inside the car folder and no link, or 404.  It may not
    exist."""
    root = Path(root)
    if where == "lens":
        parts = ("lens",)
    else:
        corner, _, state = where.partition("/")
        parts = (checked_corner(corner), checked_state(state))
    folder = root
    for part in parts:
        folder = folder / part
        if folder.is_symlink():
            abort(404, "this folder is a link to somewhere else")
    return folder


def listed_photo(root, where, name):
    """The path of a photo that is really listed in its folder, or 404: a name is looked up, never joined."""
    folder = folder_of(root, where)
    files = photo_files(folder) if folder.is_dir() else []
    path = next((p for p in files if p.name == name and p.is_file() and not p.is_symlink()), None)
    if path is None:
        abort(404, "there is no such photo")
    return path


def safe_name(name):
    """A file name of our own from what the sender calls a photo: (stem, suffix)."""
    tail = str(name).replace("\\", "/").rpartition("/")[2]
    stem, dot, suffix = tail.rpartition(".")
    suffix = f".{suffix.lower()}" if dot else ""
    stem = _OTHER.sub("_", stem if dot else suffix or tail).strip("_-")[:60]
    return stem or "photo", suffix if suffix in SUFFIXES else ".jpg"
