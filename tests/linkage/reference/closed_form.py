"""The closure with everything but the arm's angle worked out beforehand: what the plain closed form costs at
its best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photoangle.linkage.kinematics.closure import branch_side, close_terms
from photoangle.linkage.kinematics.turning import cross, dot, length


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
