"""Derivatives by central differences: one helper for everybody."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Array


def jacobian(function: Callable[[Array], Array], at: Array, steps: ArrayLike) -> Array:
    """Derivatives (m, n) of a function (n,) -> (m,) at a place, by central differences.

    steps (n,) or one number: half the width of each difference, in the units of ``at``; where a step is zero
    the derivative is taken as zero (an input that does not vary).  The error goes with the square of the
    step.
    """
    at = np.asarray(at, float)
    steps = np.broadcast_to(np.asarray(steps, float), at.shape)
    columns: list[Array | None] = []
    rows = None
    for k, step in enumerate(steps):
        if step == 0:
            columns.append(None)
            continue
        change = np.zeros(at.shape)
        change[k] = step
        above, below = np.asarray(function(at + change), float), np.asarray(function(at - change), float)
        slope = (above - below) / (2 * step)
        columns.append(slope)
        rows = len(slope)
    if rows is None:
        rows = len(function(at))
    out = np.zeros((rows, len(at)))
    for k, column in enumerate(columns):
        if column is not None:
            out[:, k] = column
    return out
