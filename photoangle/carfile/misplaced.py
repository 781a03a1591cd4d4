"""Photos that lie where nothing looks for them: where they were seen, and where they belong."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from os import PathLike
from pathlib import Path

from photoangle.carfile.folder import photo_files
from photoangle.carfile.symlinks import readable_folders
from photoangle.core.errors import CannotUse
from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.states import CORNERS, DROOP, FITTED, RIDE, SET, STATES

# What people call them.
_CALLED = {"drop": DROOP, "hanging": DROOP, "hang": DROOP, "stands": DROOP, "ground": RIDE, "wheels": RIDE,
           "floor": RIDE, "before": SET, "after": FITTED, "new": FITTED, "fit": FITTED}
_SIDES = {"fl": "front-left", "fr": "front-right", "rl": "rear-left", "rr": "rear-right",
          "lf": "front-left", "rf": "front-right", "lr": "rear-left"}
_EXAMPLE = "front-left/droop"
# Folders of the program's own, and of sample photos.
_OTHERS = ("lens", "results", "single", "trouble", "maker")


def corner_meant(name: str) -> str | None:
    """The corner that a folder's name stands for, such as "Front Left", "frontleft" or "FL"; None for
    others."""
    plain = re.sub(r"[^a-z]", "", name.lower())
    by_letters = {c.replace("-", ""): c for c in CORNERS} | {
        "".join(reversed(c.split("-"))): c for c in CORNERS} | _SIDES
    near = difflib.get_close_matches(plain, by_letters, 1, 0.85)
    return by_letters[near[0]] if near else None


def state_meant(name: str) -> str | None:
    """The state that a folder's name stands for, such as "Drop" or "dropp"; None where it is one, numbered or
    not, or like none."""
    plain = re.sub(r"[^a-z]", "", name.lower())
    if any(name == s or re.fullmatch(rf"{s}[-_ ]?\d+", name) for s in STATES):
        return None
    if plain in _CALLED:
        return _CALLED[plain]
    near = difflib.get_close_matches(plain, STATES, 1, 0.75)
    return near[0] if near else None


def misplaced_photos(root: str | PathLike[str]) -> list[Finding]:
    """Findings for photos of a car folder that lie beside its corners and states, and for states whose name
    looks like another's."""
    root, out = Path(root), []
    if _photos(root):
        out.append(_found(str(root), root,
                          f"move them into {root / _EXAMPLE}, or the corner and state they show"))
    for folder in readable_folders(root):
        if folder.name in CORNERS:
            if _photos(folder):
                out.append(_found(folder.name, folder,
                                  f"move them into {folder.name}/droop, or the state they show"))
            out += [_other_state(folder.name, s) for s in readable_folders(folder)
                    if _photos(s) and state_meant(s.name) is not None]
        elif folder.name not in _OTHERS:
            out += _other_folder(folder)
    return out


def _other_state(corner, folder):
    meant = state_meant(folder.name)
    return Finding(ATTENTION, f"{corner}/{folder.name}", f"{folder.name!r} is taken as a state of its own",
                   f"if it is {meant}, rename the folder to {corner}/{meant}")


def _other_folder(folder):
    """A folder beside the corners: one of them under another name, or a state outside any corner."""
    corner = corner_meant(folder.name)
    inside = [s for s in readable_folders(folder) if _photos(s)]
    if corner is not None and (inside or _photos(folder)):
        return [Finding(ATTENTION, folder.name,
                        f"photos in it are not looked at: {folder.name!r} is no corner",
                        f"rename the folder to {corner}")]
    state = folder.name if folder.name in STATES else state_meant(folder.name)
    if state is not None and _photos(folder):
        return [_found(folder.name, folder, f"move the folder into its corner, such as front-left/{state}")]
    return []


def _found(where, folder, do):
    count = len(_photos(folder))
    lie = f"{count} photos lie" if count > 1 else "a photo lies"
    return Finding(ATTENTION, where, f"{lie} here, outside any corner and state, and none is looked at", do)


def _photos(folder):
    try:
        return photo_files(folder)
    except OSError:
        return []


def as_car_folder(root: str | PathLike[str]) -> None:
    """Raises InputError where a corner's or a state's folder was given in place of the car's."""
    whole = Path(root).resolve()
    if (whole / "car.toml").exists() or any((whole / c).is_dir() for c in CORNERS):
        return
    if whole.name in CORNERS:
        raise CannotUse(str(root), "it is a corner's folder, not the car's",
                        f"give the folder above it: {whole.parent} --only {whole.name}")
    if whole.parent.name in CORNERS:
        raise CannotUse(str(root), "it is a state's folder, not the car's",
                        f"give the car's folder: {whole.parent.parent} --only"
                        f" {whole.parent.name}/{whole.name}")


def check_only(only: str | None, root: str | PathLike[str]) -> None:
    """Raises InputError where --only names no corner, or a state without its corner."""
    if only is None:
        return
    corner, _, state = only.partition("/")
    if corner in CORNERS:
        return
    there = _there(root)
    if corner in STATES and not state:
        raise CannotUse("--only", f"{only!r} is a state: which corner's?",
                        f"write --only {corner_of(there, only)}/{only}")
    meant = corner_meant(corner)
    raise CannotUse("--only", f"{only!r} is no corner or state",
                    f"did you mean {meant}{'/' + state if state else ''}?" if meant else
                    "use one of " + ", ".join(there or CORNERS))


def corner_of(there: Iterable[str], state: str) -> str:
    """The first corner that has a state, else the first there is."""
    return next((c.split("/")[0] for c in there if c.endswith(f"/{state}")), "front-left")


def _there(root):
    return [f"{c}/{s.name}" for c in CORNERS if (Path(root) / c).is_dir()
            for s in readable_folders(Path(root) / c) if _photos(s)]
