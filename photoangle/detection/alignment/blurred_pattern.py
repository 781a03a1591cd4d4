"""A tag's pattern, blurred as the picture is."""

from __future__ import annotations

from functools import cached_property, lru_cache

import cv2
import numpy as np
from scipy.special import ndtr

from photoangle.detection.alignment.tone import tone
from photoangle.detection.codes import cell_pattern, square_homography

# Phones sharpen with a mask about this wide, after the tone curve.
_HALO_PX = 1.3
# Correlation of a blur along the pattern's rows and columns up to which it is laid on as if there were none.
_SEPARABLE = 0.25
_LEAST_SAMPLES = 0.3
_NOTHING, _FAR = 1e-6, 6.0
_REACH_CELLS = 0.75  # how far around the black square the pattern can be read; beyond it is white
# Copies of a pattern this many widths apart add up to a smooth one.
_APART = 1.2


@lru_cache(maxsize=512)
def _padded(family, tag_id):
    """Cells (n + 2, n + 2) float32 of a tag with a white margin, 0 black and 1 white."""
    return np.pad(cell_pattern(family, tag_id), 1, constant_values=1)


class BlurredPattern:
    """A tag's pattern blurred as the picture is, with its slopes, to be read at any place.

    The cells are rectangles and the blur is laid on along rows and columns, so that each picture of it is a
    product of two thin matrices with the cells between, exact up to the interpolation.  A blur askew to the
    pattern is a sum of such, moved along a line.

    Parameters: family, tag_id; n cells across; per_cell samples a cell; blur_px2 (2, 2): the picture's blur,
    px^2; quad (4, 2) px: its place in the picture. laid: the covariance (2, 2) that was really laid on,
    cells^2; what is missing, the caller corrects. halo_bend: how strongly a halo bends on an edge, as a share
    of how the pattern does.
    """

    def __init__(self, family, tag_id, n, per_cell, blur_px2, quad):
        cells = _padded(family, int(tag_id))
        self.n, self.per_cell = n, per_cell
        to_tag = np.linalg.inv(_px_per_sample(quad, n, per_cell))
        widths, moves, weights, laid = _blur_parts(blur_px2, to_tag)
        self.laid = laid / per_cell**2
        samples = int(np.ceil((n + 2 * _REACH_CELLS) * per_cell))
        along = (np.arange(samples) + 0.5) / per_cell - _REACH_CELLS
        across, down = _spread(along, n, widths / per_cell, moves / per_cell)
        right = np.moveaxis(across @ cells.T, 1, 2).reshape(3, samples, -1).transpose(0, 2, 1)
        left = np.moveaxis(down * weights.astype(np.float32)[:, None, None], 1, 2).reshape(3, samples, -1)
        value = left[0] @ right[0]
        toned = tone(value)
        # an edge of width s bends as 1 / s^3, and the mask's copy of it is wider
        width2 = np.trace(blur_px2) / 2
        self.halo_bend = 1 - (width2 / (width2 + _HALO_PX**2)) ** 1.5
        wide = np.sqrt(_HALO_PX**2 * (to_tag**2).sum(1))
        halo = toned - cv2.GaussianBlur(
            toned, (0, 0), wide[0], sigmaY=wide[1], borderType=cv2.BORDER_REPLICATE)
        self._planes = (value, left[0] @ right[1], left[1] @ right[0], halo,
                        left[0] @ right[2], left[2] @ right[0], left[1] @ right[1])

    def read(self, u, v):
        """At places u, v (k,) float32, cells: (7, k) float32.

        The value, its slopes by u and v, what a sharpening halo adds, and its second derivatives by u, by v,
        and by both.
        """
        return self._read(self._planes, u, v)

    def halo_slopes(self, u, v):
        """The halo's slopes by u and by v at places (k,): (2, k) float32."""
        return self._read(self._halo_planes, u, v)

    @cached_property
    def _halo_planes(self):
        halo = self._planes[3]
        planes = np.zeros((2, *halo.shape), np.float32)
        np.subtract(halo[:, 2:], halo[:, :-2], out=planes[0][:, 1:-1])
        np.subtract(halo[2:], halo[:-2], out=planes[1][1:-1])
        planes *= np.float32(self.per_cell / 2)
        return planes

    def on_edge(self, quad, shape, least_slope):
        """Where in a window of that shape (rows, columns) the pattern is steeper than so much a cell: uint8.

        quad (4, 2) px: the tag's place in the window.
        """
        steep = (cv2.max(cv2.absdiff(self._planes[1], 0), cv2.absdiff(self._planes[2], 0))
                 > least_slope).view(np.uint8)
        to_samples = np.array([[self.per_cell, 0, _REACH_CELLS * self.per_cell - 0.5],
                               [0, self.per_cell, _REACH_CELLS * self.per_cell - 0.5], [0, 0, 1]])
        return cv2.warpPerspective(steep,
                                   to_samples @ np.linalg.inv(square_homography(quad, self.n)),
                                   shape[::-1],
                                   flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
                                   borderMode=cv2.BORDER_REPLICATE)

    def _read(self, planes, u, v):
        k = len(u)
        # remap takes no more than 32767 columns
        rows = -(-k // 256)
        where = np.zeros((2, rows * 256), np.float32)
        where[0, :k], where[1, :k] = u, v
        where *= np.float32(self.per_cell)
        where += np.float32(_REACH_CELLS * self.per_cell - 0.5)
        where = where.reshape(2, rows, 256)
        out = np.empty((len(planes), rows, 256), np.float32)
        for plane, seen in zip(planes, out, strict=False):
            cv2.remap(plane, where[0], where[1], cv2.INTER_LINEAR, dst=seen, borderMode=cv2.BORDER_REPLICATE)
        return out.reshape(len(out), -1)[:, :k]


def _px_per_sample(quad, n, per_cell):
    """d(pixel)/d(sample) (2, 2) at the tag's middle."""
    h = square_homography(quad, n)
    x, y, w = h @ [n / 2, n / 2, 1]
    return (h[:2, :2] - np.outer([x / w, y / w], h[2, :2])) / (w * per_cell)


def _blur_parts(blur_px2, to_tag):
    """A blur as Gaussians along columns and rows, moved: (widths (2,), moves (2, m), weights (m,), covariance
    laid on), samples.

    The blur's narrow axis is taken for focus, a Gaussian; what the wide axis has more, for a straight
    movement at even speed.  to_tag (2, 2): d(sample)/d(pixel).
    """
    values, vectors = np.linalg.eigh(blur_px2)
    focus = values[0] * to_tag @ to_tag.T
    way = to_tag @ vectors[:, 1] * np.sqrt(12 * max(values[1] - values[0], 0))
    steps = int(
        np.clip(np.ceil(np.linalg.norm(way) / (_APART * np.sqrt(np.linalg.eigvalsh(focus)[0]))), 1, 24))
    moves = way[:, None] * (np.arange(steps) + 0.5 - steps / 2) / steps
    # each step is itself a short piece of the way
    focus = focus + np.outer(way, way) / 12 / steps**2
    a, b, c = focus[0, 0], focus[0, 1], focus[1, 1]
    weights = np.full(steps, 1 / steps)
    askew = b / np.sqrt(a * c)
    laid = np.diag([a, c]) + np.outer(way, way) / 12 * (1 - 1 / steps**2)
    if abs(askew) > _SEPARABLE:
        # a Gaussian askew is one along the axes, moved along a line by another
        line = np.sqrt(abs(askew)) * np.array([np.sqrt(a), np.sign(b) * np.sqrt(c)])
        places, shares = _gaussian_line(2 * int(np.ceil(2.5 * np.sqrt(abs(askew) / (1 - abs(askew))))) + 1)
        moves = (moves[:, :, None] + line[:, None, None] * places).reshape(2, -1)
        weights = (weights[:, None] * shares).ravel()
        a, c = a * (1 - abs(askew)), c * (1 - abs(askew))
        laid[0, 1] = laid[1, 0] = laid[0, 1] + b
    widths = np.maximum(np.sqrt([a, c]), _LEAST_SAMPLES)
    return widths, moves, weights, laid


@lru_cache(maxsize=16)
def _gaussian_line(count):
    """Places and weights (count,) that stand for a standard Gaussian (Gauss and Hermite's)."""
    places, weights = np.polynomial.hermite_e.hermegauss(count)
    return places, weights / weights.sum()


def _spread(along, n, widths, moves):
    """How much of each cell, margin included, shows at places along (s,), cells: it and its two derivatives.

    widths (2,) and moves (2, m), cells, for columns and for rows.  Returns (2, 3, m, s, n + 2) float32.
    """
    widths = widths.astype(np.float32)[:, None, None, None]
    edges = np.arange(n + 1) - along[:, None]
    # further out the shares are nothing, and the functions slow
    t = np.clip((edges.astype(np.float32) + moves.astype(np.float32)[:, :, None, None]) / widths, -_FAR, _FAR)
    steps = np.zeros((2, 3, *t.shape[1:3], n + 3), np.float32)
    inner = steps[..., 1:-1]
    # the margin has no outer end
    steps[:, 0, ..., -1] = 1
    ndtr(t, out=inner[:, 0])
    pdf = np.exp(-0.5 * t * t) / (np.float32(np.sqrt(2 * np.pi)) * widths)
    np.negative(pdf, out=inner[:, 1])
    np.multiply(t, -pdf / widths, out=inner[:, 2])
    # numbers next to nothing make slow products
    shares = steps[..., 1:] - steps[..., :-1]
    shares[np.abs(shares) < _NOTHING] = 0
    return shares
