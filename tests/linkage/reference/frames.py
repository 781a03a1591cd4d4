"""Points of any frame brought into a corner's, with the frame's own uncertainty: for invented corners."""

from __future__ import annotations

import numpy as np

from photoangle.linkage.corner import turn_lever


def from_world(names, positions_mm, sources, axes, axes_sources):
    """Points of any world frame in the chassis frame, with the frame's own uncertainty carried over.

    names (n); positions_mm (n, 3) and sources: name -> (3 n, 3 n) in the world frame; axes (3, 3): chassis
    axes as columns in the world frame; axes_sources: name -> covariance (3, 3) of a small turn of them,
    rad^2, world frame. The origin is the first of bar_bush and the first point, so that a turn of the frame
    moves what is far from it.
    Returns (positions_mm (n, 3), sources).
    """
    points = np.asarray(positions_mm, float)
    origin = points[names.index("bar_bush")] if "bar_bush" in names else points[0]
    away = points - origin
    spread = np.kron(np.eye(len(names)), axes.T)
    out = {source: spread @ c @ spread.T for source, c in sources.items()}
    lever = turn_lever(away @ axes) @ axes.T
    for source, c in axes_sources.items():
        out[source] = out.get(source, 0) + lever @ c @ lever.T
    return away @ axes, out
