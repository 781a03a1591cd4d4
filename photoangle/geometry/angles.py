"""Angles of lines against level: the few formulas that every angle here is made of."""

from __future__ import annotations

import math

import numpy as np

# A line nearer than this to a direction has no meaningful angle in the plane square to it.
_END_ON = math.cos(math.radians(80))
# An axis that stands nearly upright has no level square to it.
_LEAST_RISE = 0.2


def unit(vector: np.ndarray) -> np.ndarray:
    """A vector (3,) of length one."""
    return vector / np.linalg.norm(vector)


def elevation(line: np.ndarray, up: np.ndarray) -> float:
    """asin of the rise over the length, deg; line (3,) of any length, up (3,) a unit vector."""
    return math.degrees(math.asin(np.clip(line @ up / np.linalg.norm(line), -1, 1)))


def angle_about(line: np.ndarray, axis: np.ndarray, up: np.ndarray) -> float | None:
    """Angle of a line (3,) against level in the plane square to ``axis`` (3,), deg within +-90, up positive.

    None where the line is seen nearly end-on in that plane, or the axis stands upright.
    """
    axis = unit(axis)
    rise = up - axis * (up @ axis)
    if np.linalg.norm(rise) < _LEAST_RISE:
        return None
    rise = unit(rise)
    level = np.cross(axis, rise)
    flat = line - axis * (line @ axis)
    if np.linalg.norm(flat) < _END_ON * np.linalg.norm(line):
        return None
    return math.degrees(math.atan2(flat @ rise, abs(flat @ level)))


def angle_between(a: np.ndarray, b: np.ndarray) -> float:
    """Angle between two vectors (3,), deg, 0 to 180."""
    cosine = a @ b / np.linalg.norm(a) / np.linalg.norm(b)
    return math.degrees(math.acos(np.clip(cosine, -1, 1)))


def level_pair(up: np.ndarray) -> np.ndarray:
    """Two level directions square to each other and to up (3,), as columns (3, 2)."""
    first = np.cross(up, np.eye(3)[np.argmin(np.abs(up))])
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(up, first)], 1)
