"""Derivatives by central differences: one home for everybody."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike


def jacobian(function: Callable[[np.ndarray], np.ndarray], at: np.ndarray, steps: ArrayLike) -> np.ndarray:
    """Derivatives (m, n) of a function (n,) -> (m,) at a place, by central differences.

    steps (n,) or one number: half the width of each difference, in the units of ``at``; where a step is zero
    the derivative is taken as zero (an input that does not vary).  The error goes with the square of the
    step.
    """
    at = np.asarray(at, float)
    steps = np.broadcast_to(np.asarray(steps, float), at.shape)
    columns: list[np.ndarray | None] = []
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


def jacobian_of_many(function: Callable[[np.ndarray], np.ndarray], size: int, step: float) -> np.ndarray:
    """Derivatives (m, size) at nought of a function that takes many places in one call, (b, size) -> (b, m).

    step: half the width of each difference.
    """
    places = np.eye(size) * step
    both = function(np.concatenate([places, -places]))
    slopes: np.ndarray = ((both[:size] - both[size:]) / (2 * step)).T
    return slopes
