"""Where the parts end, and the lens that a photo was taken with."""

from __future__ import annotations

import numpy as np

from calib.lens import moved_lens
from photoangle.core.roles import PIVOTS


def photo_lens(scene, index):
    """The lens as it stood for one photo: parameters with that photo's own focal length and principal
    point."""
    values = scene.solution.values
    return moved_lens(values.lens, values.shift[index])


def part_end(points, name):
    """Place (3,) of a named end of a part, mm, or None; "pivot" is the middle of the arm's pivots there
    are."""
    if name == "pivot":
        both = [points[n] for n in PIVOTS if n in points]
        return np.mean(both, axis=0) if both else None
    return points[name] if name in points else None  # noqa: SIM401 (no dictionary)
