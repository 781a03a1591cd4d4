"""The bar, the link and its foot: where the bar's eye must be for the link to fit.

The eye turns about the bar's axis, the foot is where its carrier has taken it, and the link keeps its
length.  With u the eye's offset square to the axis, w = axis x u and g the foot as seen from the middle of
the eye's circle, |eye(b) - foot| = length reads

    A cos b + B sin b = C,   A = u.g,   B = w.g,   C = (u.u + g.g - length^2) / 2

(expand the square).  It has two roots, b = atan2(B, A) +- acos(C / hypot(A, B)), or none.  At the dead line the two
roots meet: there the link has no lever on the bar.  Between dead lines a linkage stays on its
branch, so the branch of the assembled position is the physical one wherever the path between closes.

Angles in radians, lengths in millimetres, any number of leading axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photoangle.linkage.kinematics.turning import cross, dot, length, square_to, wrapped


def solve_swing(a, b, c):
    """Both angles x that satisfy a cos x + b sin x = c.

    a, b, c (...).  Returns (2, ...) rad in -pi to pi, the roots atan2(b, a) + and - acos(c / hypot(a, b));
    NaN where there is none.
    """
    middle, half, _ = _swing(a, b, c)
    return np.stack([wrapped(middle + half), wrapped(middle - half)])


def _swing(a, b, c):
    size2 = a * a + b * b
    # atan2 of both sides keeps the digits that acos loses near the dead line
    room = size2 - c * c
    with np.errstate(invalid="ignore"):
        root = np.sqrt(room)
    return np.arctan2(b, a), np.arctan2(root, c), root


@dataclass(frozen=True)
class Closure:
    """Where the bar stands.

    turn (...): the bar's turn from the given eye, rad; margin (...): the link's angle from the dead line, rad, 0 to
    pi/2. Both NaN where the link does not close.
    """

    turn: np.ndarray
    margin: np.ndarray


def branch_side(eye, origin, axis, foot):
    """Which of the two roots the assembled position is: +1, -1, or 0 on the dead line itself.

    eye, origin, axis, foot (..., 3).  Returns (...).
    """
    flat = square_to(eye - origin, axis)
    away = foot - origin
    lever, link = length(flat), length(eye - foot)
    sine = dot(cross(axis, flat), away) / np.where(lever * link > 0, lever * link, np.nan)
    return np.where(np.abs(sine) > 1e-9, -np.sign(sine), 0.0)


def close_link(eye, origin, axis, foot, link_mm, side):
    """Turn of the bar at which the link reaches from foot to eye.

    eye, origin, axis (..., 3): the eye where it was assembled, a point of the bar's axis, its direction; foot (...,
    3) where it is now; link_mm (...); side (...) from `branch_side`.  Returns Closure.
    """
    offset = eye - origin
    along = axis * dot(offset, axis)[..., None]
    u = offset - along
    g = foot - origin - along
    a, b = dot(u, g), dot(cross(axis, u), g)
    lever2 = dot(u, u)
    return close_terms(a, b, (lever2 + dot(g, g) - link_mm**2) / 2, side, np.sqrt(lever2) * link_mm)


def close_terms(a, b, c, side, lever_times_link):
    """`close_link` from its three terms; lever_times_link (...) mm^2.  Returns Closure."""
    middle, half, root = _swing(a, b, c)
    # the link's component along the eye's path is hypot(A, B) sin(acos(...)) / lever
    with np.errstate(invalid="ignore"):
        margin = np.arcsin(np.minimum(root / lever_times_link, 1.0))
        turn = wrapped(middle + np.where(side == 0, np.nan, side) * half)
    return Closure(turn, np.where(np.isnan(turn), np.nan, margin))


@dataclass(frozen=True)
class ArmTerms:
    """A, B, C of the closure as functions of the control arm's angle, where the foot rides on that arm.

    Each (3, ...): constant, factor of cos, factor of sin.  Ten times cheaper than carrying
    the foot's three coordinates through every step of the travel.
    """

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    side: np.ndarray
    lever_times_link: np.ndarray

    def close(self, arm_angle):
        """Closure for arm angles (...) that broadcast against the terms."""
        cosine, sine = np.cos(arm_angle), np.sin(arm_angle)
        a, b, c = (t[0] + t[1] * cosine + t[2] * sine for t in (self.a, self.b, self.c))
        return close_terms(a, b, c, self.side, self.lever_times_link)


def arm_terms(eye, origin, axis, foot, arm_origin, arm_axis, link_mm=None):
    """ArmTerms of a link whose foot, at ``foot`` as assembled, turns with the control arm.

    All points and directions (..., 3); link_mm (...) or None for the assembled length.
    """
    assembled = length(eye - foot)
    link_mm = assembled if link_mm is None else link_mm
    offset = eye - origin
    along = axis * dot(offset, axis)[..., None]
    u = offset - along
    w = cross(axis, u)
    reach = foot - arm_origin
    on_axis = arm_axis * dot(reach, arm_axis)[..., None]
    p = reach - on_axis
    q = cross(arm_axis, p)
    middle = arm_origin + on_axis - origin - along
    lever2 = dot(u, u)
    return ArmTerms(np.stack([dot(u, middle), dot(u, p), dot(u, q)]),
                    np.stack([dot(w, middle), dot(w, p), dot(w, q)]),
                    np.stack([(lever2 + dot(middle, middle) + dot(p, p) - link_mm**2) / 2,
                              dot(middle, p), dot(middle, q)]),
                    branch_side(eye, origin, axis, foot), np.sqrt(lever2) * link_mm)


def reach_of_bar(eye, origin, axis, foot):
    """The shortest and the longest link that closes at all, (2, ...) mm.

    The eye's circle is nearest to and farthest from the foot on the two dead lines.
    """
    offset = eye - origin
    along = axis * dot(offset, axis)[..., None]
    u, g = offset - along, foot - origin - along
    swing = np.hypot(dot(u, g), dot(cross(axis, u), g))
    both = dot(u, u) + dot(g, g)
    return np.sqrt(np.maximum(np.stack([both - 2 * swing, both + 2 * swing]), 0.0))


@dataclass(frozen=True)
class FourBar:
    """A planar four-bar's two assemblies: angles in rad against the line of the fixed pivots; NaN
    where it does not close."""

    rocker_open: np.ndarray
    coupler_open: np.ndarray
    rocker_crossed: np.ndarray
    coupler_crossed: np.ndarray


def four_bar(crank_mm, coupler_mm, rocker_mm, ground_mm, crank_angle):
    """The planar limit: crank, coupler, rocker and ground as the textbooks have it.

    Lengths (...), crank_angle (...) rad.  Crank's pivot at the origin, rocker's at (ground, 0); solved by the
    spatial closure with its axis square to the plane.  Returns FourBar.
    """
    crank, coupler, rocker, ground, angle = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (crank_mm, coupler_mm, rocker_mm, ground_mm, crank_angle)))
    zero = np.zeros_like(crank)
    foot = np.stack([crank * np.cos(angle), crank * np.sin(angle), zero], -1)
    pivot = np.stack([ground, zero, zero], -1)
    eye = pivot + np.stack([rocker, zero, zero], -1)
    out = []
    for side in (-1.0, 1.0):
        turn = close_link(eye, pivot, np.array([0, 0, 1.0]), foot, coupler, np.full(crank.shape, side)).turn
        end = pivot[..., :2] + rocker[..., None] * np.stack([np.cos(turn), np.sin(turn)], -1) - foot[..., :2]
        out += [turn, np.arctan2(end[..., 1], end[..., 0])]
    return FourBar(*out)
