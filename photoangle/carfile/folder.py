"""What lies in a car folder: its notes, kit, corrections and the photos of each state."""

from __future__ import annotations

from os import PathLike
from pathlib import Path

from calib.images.photo import NOT_READ, SUFFIXES
from photoangle.carfile.car import CarFile
from photoangle.carfile.corrections import read_corrections
from photoangle.carfile.reader import read_carfile
from photoangle.carfile.symlinks import fixed_link, readable_folders
from photoangle.core.errors import CannotUse
from photoangle.core.kit import default_kit, read_kit
from photoangle.core.states import CORNERS


def photo_files(folder):
    """Files in a folder that look like photos, by name.  Links and hidden files are left alone."""
    return sorted(
        (p for p in Path(folder).iterdir()
         if p.suffix.lower() in SUFFIXES + NOT_READ and not p.name.startswith(".") and not p.is_symlink()),
        key=lambda p: p.name)


def load_car(root: str | PathLike[str]) -> CarFile:
    """car.toml of a folder, or the defaults where there is none.  Raises InputError."""
    link = fixed_link(root)
    if link is not None:
        raise CannotUse.because(link)
    path = Path(root) / "car.toml"
    return read_carfile(path) if path.exists() else CarFile()


def _inside(path, root):
    try:
        return path.resolve().is_relative_to(Path(root).resolve())
    except (ValueError, OSError, RuntimeError):  # a name that no file can have, or links in a circle
        return False


def load_kit(root, car, kit_path=None):
    """The kit in use: the printed one, or a kit file's.  Raises InputError."""
    if kit_path is None and car.kit is None:
        return default_kit()
    path = Path(kit_path) if kit_path else (Path(root) / car.kit)
    if not kit_path and not _inside(path, root):
        raise CannotUse("car.toml, car", "the kit file lies outside the car folder",
                        "copy it into the car folder")
    return read_kit(path)


def load_corrections(root):
    """corrections.json of a folder.  Raises InputError."""
    return read_corrections(root)


def state_folders(root, only=None):
    """(corner, state, folder, files) of a car folder that hold photos, in the order of measuring."""
    out = []
    for corner in CORNERS:
        base = Path(root) / corner
        if not base.is_dir():
            continue
        for folder in readable_folders(base):
            files = photo_files(folder)
            if files and (only is None or only in (corner, f"{corner}/{folder.name}")):
                out.append((corner, folder.name, folder, files))
    # ride first: the others hang on it
    return sorted(out, key=lambda s: (s[0], s[1] != "ride", s[1]))
