"""What a job's photos showed of the phone's lens, kept beside the results, state by state, so that a state
that is measured by itself is served by those that were measured before."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from calib.files import read_small, write_whole
from calib.images.photo import CameraIdentity
from calib.profile import read_camera
from photoangle.core.arrays import Array
from photoangle.reconstruction.lens.shown import LensShown

NAME = "lens-from-photos.json"
VERSION = 1
_MOST_BYTES = 20_000_000
_LARGEST = 1e15  # information about a spline's term, 1 / (a millionth)^2, and something to spare


def made_of(*what: object) -> str:
    """One name for all that a state's share hangs on; what: photos' fingerprints and whatever has a repr of
    its own."""
    return hashlib.sha256(repr((VERSION, *what)).encode()).hexdigest()[:24]


def keep_shown(results: str | PathLike[str], shown: Mapping[str, tuple[str, LensShown]]) -> None:
    """Write "corner/state" -> (`made_of`, LensShown) into the folder ``results``, whole or not at all.

    Raises OSError.
    """
    rows = {}
    for where, (made, s) in sorted(shown.items()):
        rows[where] = {"made_of": made, "camera": asdict(s.camera), "photos": list(s.photos),
                       "lens": s.lens.tolist(), "pull": s.pull.tolist(),
                       "information": s.information.tolist(), "spread": s.spread.tolist(), "dof": s.dof}
    path = Path(results)
    path.mkdir(exist_ok=True)
    write_whole(path / NAME, json.dumps({"version": VERSION, "states": rows}) + "\n")


def kept_shown(results: str | PathLike[str]) -> dict[str, tuple[str, LensShown]]:
    """What `keep_shown` wrote.  What cannot be read or understood is as if it was not there: it is learnt
    anew."""
    try:
        content = json.loads(read_small(Path(results) / NAME, _MOST_BYTES).decode("utf-8"))
        if content["version"] != VERSION:
            return {}
        return {str(where): (str(row["made_of"]), _share(row)) for where, row in content["states"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        return {}


def _share(row: dict[str, Any]) -> LensShown:
    camera: CameraIdentity = read_camera(row["camera"])
    lens, pull = _numbers(row["lens"]), _numbers(row["pull"])
    information, spread = _numbers(row["information"]), _numbers(row["spread"])
    n = len(lens)
    if lens.shape != (n,) or pull.shape != (n,) or not 9 <= n <= 100 or not 1 < lens[0] < 1e6:
        raise ValueError("numbers out of range")
    for matrix in (information, spread):
        if matrix.shape != (n, n) or not np.allclose(matrix, matrix.T, rtol=1e-6, atol=0):
            raise ValueError("a matrix that is none of its kind")
        scale = np.sqrt(np.maximum(matrix.diagonal(), 1e-300))
        if (matrix.diagonal() < 0).any() or np.linalg.eigvalsh(matrix / np.outer(scale, scale)).min() < -1e-6:
            raise ValueError("a matrix that is none of its kind")
    photos, dof = tuple(str(p) for p in row["photos"]), float(row["dof"])
    if not photos or not dof > 0:
        raise ValueError("numbers out of range")
    return LensShown(camera, "", photos, lens, pull, information, spread, dof)


def _numbers(values: object) -> Array:
    out = np.array(values, float)
    if not (np.abs(out) < _LARGEST).all():
        raise ValueError("numbers out of range")
    return out


def named(share: LensShown, state: str, photos: Iterable[str]) -> LensShown:
    """A share with whose it is."""
    return replace(share, state=state, photos=tuple(sorted(photos)))
