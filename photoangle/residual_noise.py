"""What an alignment's residuals say of the corners' covariance: noise that a denoiser has smeared, cells that do not fit."""

from __future__ import annotations

import numpy as np


def clustered(inverse, rows, residual, u, v, n):
    """Sandwich covariance (8, 8) px^2 clustered by the tag's cells (White 1980, Liang & Zeger 1986).

    inverse (8, c): the corners' rows of the inverse normal matrix; rows (c, k): derivatives; residual (k,) grey levels; u, v
    (k,): cells; n cells across.
    """
    cell = ((np.clip(np.floor(u), -1, n) + 1) * (n + 2)
            + np.clip(np.floor(v), -1, n) + 1).astype(int)
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
