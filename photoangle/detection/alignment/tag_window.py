"""The part of a picture that shows a tag."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from photoangle.detection.alignment.local_lens import LocalLens
from photoangle.detection.codes import apply_homography, square_homography

_MARGIN_CELLS = 0.4
_LEAST_PIXELS = 60


@dataclass(frozen=True)
class Pixels:
    """Some of a window's pixels: at (k,) flat indices into the window, grey (k,) float32, x, y (k,) float32
    from the window's middle in units of its extent."""

    at: np.ndarray
    grey: np.ndarray
    x: np.ndarray
    y: np.ndarray

    def __getitem__(self, chosen):
        return Pixels(*(np.ascontiguousarray(part[chosen]) for part in (self.at, self.grey, self.x, self.y)))


class TagWindow:
    """A rectangle of a picture around a tag, in coordinates with the lens's curvature taken out.

    shape (rows, columns); first (2,) the picture's pixel at its corner; pixels: those of the tag and its near
    margin; middle (2,) and extent, px.
    """

    @classmethod
    def around(cls, grey, quad, n, lens):
        """The window of a tag of n cells at quad (4, 2) px; None where too little of it is in the picture."""
        edge = apply_homography(square_homography(quad, n),
                                np.array([[-1, -1], [n + 1, -1], [n + 1, n + 1], [-1, n + 1.0]]))
        if not np.isfinite(edge).all():
            return None
        x0, y0 = np.maximum(np.floor(edge.min(0)).astype(int) - 4, 0)
        x1 = min(int(np.ceil(edge[:, 0].max())) + 5, grey.shape[1])
        y1 = min(int(np.ceil(edge[:, 1].max())) + 5, grey.shape[0])
        if x1 - x0 < 8 or y1 - y0 < 8:
            return None
        window = cls(grey, quad, n, lens, (x0, y0, x1, y1))
        return window if len(window.pixels.at) >= _LEAST_PIXELS else None

    def __init__(self, grey, quad, n, lens, box):
        x0, y0, x1, y1 = box
        self.shape, self.first = (y1 - y0, x1 - x0), np.array([x0, y0])
        columns, rows = np.arange(x0, x1, dtype=float), np.arange(y0, y1, dtype=float)
        self._lens = None if lens is None else LocalLens(lens, quad.mean(0), box)
        if lens is None:
            wx, wy = np.meshgrid(columns.astype(np.float32), rows.astype(np.float32))
        else:
            wx, wy = self._lens.forward_window(columns, rows)
        flat = self.flattened(quad)
        m = _MARGIN_CELLS
        outline = apply_homography(square_homography(flat, n),
                                   np.array([[-m, -m], [n + m, -m], [n + m, n + m], [-m, n + m]]))
        mask = np.zeros(self.shape, np.uint8)
        cv2.fillConvexPoly(mask, np.rint((outline - [x0, y0]) * 16).astype(np.int32), 1, shift=4)
        at = np.flatnonzero(mask)
        self.middle, self.extent = flat.mean(0), np.abs(flat - flat.mean(0)).max()
        x, y = ((w.ravel()[at] - np.float32(middle)) / np.float32(self.extent)
                for w, middle in zip((wx, wy), self.middle, strict=False))
        self.pixels = Pixels(at, grey[y0:y1, x0:x1].ravel()[at].astype(np.float32), x, y)

    def flattened(self, points):
        """Picture to the window's coordinates, (k, 2) px."""
        return points if self._lens is None else self._lens.forward(points)

    def back(self, points):
        """The other way."""
        return points if self._lens is None else self._lens.back(points)
