"""A car folder measured before: what its answer was made from, and the answer kept (`carfile.store`).

What counts is what the files hold, never their times: a photo, a note, a kit or a program that differs by a
byte is measured anew.
"""

from __future__ import annotations

import os
from pathlib import Path

from calib.files import file_digest
from photoangle.carfile.corrections import NAME as CORRECTIONS
from photoangle.carfile.folder import photo_files
from photoangle.carfile.misplaced import misplaced_photos
from photoangle.carfile.store import Store
from photoangle.core.states import CORNERS
from photoangle.detection.cache import DetectionCache
from photoangle.pipeline.measurement import Measurement
from photoangle.reconstruction.lens.kept import NAME

FOLDER = Path("results") / "kept"
# What is measured through is learnt at the first run, in its own file.
_PROFILE = "lens/profile.json"


def looks_for(root: str | os.PathLike[str]) -> DetectionCache:
    """A DetectionCache that also keeps what it saw, and what was solved from it, in the folder's results."""
    return DetectionCache(Store(Path(root) / FOLDER, root))


def contents(root: str | os.PathLike[str]) -> tuple[tuple[str, str], ...]:
    """(name in the folder, digest of what it holds) of all that a measurement of a car folder hangs on:
    notes, lens, photos; of everything else among the photos its name and kind; what lies elsewhere."""
    root = Path(root)
    out = [(name, _held(root / name)) for name in ("car.toml", CORRECTIONS, _PROFILE)]
    for place in (*CORNERS, "lens"):
        for folder, names, files in os.walk(root / place):
            names.sort()
            photos = _photos(folder)
            for name in sorted((*names, *files)):
                path = Path(folder) / name
                out.append((str(path.relative_to(root)),
                            _held(path) if name in photos else _kind(path)))
    return (*out, *((f.where, f"{f.what}; {f.do}") for f in misplaced_photos(root)))


def remembered(store: Store, key: str, root: Path) -> Measurement | None:
    """The Measurement kept under a key of `measurement_key`, or None."""
    measurement = store.get(key)
    return measurement if isinstance(measurement, Measurement) and measurement.root == root else None


def measurement_key(store: Store, held: tuple[tuple[str, str], ...], kit: object, only: str | None,
                    served: str | None) -> str:
    """The key of a folder's Measurement.  held: its `contents`; kit: the Kit in use; only: as asked; served:
    `shown_before` of it."""
    return store.key("measured", held, kit, only, served)


def shown_before(root: Path) -> str:
    """What the photos of all states have shown of the lens so far, as a digest."""
    return _held(root / "results" / NAME)


def to_be_learnt(root: Path) -> bool:
    """Whether measuring would learn the lens first, and write what it learnt."""
    return not (root / _PROFILE).exists() and (root / "lens").is_dir() and bool(photo_files(root / "lens"))


def without_profile(held: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    """`contents` but for the lens profile, which a measuring run writes itself."""
    return tuple(h for h in held if h[0] != _PROFILE)


def _photos(folder):
    try:
        return {p.name for p in photo_files(folder)}
    except OSError:
        return set()


def _held(path):
    if path.is_symlink():
        return _kind(path)
    try:
        return file_digest(path)
    except OSError as error:
        return error.strerror or "cannot be read"


def _kind(path):
    """What a name stands for, where its content is not read; a folder that is shut says so."""
    if path.is_symlink():
        return "link"
    if path.is_dir():
        return "folder" if os.access(path, os.R_OK | os.X_OK) else "shut"
    return "file"
