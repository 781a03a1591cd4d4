"""What an alignment's residuals say: pixels that do not fit, noise that a denoiser has smeared, cells that do
not fit."""

from __future__ import annotations

import numpy as np

_MOST = 3.0
_EACH = 3  # enough for a median
_LEAST_NOISE = 0.3  # grey levels, the rounding to whole ones


def weight_roots(residual, on_edge):
    """Square roots (k,) of weights that take dirt for what it is: 1 / (1 + (r / 3 s)^2), Cauchy's.

    residual (k,) grey levels; on_edge (k,): a denoiser leaves more noise there, so that each kind has its own
    s.
    """
    scale = np.empty_like(residual)
    for kind in (on_edge, ~on_edge):
        if kind.any():
            scale[kind] = _MOST * (1.4826 * np.median(np.abs(residual[kind][::_EACH])) + _LEAST_NOISE)
    return 1 / np.sqrt(1 + (residual / scale) ** 2)


def step_length(roots):
    """By how much a step under those weights must be lengthened so that the weights' own answer to it is
    counted: Newton's length for a robust loss (Huber 1981).

    For Cauchy's weights w the loss bends as 2 w^2 - w.  At most 1.4: on dirt the mean says little.
    """
    weight = roots * roots
    return 1 / max(2 * float(weight @ weight) / float(weight.sum()) - 1, 0.7)


def clustered(inverse, rows, residual, cells, n):
    """Sandwich covariance (8, 8) px^2 clustered by the tag's cells (White 1980, Liang & Zeger 1986).

    inverse (8, c): the corners' rows of the inverse normal matrix; rows (c, k): derivatives; residual (k,)
    grey levels; cells: their CellMap; n cells across.
    """
    cell = ((np.clip(np.floor(cells.u), -1, n) + 1) * (n + 2)
            + np.clip(np.floor(cells.v), -1, n) + 1).astype(int)
    score = (inverse.astype(np.float32) @ rows) * residual
    sums = np.stack([np.bincount(cell, score[k], (n + 2) ** 2) for k in range(8)], 1)
    used = (np.bincount(cell, minlength=(n + 2) ** 2) > 0).sum()
    return sums.T @ sums * used / max(used - len(rows), 0.3 * used)


class Neighbours:
    """Sums of products of a mask's pixels with their neighbours, up to ``reach`` px each way."""

    def __init__(self, inside, shape, reach=3):
        # rows are padded so that no neighbour is reached round a corner
        self.width = shape[1] + reach
        rows, columns = np.divmod(inside, shape[1])
        self.at = rows * self.width + columns
        self.size = (shape[0] + reach) * self.width
        self.lags = [dy * self.width + dx for dy in range(reach + 1) for dx in range(-reach, reach + 1)
                     if dy > 0 or dx > 0]
        there = np.zeros(self.size, np.float32)
        there[self.at] = 1
        self.pairs = np.array([there[:-k] @ there[k:] for k in self.lags])

    def correlation_sum(self, residual, variance):
        """Sum of the residual's autocorrelation over all lags."""
        values = np.zeros(self.size, np.float32)
        values[self.at] = residual
        products = np.array([values[:-k] @ values[k:] for k in self.lags])
        enough = self.pairs > 30
        return 1 + 2 * float((products[enough] / self.pairs[enough]).sum()) / max(variance, 1e-9)
