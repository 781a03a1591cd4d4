"""The bar, the link and its foot: where the bar's eye must be for the link to fit.

The eye turns about the bar's axis, the foot is where its carrier has taken it, and the link keeps its
length.  With u the eye's offset square to the axis, w = axis x u and g the foot as seen from the middle of
the eye's circle, |eye(b) - foot| = length reads

    A cos b + B sin b = C,   A = u.g,   B = w.g,   C = (u.u + g.g - length^2) / 2

(expand the square).  It has two roots, b = atan2(B, A) +- acos(C / hypot(A, B)), or none.  At the toggle
position the two roots meet: there the link has no lever on the bar.  Between toggle positions a linkage stays
on its branch, so the branch of the assembled position is the physical one wherever the path between closes.

Angles in radians, lengths in millimetres, any number of leading axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photoangle.core.arrays import Array, Floats
from photoangle.linkage.kinematics.turning import cross, dot, length, square_to, wrapped


def solve_swing(a: Array, b: Array, c: Array) -> Array:
    """Both angles x that satisfy a cos x + b sin x = c.

    a, b, c (...).  Returns (2, ...) rad in -pi to pi, the roots atan2(b, a) + and - acos(c / hypot(a, b));
    NaN where there is none.
    """
    middle, half, _ = _swing(a, b, c)
    return np.stack([wrapped(middle + half), wrapped(middle - half)])


def _swing(a: Array, b: Array, c: Array) -> tuple[Array, Array, Array]:
    size2 = a * a + b * b
    # atan2 of both sides keeps the digits that acos loses near the toggle position
    room = size2 - c * c
    with np.errstate(invalid="ignore"):
        root = np.sqrt(room)
    return np.arctan2(b, a), np.arctan2(root, c), root


@dataclass(frozen=True)
class Closure:
    """Where the bar stands.

    turn (...): the bar's turn from the given eye, rad; margin (...): the link's angle from the toggle
    position, rad, 0 to pi/2. Both NaN where the link does not close.
    """

    turn: Array
    margin: Array


def branch_side(eye: Array, origin: Array, axis: Array, foot: Array) -> Array:
    """Which of the two roots the assembled position is: +1, -1, or 0 on the toggle position itself.

    eye, origin, axis, foot (..., 3).  Returns (...).
    """
    flat = square_to(eye - origin, axis)
    away = foot - origin
    lever, link = length(flat), length(eye - foot)
    sine = dot(cross(axis, flat), away) / np.where(lever * link > 0, lever * link, np.nan)
    return np.where(np.abs(sine) > 1e-9, -np.sign(sine), 0.0)


def close_link(eye: Array, origin: Array, axis: Array, foot: Array, link_mm: Floats,
               side: Array) -> Closure:
    """Turn of the bar at which the link reaches from foot to eye.

    eye, origin, axis (..., 3): the eye where it was assembled, a point of the bar's axis, its direction; foot
    (..., 3) where it is now; link_mm (...); side (...) from `branch_side`.  Returns Closure.
    """
    offset = eye - origin
    along = axis * dot(offset, axis)[..., None]
    u = offset - along
    g = foot - origin - along
    a, b = dot(u, g), dot(cross(axis, u), g)
    lever2 = dot(u, u)
    return close_terms(a, b, (lever2 + dot(g, g) - link_mm**2) / 2, side, np.sqrt(lever2) * link_mm)


def close_terms(a: Array, b: Array, c: Array, side: Array,
                lever_times_link: Array) -> Closure:
    """`close_link` from its three terms; lever_times_link (...) mm^2.  Returns Closure."""
    middle, half, root = _swing(a, b, c)
    # the link's component along the eye's path is hypot(A, B) sin(acos(...)) / lever
    with np.errstate(invalid="ignore"):
        margin = np.arcsin(np.minimum(root / lever_times_link, 1.0))
        turn = wrapped(middle + np.where(side == 0, np.nan, side) * half)
    return Closure(turn, np.where(np.isnan(turn), np.nan, margin))


def reach_of_bar(eye: Array, origin: Array, axis: Array, foot: Array) -> Array:
    """The shortest and the longest link that closes at all, (2, ...) mm.

    The eye's circle is nearest to and farthest from the foot on the two toggle positions.
    """
    offset = eye - origin
    along = axis * dot(offset, axis)[..., None]
    u, g = offset - along, foot - origin - along
    swing = np.hypot(dot(u, g), dot(cross(axis, u), g))
    both = dot(u, u) + dot(g, g)
    out: Array = np.sqrt(np.maximum(np.stack([both - 2 * swing, both + 2 * swing]), 0.0))
    return out

