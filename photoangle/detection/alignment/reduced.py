"""A part of a picture made smaller, for tags that are larger than it takes to measure them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

# Round the tag, of its side.
_MARGIN = 0.4
_BLUR = 0.5  # px of the reduced picture


@dataclass(frozen=True)
class Reduced:
    """grey (H, W) uint8: means of fold x fold pixels each; first (2,): the picture's pixel at its corner."""

    grey: np.ndarray
    first: np.ndarray
    fold: int

    @classmethod
    def around(cls, grey, quad, fold):
        """The part of a picture around quad (4, 2) px; None where nothing of it is in the picture."""
        margin = _MARGIN * np.linalg.norm(quad - np.roll(quad, 1, 0), axis=1).max()
        first = np.maximum(np.floor(quad.min(0) - margin), 0).astype(int)
        last = np.minimum(np.ceil(quad.max(0) + margin).astype(int), [grey.shape[1], grey.shape[0]])
        columns, rows = np.maximum(last - first, 0) // fold
        if min(columns, rows) < 8:
            return None
        part = grey[first[1]:first[1] + rows * fold, first[0]:first[0] + columns * fold]
        # edges no sharper than the pixels they come to lie on
        part = cv2.GaussianBlur(part, (0, 0), _BLUR * fold, borderType=cv2.BORDER_REPLICATE)
        return cls(cv2.resize(part, (int(columns), int(rows)), interpolation=cv2.INTER_AREA), first, fold)

    def into(self, points):
        """The picture's points (k, 2) px in the reduced part."""
        return (points - self.first + 0.5) / self.fold - 0.5

    def lens(self, lens):
        """The picture's lens (`calib.lens` parameters, or None) as it is for the reduced part."""
        if lens is None:
            return None
        out = np.array(lens, float)
        out[0] /= self.fold
        out[2:4] = self.into(out[2:4])
        return out

    def back(self, aligned):
        """A tag aligned in the reduced part, in the picture's own pixels."""
        fold = self.fold
        return replace(aligned, corners_px=(aligned.corners_px + 0.5) * fold - 0.5 + self.first,
                       covariance_px2=aligned.covariance_px2 * fold**2, blur_px2=aligned.blur_px2 * fold**2,
                       bend_px=aligned.bend_px * fold, bend_u_px=aligned.bend_u_px * fold)
