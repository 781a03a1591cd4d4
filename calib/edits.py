"""What an editor (or the phone itself) does to a finished picture, as unknowns of one photo.

Cropped, enlarged, straightened, keystone-corrected, squeezed: each is a homography of the picture, and together
with a turn of the camera any homography is focal length and principal point (which the bundle has anyway),
aspect, skew and two terms of perspective (Hartley and Zisserman 2004, sections 2.4 and 6.2).  Lens-corrected: a
share of the distortion is gone, and a radial term is left over.

Parameters of one photo (6,): aspect, skew, perspective across and down (by distorted normalised coordinates),
share of the distortion taken out, radial term k1 beyond the lens's.
"""

from __future__ import annotations

from typing import Any

import numpy as np

NAMES = ("aspect", "skew", "perspective x", "perspective y", "undistorted", "k1")
EDITS = len(NAMES)
_LEAST_DEPTH = 0.05


def edit(x: np.ndarray, y: np.ndarray, xd: np.ndarray, yd: np.ndarray,
         edits: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distorted normalised coordinates as the edited picture has them.

    x, y, xd, yd (g, k): before and after the lens's distortion; edits (g, 6).  Returns two (g, k).
    """
    return _edited(x, y, xd, yd, edits)[:2]


def _edited(x: np.ndarray, y: np.ndarray, xd: np.ndarray, yd: np.ndarray, edits: np.ndarray) -> tuple[Any, ...]:
    aspect, skew, px, py, gone, k1 = edits.T[..., None]
    r2 = x * x + y * y
    xe, ye = xd + gone * (x - xd) + k1 * r2 * x, yd + gone * (y - yd) + k1 * r2 * y
    w = np.maximum(1 + px * xe + py * ye, _LEAST_DEPTH)
    return (xe + skew * ye) / w, (1 + aspect) * ye / w, xe, ye, w


def edit_derivatives(x: np.ndarray, y: np.ndarray, xd: np.ndarray, yd: np.ndarray, by_xy: np.ndarray,
                     by_lens: np.ndarray, edits: np.ndarray) -> tuple[np.ndarray, ...]:
    """As `edit`, with derivatives: (a, b, by x and y (g, k, 2, 2), by the lens (g, k, 2, L), by the edits
    (g, k, 2, 6)).  by_xy and by_lens: those of the distorted coordinates."""
    a, b, xe, ye, w = _edited(x, y, xd, yd, edits)
    aspect, skew, px, py, gone, k1 = edits.T[..., None]
    r2 = x * x + y * y
    keep = (1 - gone)[..., None, None]
    own = np.empty(by_xy.shape)
    own[..., 0, 0], own[..., 1, 1] = gone + k1 * (r2 + 2 * x * x), gone + k1 * (r2 + 2 * y * y)
    own[..., 0, 1] = own[..., 1, 0] = 2 * k1 * x * y
    plane = np.empty(by_xy.shape)
    plane[..., 0, 0], plane[..., 0, 1] = (1 - a * px) / w, (skew - a * py) / w
    plane[..., 1, 0], plane[..., 1, 1] = -b * px / w, (1 + aspect - b * py) / w
    by_edits = np.zeros(by_xy.shape[:-1] + (EDITS,))
    by_edits[..., 1, 0], by_edits[..., 0, 1] = ye / w, ye / w
    for k, along in ((2, xe), (3, ye)):
        by_edits[..., 0, k], by_edits[..., 1, k] = -a * along / w, -b * along / w
    by_edits[..., 4] = np.einsum("gkij,gkj->gki", plane, np.stack([x - xd, y - yd], -1))
    by_edits[..., 5] = np.einsum("gkij,gkj->gki", plane, np.stack([r2 * x, r2 * y], -1))
    return a, b, plane @ (keep * by_xy + own), plane @ (keep * by_lens), by_edits
