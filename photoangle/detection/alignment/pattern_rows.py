"""A tag's pattern as the picture should show it, with its derivatives by all unknowns."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from photoangle.detection.alignment.tone import tone_terms
from photoangle.detection.codes import square_homography

_LEAST_HALO = 0.05  # of the contrast
_LEAST_SLOPE2 = 1e-4
_EDGE = 0.08  # slope on an edge, of the contrast, per px


class CellMap:
    """Where pixels lie on a tag: u, v (k,) float32 cells, for quad (4, 2) px of n cells across in a window.

    h (3, 3): from pixels in units of the window's extent to cells, its last number one; over (k,): one over
    the denominator.
    """

    def __init__(self, pixels, window, quad, n):
        self.n, self.extent = n, window.extent
        self.quad = (quad - window.middle) / window.extent
        to_cells = np.linalg.inv(square_homography(self.quad, n))
        self.h = to_cells / to_cells[2, 2]
        h, x, y = self.h.astype(np.float32), pixels.x, pixels.y
        self.over = 1 / (h[2, 0] * x + h[2, 1] * y + 1)
        self.u = (h[0, 0] * x + h[0, 1] * y + h[0, 2]) * self.over
        self.v = (h[1, 0] * x + h[1, 1] * y + h[1, 2]) * self.over

    def slopes(self):
        """d(u, v)/d(pixel) at every pixel: ux, uy, vx, vy, each (k,), cells per px."""
        h, scale = self.h.astype(np.float32), self.over / np.float32(self.extent)
        return [(h[row, k] - h[2, k] * at) * scale for row, at in ((0, self.u), (1, self.v)) for k in (0, 1)]

    def by_corners(self):
        """How places on the tag flow when its corners move: (8, 8), numbers of a projective flow by x0, y0,
        x1, ... px."""
        h, ends = self.h, _ends(self.n)
        scale = 1 / ((self.quad @ h[2, :2] + 1) * self.extent)
        slopes = (h[:2, :2] - ends[:, :, None] * h[2, :2]) * scale[:, None,
                                                                   None]  # d(cell)/d(pixel) at each corner
        return -(_flows(self.n) @ slopes).transpose(1, 0, 2).reshape(8, 8)


def _ends(n):
    return np.array([[0.0, 0], [n, 0], [n, n], [0, n]])


@lru_cache(maxsize=4)
def _flows(n):
    """Numbers of the flow that moves one corner of n x n cells by a cell: (corner, 8 numbers, along u or v).

    At (u, v) it goes (a u + b v + c - u w, d u + e v + f - v w) with w = g u + h v: a projective map next to
    none.
    """
    rows = []
    for u, v in _ends(n):
        rows += [[u, v, 1, 0, 0, 0, -u * u, -u * v], [0, 0, 0, u, v, 1, -u * v, -v * v]]
    return np.linalg.inv(rows).reshape(8, 4, 2).transpose(1, 0, 2)


class PatternRows:
    """The modelled grey of a tag at some pixels, and its derivatives.

    Parameters: pixels (k of them) of `photoangle.tag_window`; cells: their CellMap; blurred: BlurredPattern;
    blur (2, 2) px^2 wanted now; rough: for the first look, with one term of the tone curve and without what
    sharpening and denoising do. value (k,): the pattern, 0 black to 1 white; black (k,) grey of black; light
    (k,) what white adds to it; residual (k,); contrast: white less black, grey levels.
    """

    def __init__(self, pixels, cells, blurred, blur, rough):
        self.seen, self._x, self._y, self.cells = pixels.grey, pixels.x, pixels.y, cells
        self._blurred, self._halo, self._keener = blurred, None, 1.0
        value, self._by_u, self._by_v, ringing, uu, vv, uv = blurred.read(cells.u, cells.v)
        ux, uy, vx, vy = self._to_cells = cells.slopes()
        # blur acts as heat does: a small change of its covariance adds half the second derivative
        uvx, uvy = uv * vx, uv * vy
        self._heat = (0.5 * (ux * (uu * ux + 2 * uvx) + vv * vx * vx),
                      0.5 * (uy * (uu * uy + 2 * uvy) + vv * vy * vy),
                      ux * (uu * uy + uvy) + vx * (uv * uy + vv * vy))
        b, laid = blur.astype(np.float32), blurred.laid.astype(np.float32)
        # the pattern was blurred as at the tag's middle: in perspective the near side is larger and got too
        # much
        value = (value + b[0, 0] * self._heat[0] + b[1, 1] * self._heat[1] + b[0, 1] * self._heat[2]
                 - 0.5 * (laid[0, 0] * uu + laid[1, 1] * vv) - laid[0, 1] * uv)
        self.value = value
        self._fit_levels(ringing, rough)

    def _fit_levels(self, ringing, rough):
        value, x, y = self.value, self._x, self._y
        terms = tone_terms(value)[:1 if rough else 3]
        added = [term for term, _ in terms] + ([] if rough else [self._rounding(), ringing])
        self._rows = rows = np.empty((17 + len(added), len(value)), np.float32)
        rows[11], rows[12], rows[13], rows[14], rows[15], rows[16] = 1, value, value * x, value * y, x, y
        for k, row in enumerate(added):
            rows[17 + k] = row
        levels, residual = _linear_fit(rows[11:], self.seen)
        if not rough:
            if levels[-1] > _LEAST_HALO * abs(levels[1]):
                self._halo = levels[-1] * self._blurred.halo_slopes(self.cells.u, self.cells.v)
                # blur changes what is sharpened by as much more as edges bend more
                self._keener = np.float32(1 + levels[-1] / levels[1] * self._blurred.halo_bend)
            else:
                self._rows = rows = rows[:-1]
                levels, residual = _linear_fit(rows[11:], self.seen)
        self.residual = residual
        self.contrast = float(levels[1])
        self.black = levels[0] + levels[4] * x + levels[5] * y
        self.light = self.seen - residual - self.black
        gain = levels[1] + levels[2] * x + levels[3] * y
        for level, (_, slope) in zip(levels[6:], terms, strict=False):
            gain = gain + level * slope
        self._gain = gain

    def _rounding(self):
        """What a denoiser that keeps edges does to corners: it smooths along them, as a flow by curvature
        does (Osher & Sethian 1988)."""
        xx, yy, xy = self._heat
        sx, sy = self._slopes()
        self._slope2 = sx * sx + sy * sy
        return (xx * sy * sy + yy * sx * sx - xy * sx * sy) / (self._slope2 + np.float32(_LEAST_SLOPE2))

    def misfit_under(self, field):
        """The residual (k,) if the light were multiplied by a field (k,)."""
        return self.seen - self.black - field * self.light

    def put_under(self, field, residual):
        """Multiply the light by a field (k,), which leaves a residual (k,)."""
        self.residual, self._gain = residual, self._gain * field
        self._rows[12:15] *= field
        self._rows[17:] *= field
        if self._halo is not None:
            self._halo *= field

    def derivatives(self):
        """Rows (c, k): the grey's derivatives by the corners x0, y0, x1, ... px, the blur's xx, yy and xy
        px^2, and the light's terms."""
        rows, gain, cells = self._rows, self._gain, self.cells
        for k, heat in enumerate(self._heat):
            np.multiply(gain * self._keener, heat, out=rows[8 + k])
        # first by the numbers of a projective flow of places on the tag
        by_flow = np.empty((8, len(gain)), np.float32)
        by_u = np.multiply(gain, self._by_u, out=by_flow[2])
        by_v = np.multiply(gain, self._by_v, out=by_flow[5])
        if self._halo is not None:
            by_u += self._halo[0]
            by_v += self._halo[1]
        outward = -(by_u * cells.u + by_v * cells.v)
        for k, by in ((0, by_u), (3, by_v), (6, outward)):
            np.multiply(by, cells.u, out=by_flow[k])
            np.multiply(by, cells.v, out=by_flow[k + 1])
        np.matmul(cells.by_corners().T.astype(np.float32), by_flow, out=rows[:8])
        return rows

    def _slopes(self):
        ux, uy, vx, vy = self._to_cells
        return self._by_u * ux + self._by_v * vx, self._by_u * uy + self._by_v * vy

    def slopes_px(self):
        """The grey's slopes along the picture's x and y, two (k,), levels per px."""
        return tuple(self._gain * slope for slope in self._slopes())

    def on_edge(self):
        """Which pixels lie on an edge of the pattern, (k,)."""
        return self._slope2 > _EDGE**2


def _linear_fit(rows, seen):
    """Least squares of grey (k,) on rows (c, k): (coefficients (c,), residual (k,))."""
    normal = (rows @ rows.T).astype(float)
    normal[np.diag_indices(len(normal))] *= 1 + 1e-9
    levels = np.linalg.solve(normal, (rows @ seen).astype(float)).astype(np.float32)
    return levels, seen - levels @ rows
