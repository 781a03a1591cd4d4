"""Rotations and rigid transforms.

A rigid transform carries points of one frame into another and is named
``target_from_source``, so that frame names cancel when read:
``camera_from_world @ world_from_tag`` is ``camera_from_tag``.

Rotation vectors are in radians; translations in millimetres.  All functions
take stacks: a leading ``...`` in a shape means any number of leading axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

# Below this angle (rad) the closed forms lose digits and the series is used.
_SMALL = 1e-5


def hat(vector: ArrayLike) -> np.ndarray:
    """Cross-product matrices.

    Parameters: vector (..., 3).  Returns (..., 3, 3) with ``hat(a) @ b = a x b``.
    """
    v = np.asarray(vector, float)
    out = np.zeros(v.shape[:-1] + (3, 3))
    out[..., 0, 1], out[..., 0, 2], out[..., 1, 2] = -v[..., 2], v[..., 1], -v[..., 0]
    out[..., 1, 0], out[..., 2, 0], out[..., 2, 1] = v[..., 2], -v[..., 1], v[..., 0]
    return out


def rotation_from_vector(vector: ArrayLike) -> np.ndarray:
    """Rotation matrices of rotation vectors (Rodrigues' formula).

    Parameters: vector (..., 3), rad.  Returns (..., 3, 3).
    """
    v = np.asarray(vector, float)
    angle = np.linalg.norm(v, axis=-1)[..., None, None]
    square = angle * angle
    small = angle < _SMALL
    safe = np.where(small, 1.0, angle)
    sine = np.where(small, 1 - square / 6, np.sin(safe) / safe)
    cosine = np.where(small, 0.5 - square / 24, (1 - np.cos(safe)) / safe**2)
    cross = hat(v)
    return np.eye(3) + sine * cross + cosine * (cross @ cross)


def vector_from_rotation(rotation: ArrayLike) -> np.ndarray:
    """Rotation vectors of rotation matrices, angle in [0, pi].

    Parameters: rotation (..., 3, 3).  Returns (..., 3), rad.  At exactly pi the
    axis's sign is arbitrary.
    """
    r = np.asarray(rotation, float)
    w = np.stack([r[..., 2, 1] - r[..., 1, 2], r[..., 0, 2] - r[..., 2, 0],
                  r[..., 1, 0] - r[..., 0, 1]], -1) / 2
    sine = np.linalg.norm(w, axis=-1)
    cosine = (np.trace(r, axis1=-2, axis2=-1) - 1) / 2
    angle = np.arctan2(sine, cosine)
    near_pi = (sine < 1e-6) & (cosine < 0)
    scale = np.where(sine < 1e-9, 1.0, angle / np.maximum(sine, 1e-30))
    out = w * scale[..., None]
    if np.any(near_pi):
        # R + I = 2 a a^T there: take the column with the largest diagonal.
        sym = (r + np.swapaxes(r, -1, -2)) / 4 + np.eye(3) / 2
        k = np.argmax(np.diagonal(sym, axis1=-2, axis2=-1), axis=-1)
        column = np.take_along_axis(sym, k[..., None, None], axis=-1)[..., 0]
        axis = column / np.maximum(np.linalg.norm(column, axis=-1, keepdims=True), 1e-30)
        out = np.where(near_pi[..., None], axis * np.pi, out)
    return out


def angle_between_rotations(a: ArrayLike, b: ArrayLike) -> np.ndarray:
    """Angle (rad) of the rotation that leads from ``a`` to ``b``; both (..., 3, 3)."""
    relative = np.swapaxes(np.asarray(a), -1, -2) @ np.asarray(b)
    return np.linalg.norm(vector_from_rotation(relative), axis=-1)


@dataclass(frozen=True)
class Pose:
    """A rigid transform ``target_from_source``: ``x_target = rotation @ x_source + translation``.

    rotation (3, 3); translation_mm (3,).
    """

    rotation: np.ndarray
    translation_mm: np.ndarray

    @classmethod
    def identity(cls) -> Pose:
        return cls(np.eye(3), np.zeros(3))

    def __matmul__(self, other: Pose) -> Pose:
        return Pose(self.rotation @ other.rotation,
                    self.rotation @ other.translation_mm + self.translation_mm)

    def inverse(self) -> Pose:
        return Pose(self.rotation.T, -self.rotation.T @ self.translation_mm)

    def apply(self, points_mm: ArrayLike) -> np.ndarray:
        """Points (..., 3) of the source frame, in the target frame."""
        return np.asarray(points_mm, float) @ self.rotation.T + self.translation_mm


def fit_rigid(source_mm: ArrayLike, target_mm: ArrayLike, weights: ArrayLike | None = None) -> Pose:
    """The rigid transform that carries points best onto points (least squares).

    Kabsch's method by singular values.  Parameters: source_mm, target_mm (n, 3), n >= 3
    and not all on one line; weights (n,) optional.  Returns ``target_from_source`` Pose.
    Raises ValueError for fewer than three points.
    """
    a, b = np.asarray(source_mm, float), np.asarray(target_mm, float)
    if len(a) < 3 or a.shape != b.shape:
        raise ValueError("fit_rigid needs at least three pairs of points")
    w = np.ones(len(a)) if weights is None else np.asarray(weights, float)
    ca, cb = (w @ a) / w.sum(), (w @ b) / w.sum()
    u, _, vt = np.linalg.svd(((a - ca) * w[:, None]).T @ (b - cb))
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(vt.T @ u.T))])
    rotation = vt.T @ flip @ u.T
    return Pose(rotation, cb - rotation @ ca)
