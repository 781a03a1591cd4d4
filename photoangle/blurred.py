"""A tag's pattern, blurred as the picture is."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from photoangle.codes import apply_homography, cell_pattern, square_homographies

# Correlation of a blur along rows and columns of the pattern up to which it is laid on so.
_SEPARABLE = 0.25
_KNOTS = 6


@lru_cache(maxsize=512)
def template(family, tag_id, per_cell):
    """A tag's pattern with a white margin of one cell: ((n + 2) per_cell, (n + 2) per_cell) float32, 0 black, 1 white;
    n cells across with the border, per_cell samples a cell."""
    padded = np.pad(cell_pattern(family, tag_id), 1, constant_values=1)
    return np.kron(padded, np.ones((per_cell, per_cell), np.float32))


def _blur_image(image, covariance):
    """An image blurred by a Gaussian of a covariance in samples^2, and the covariance that was really laid on.

    Nearly separable ones are laid on along rows and columns; what is missing, the caller corrects.
    """
    values, vectors = np.linalg.eigh(covariance)
    covariance = (vectors * np.maximum(values, 0.09)) @ vectors.T
    a, b, c = covariance[0, 0], covariance[0, 1], covariance[1, 1]
    radius = [min(int(np.ceil(3.2 * np.sqrt(v))) + 1, 40) for v in (a, c)]
    x, y = (np.arange(-r, r + 1) for r in radius)
    if abs(b) < _SEPARABLE * np.sqrt(a * c):
        kx, ky = np.exp(-0.5 * x * x / a), np.exp(-0.5 * y * y / c)
        return cv2.sepFilter2D(image, -1, kx / kx.sum(), ky / ky.sum(),
                               borderType=cv2.BORDER_REPLICATE), np.diag([a, c])
    x, y = np.meshgrid(x, y)
    k = np.exp(-0.5 * (c * x * x - 2 * b * x * y + a * y * y) / (a * c - b * b))
    return cv2.filter2D(image, -1, (k / k.sum()).astype(np.float32), borderType=cv2.BORDER_REPLICATE), covariance


def blurred_template(pattern, per_cell, blur_px2, quad, n):
    """The pattern blurred as the picture is, in the tag's own samples.

    pattern: from `template`; blur_px2 (2, 2): the picture's blur, px^2; quad (4, 2) px; n cells across.
    Returns (pattern like the one given, the covariance (2, 2) that was laid on, cells^2).
    """
    h = square_homographies(quad[None], n)[0]
    middle = np.array([[n / 2, n / 2], [n / 2 + 0.5, n / 2], [n / 2 - 0.5, n / 2],
                       [n / 2, n / 2 + 0.5], [n / 2, n / 2 - 0.5]])
    p = apply_homography(h, middle)
    px_per_sample = np.stack([p[1] - p[2], p[3] - p[4]], 1) / per_cell
    to_tag = np.linalg.inv(px_per_sample)
    blurred, laid = _blur_image(pattern, to_tag @ blur_px2 @ to_tag.T)
    return blurred, laid / per_cell**2


def blur_shortfall(h, to_cells, wx, wy, blur, laid):
    """How much the wanted blur exceeds the one laid into the template, at every pixel.

    The template was blurred as the picture is at the tag's middle; in perspective the near side is
    larger and got too much.  Parameters: h, to_cells: homography from cells to px and back; wx, wy: flattened px
    of the window; blur: wanted, px^2; laid: what the template got, cells^2.
    Returns three arrays like wx: xx, yy and xy of the missing covariance, px^2.  It is smooth: a cubic through a few places.
    """
    rows, columns = wx.shape
    r, c = np.linspace(0, rows - 1, _KNOTS).astype(int), np.linspace(0, columns - 1, _KNOTS).astype(int)
    x, y = wx[np.ix_(r, c)].astype(float), wy[np.ix_(r, c)].astype(float)
    w = to_cells[2, 0] * x + to_cells[2, 1] * y + to_cells[2, 2]
    # d(pixel)/d(cell) = (h[:2, :2] - pixel h[2, :2]) * w, since w = 1 / (h[2] . cell)
    j = np.array([[(h[0, 0] - x * h[2, 0]) * w, (h[0, 1] - x * h[2, 1]) * w],
                  [(h[1, 0] - y * h[2, 0]) * w, (h[1, 1] - y * h[2, 1]) * w]])
    missing = blur[:, :, None, None] - np.einsum("ikrc,kl,jlrc->ijrc", j, laid, j)
    down, across = (np.vander(2 * a / max(n - 1, 1) - 1.0, 4) for a, n in ((r, rows), (c, columns)))
    terms = np.linalg.pinv(down) @ missing @ np.linalg.pinv(across).T
    whole = [np.vander(np.linspace(-1, 1, n), 4).astype(np.float32) for n in (rows, columns)]
    return tuple(whole[0] @ terms[k].astype(np.float32) @ whole[1].T for k in ((0, 0), (1, 1), (0, 1)))
