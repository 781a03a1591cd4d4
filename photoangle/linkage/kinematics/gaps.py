"""Distances between points and segments: the bar eye and the link against the hose.

All points (..., 3), mm, broadcast; returns (...), mm, centre to centre: radii are for the caller to take off.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from photoangle.core.arrays import Array
from photoangle.linkage.kinematics.turning import cross, dot, length


def point_to_segment(point: Array, start: Array, end: Array) -> Array:
    """Distance of a point from a segment; a segment without length counts as a point."""
    line = end - start
    size = dot(line, line)
    share = np.clip(dot(point - start, line) / np.where(size > 0, size, 1.0), 0.0, 1.0)
    return length(point - start - line * share[..., None])


def segment_to_segment(a: Array, b: Array, c: Array, d: Array) -> Array:
    """Distance of segment a-b from segment c-d.

    The least distance is either at one of the four ends or between two inner points, where the joining line
    is square to both; parallel segments are covered by their ends.
    """
    ends = np.minimum(np.minimum(point_to_segment(a, c, d), point_to_segment(b, c, d)),
                      np.minimum(point_to_segment(c, a, b), point_to_segment(d, a, b)))
    first, second, between = b - a, d - c, c - a
    normal = cross(first, second)
    size = dot(normal, normal)
    scale = dot(first, first) * dot(second, second)
    skew = size > 1e-14 * scale
    safe = np.where(skew, size, 1.0)
    s = dot(cross(between, second), normal) / safe
    t = dot(cross(between, first), normal) / safe
    inside = skew & (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1)
    return np.where(inside, np.abs(dot(between, normal)) / np.sqrt(safe), ends)


def polyline_to_segment(chain: Sequence[Array], a: Array, b: Array) -> Array:
    """Least distance of a chain of points (a list of (..., 3); one is a point) from segment a-b."""
    if len(chain) == 1:
        return point_to_segment(chain[0], a, b)
    return _least([segment_to_segment(p, q, a, b) for p, q in itertools.pairwise(chain)])


def point_to_polyline(point: Array, chain: Sequence[Array]) -> Array:
    """Least distance of a point from a chain of points."""
    if len(chain) == 1:
        return length(point - chain[0])
    return _least([point_to_segment(point, p, q) for p, q in itertools.pairwise(chain)])


def _least(values: Sequence[Array]) -> Array:
    out = values[0]
    for value in values[1:]:
        out = np.minimum(out, value)
    return out
