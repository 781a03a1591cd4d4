"""Turning points about lines: the vector arithmetic that the linkage is made of.

All functions take stacks: ``...`` in a shape means any number of leading axes, which broadcast.
Angles in radians, lengths in millimetres, directions as unit vectors; right-handed turns.
"""

from __future__ import annotations

import numpy as np

from calib.poses import hat
from photoangle.core.arrays import Array, Floats


def dot(a: Array, b: Array) -> Array:
    """Scalar products: (..., 3) with (..., 3) gives (...)."""
    return a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1] + a[..., 2] * b[..., 2]


def cross(a: Array, b: Array) -> Array:
    """Vector products, (..., 3).  Much faster than numpy's on large stacks."""
    a, b = np.broadcast_arrays(a, b)
    out = np.empty(a.shape)
    out[..., 0] = a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1]
    out[..., 1] = a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2]
    out[..., 2] = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return out


def length(v: Array) -> Array:
    """Euclidean lengths, (...)."""
    return np.sqrt(dot(v, v))


def unit(v: Array) -> Array:
    """Unit vectors.  A zero vector gives NaN, for the caller to have excluded."""
    v = np.asarray(v, float)
    size = length(v)[..., None]
    return v / np.where(size > 0, size, np.nan)


def square_to(v: Array, axis: Array) -> Array:
    """The part of v that is square to a unit axis, (..., 3)."""
    return v - axis * dot(v, axis)[..., None]


def turned(point: Array, origin: Array, axis: Array, angle: Floats) -> Array:
    """Points turned about the line through ``origin`` along ``axis``.

    point, origin, axis (..., 3); angle (...), rad.  Returns (..., 3).
    """
    offset = point - origin
    along = axis * dot(offset, axis)[..., None]
    flat = offset - along
    angle = np.asarray(angle, float)[..., None]
    return origin + along + flat * np.cos(angle) + cross(axis, flat) * np.sin(angle)


def swung(vector: Array, point: Array) -> Array:
    """How far points move by turns about the origin: R p - p for rotation vectors (Rodrigues' formula).

    vector (..., 3), rad; point (..., 3).  Returns (..., 3).
    """
    square = dot(vector, vector)[..., None]
    angle = np.sqrt(square)
    small = angle < 1e-6
    safe = np.where(small, 1.0, angle)
    sine = np.where(small, 1 - square / 6, np.sin(safe) / safe)
    cosine = np.where(small, 0.5 - square / 24, (1 - np.cos(safe)) / safe**2)
    about = vector * dot(vector, point)[..., None] - point * square
    return sine * cross(vector, point) + cosine * about


def smallest_turn(start: Array, end: Array) -> Array:
    """Rotation matrices of the smallest turn that carries one unit vector onto another.

    start, end (..., 3), not opposite.  Returns (..., 3, 3).
    """
    start, end = np.broadcast_arrays(start, end)
    v = hat(cross(start, end))
    out: Array = np.eye(3) + v + v @ v / (1 + dot(start, end))[..., None, None]
    return out


def applied(rotation: Array, vector: Array) -> Array:
    """Rotation matrices (..., 3, 3) times vectors (..., 3), broadcast."""
    return (rotation @ vector[..., None])[..., 0]


def angle_between(a: Array, b: Array) -> Array:
    """Angles between vectors, 0 to pi, accurate at both ends."""
    return np.arctan2(length(cross(a, b)), dot(a, b))


def wrapped(angle: Floats) -> Array:
    """Angles brought into -pi to pi."""
    return (np.asarray(angle) + np.pi) % (2 * np.pi) - np.pi
