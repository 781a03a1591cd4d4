"""The lens's curvature inside a small window of the picture."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from calib.lens import camera_matrix, unproject

_POWERS = [(i, j) for i in range(4) for j in range(4) if i + j <= 3]


@lru_cache(maxsize=1)
def _grid():
    """Places (36, 2) in the window, and what fits the powers to values there (powers, 36)."""
    t = np.linspace(-1, 1, 6)
    x, y = (a.ravel() for a in np.meshgrid(t, t))
    return np.stack([x, y], 1), np.linalg.pinv(np.stack([x**i * y**j for i, j in _POWERS], 1))


class LocalLens:
    """The lens's curvature inside a small window, as a displacement.

    Near the window's centre the map is made to have unit slope, so that it takes
    out only what a homography cannot follow.  A cubic polynomial in the window's own coordinates.
    """

    def __init__(self, lens, centre, box):
        x0, y0, x1, y1 = box
        self.half = max(x1 - x0, y1 - y0) / 2 + 2
        self.middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        places, fit = _grid()
        grid = places * self.half + self.middle
        near = centre + np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]], float)
        matrix, _ = camera_matrix(lens)
        flat = unproject(np.concatenate([grid, near]), lens)
        flat = flat * [matrix[0, 0], matrix[1, 1]] + [matrix[0, 2], matrix[1, 2]]
        at_centre = flat[-5]
        slope = np.stack([(flat[-4] - flat[-3]) / 2, (flat[-2] - flat[-1]) / 2], 1)
        local = (flat[:-5] - at_centre) @ np.linalg.inv(slope).T + centre
        terms = fit @ (local - grid)
        self.table = np.zeros((2, 4, 4))  # coordinate, power of x, power of y
        for (i, j), term in zip(_POWERS, terms, strict=False):
            self.table[:, i, j] = term

    def forward(self, points):
        """Picture to flattened, (k, 2) px."""
        w = (points - self.middle) / self.half
        px, py = w[:, 0, None] ** np.arange(4), w[:, 1, None] ** np.arange(4)
        return points + np.einsum("ki,cij,kj->kc", px, self.table, py)

    def forward_window(self, x, y):
        """The same for a window's columns x and rows y: two (rows, columns) float32 arrays."""
        px = ((x - self.middle[0]) / self.half)[:, None] ** np.arange(4)
        py = ((y - self.middle[1]) / self.half)[:, None] ** np.arange(4)
        return [(base + py @ self.table[c].T @ px.T).astype(np.float32)
                for c, base in enumerate((x[None, :], y[:, None]))]

    def back(self, points):
        """Flattened to picture, (k, 2) px."""
        x = points.copy()
        for _ in range(4):
            x = x - (self.forward(x) - points)
        return x
