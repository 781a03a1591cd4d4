"""A tag aligned with the picture, as a noun."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Flat tags, clean to dirty, show bends of up to 0.075 px, or 0.18 % of their side and 3.6 u (rendered).
_BEND_SURE, _LEAST_BEND_PX, _LEAST_BEND = 5.0, 0.08, 0.001


@dataclass(frozen=True)
class AlignedTag:
    """A tag's corners and how well the pattern fits.

    corners_px (4, 2) in the printed order; covariance_px2 (8, 8) for x0, y0, x1, ...;
    blur_px: root mean square width of the blur; noise: residual grey levels; contrast:
    white less black, grey levels; fit: correlation of model and picture; rounds taken; bend_px and its own
    standard uncertainty: how far the paper is from flat, as the picture shows it (`photoangle.bend`).
    """

    corners_px: np.ndarray
    covariance_px2: np.ndarray
    blur_px2: np.ndarray
    noise: float
    contrast: float
    fit: float
    rounds: int
    settled: bool
    bend_px: float = 0.0
    bend_u_px: float = 0.0

    @property
    def blur_px(self):
        return float(np.sqrt(np.trace(self.blur_px2) / 2))

    @property
    def side_px(self):
        return float(np.linalg.norm(self.corners_px - np.roll(self.corners_px, 1, 0), axis=1).mean())

    @property
    def bent(self):
        """Whether the paper is surely not flat."""
        return self.bend_px > max(_BEND_SURE * self.bend_u_px, _LEAST_BEND_PX, _LEAST_BEND * self.side_px)
