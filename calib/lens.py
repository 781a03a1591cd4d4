"""The lens: from directions to pixels and back, with derivatives.

A lens is a vector of parameters ``[f, a, cx, cy, k1, k2, p1, p2, k3, s...]``: focal
length across (px), its relative excess down (fy = f (1 + a)), principal point (px,
OpenCV's convention: an integer coordinate is a pixel's centre), Brown's radial and
tangential terms in OpenCV's order, and, optionally, the coefficients of a uniform
cubic B-spline that is added to the image radius (in units of the focal length) for lenses
that three radial terms do not describe.

Camera frame: x right, y down, z forward, mm.  Brown's model as in OpenCV's
documentation of camera calibration (Brown 1966).

What an editor (or the phone itself) does to a finished picture are unknowns of one photo.  Cropped, enlarged,
straightened, keystone-corrected, squeezed: each is a homography of the picture, and together with a turn of
the camera any homography is focal length and principal point, aspect, skew and two terms of perspective
(Hartley and Zisserman 2004, sections 2.4 and 6.2).  Lens-corrected: a share of the distortion is gone, and a
radial term is left over.  Its parameters (6,): aspect, skew, perspective across and down (by distorted
normalised coordinates), share of the distortion taken out, radial term k1 beyond the lens's.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

BROWN = 9
NAMES = ("f", "aspect", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
# Knot spacing of the radial spline, in tan of the angle off axis; it ends at
# 0.96, just past the corner of a 24 mm equivalent phone lens.
SPLINE_STEP = 0.12
SPLINE_SIZE = 8
EDIT_NAMES = ("aspect", "skew", "perspective x", "perspective y", "undistorted", "k1")
EDITS = len(EDIT_NAMES)
_LEAST_DEPTH = 0.05


# What is believed of phones' lenses at large: spread of Brown's terms; at tan of the angle off axis, by how
# much of the radius an image point may be out; how far the curve strays from what three terms can say, px at
# 4032 across.  Radial terms are met as large as 0.4, -4.6 and 14, and then cancel each other (photos of three
# makes): what is bounded is the curve that they make.
BROWN_SIGMA = np.array([0.35, 2.5, 0.002, 0.002, 7.0])
_CURVE_AT, _CURVE_SIGMA = np.array([0.25, 0.45, 0.65, 0.8]), np.array([0.015, 0.03, 0.05, 0.08])
_WAVE_SIGMA_PX = 1.0


def phone_information(sigma: np.ndarray, focal_px: float, across_px: float,
                      brown_sigma: np.ndarray = BROWN_SIGMA) -> np.ndarray:
    """Information (L, L) about a phone's lens with its radial spline, L = BROWN + SPLINE_SIZE, or without.

    sigma (4,): standard uncertainties of f, aspect, cx, cy; across_px: the picture's longer side; brown_sigma
    (5,): others than those of phones at large.
    """
    waves = np.full(SPLINE_SIZE, _WAVE_SIGMA_PX * across_px / 4032 / focal_px)
    out = np.diag(1 / np.r_[sigma, brown_sigma, waves]**2)
    radial = [4, 5, 8]
    curve = np.stack([_CURVE_AT**2, _CURVE_AT**4, _CURVE_AT**6], -1) / _CURVE_SIGMA[:, None]
    out[np.ix_(radial, radial)] += curve.T @ curve
    return out


def plain_lens(focal_px: float, cx_px: float, cy_px: float, spline: bool = False) -> np.ndarray:
    """A lens without distortion: parameters (9,) or, with the spline, (9 + SPLINE_SIZE,)."""
    out = np.zeros(BROWN + (SPLINE_SIZE if spline else 0))
    out[0], out[2], out[3] = focal_px, cx_px, cy_px
    return out


def moved_lens(lens: np.ndarray, shift: np.ndarray) -> np.ndarray:
    """The lens as a phone has moved it for one photo: shift (3,) or longer, the focal length's relative
    change and the principal point's px; what is beyond (`edit`) no lens does."""
    return np.r_[lens[0] * (1 + shift[0]), lens[1], lens[2:4] + shift[1:3], lens[4:]]


def camera_matrix(lens: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """OpenCV's 3 x 3 camera matrix and its five distortion terms (without the spline)."""
    f, a, cx, cy = lens[:4]
    return (np.array([[f, 0, cx], [0, f * (1 + a), cy], [0, 0, 1.0]]),
            np.array(lens[4:BROWN], float))


def _spline(radius: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Basis (n, SPLINE_SIZE) and its derivative by radius, of the cubic B-spline.

    The first basis functions are left out so that value and slope vanish on the axis:
    they would copy the principal point and the focal length.
    """
    x = np.clip(radius / SPLINE_STEP, 0, SPLINE_SIZE - 1e-9)
    cell = np.floor(x).astype(int)
    t = x - cell
    n = len(radius)
    value = np.zeros((n, SPLINE_SIZE + 3))
    slope = np.zeros((n, SPLINE_SIZE + 3))
    rows = np.arange(n)
    pieces = (((1 - t) ** 3 / 6, -((1 - t) ** 2) / 2),
              ((3 * t**3 - 6 * t**2 + 4) / 6, (3 * t**2 - 4 * t) / 2),
              ((-3 * t**3 + 3 * t**2 + 3 * t + 1) / 6, (-3 * t**2 + 2 * t + 1) / 2),
              (t**3 / 6, t**2 / 2))
    for k, (v, s) in enumerate(pieces):
        value[rows, cell + k] = v
        slope[rows, cell + k] = s / SPLINE_STEP
    return value[:, 3:], slope[:, 3:]


def distort(x: np.ndarray, y: np.ndarray, lens: np.ndarray,
            derivatives: bool = False) -> tuple[np.ndarray, ...]:
    """Distorted normalised coordinates.

    Parameters: x, y (n,) = X/Z, Y/Z; lens (9,) or longer.
    Returns xd, yd (n,), and with ``derivatives`` also d(xd, yd)/d(x, y) as (n, 2, 2) and
    d(xd, yd)/d(lens[4:]) as (n, 2, len(lens) - 4).
    """
    k1, k2, p1, p2, k3 = lens[4:BROWN]
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    extra = slope = None
    if len(lens) > BROWN:
        radius = np.sqrt(r2) + 1e-12
        basis, basis_slope = _spline(radius)
        extra = basis @ lens[BROWN:]
        slope = basis_slope @ lens[BROWN:]
        radial = radial + extra / radius
    xd = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    yd = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    if not derivatives:
        return xd, yd
    # d(radial)/d(x) = x * dr, d(radial)/d(y) = y * dr
    dr = 2 * (k1 + r2 * (2 * k2 + 3 * k3 * r2))
    if extra is not None:
        dr = dr + (slope - extra / radius) / (radius * radius)
    by_xy = np.empty((len(x), 2, 2))
    by_xy[:, 0, 0] = radial + x * x * dr + 2 * p1 * y + 6 * p2 * x
    by_xy[:, 0, 1] = by_xy[:, 1, 0] = x * y * dr + 2 * p1 * x + 2 * p2 * y
    by_xy[:, 1, 1] = radial + y * y * dr + 6 * p1 * y + 2 * p2 * x
    by_lens = np.empty((len(x), 2, len(lens) - 4))
    r4 = r2 * r2
    for k, (gx, gy) in enumerate(((x * r2, y * r2), (x * r4, y * r4),
                                  (2 * x * y, r2 + 2 * y * y), (r2 + 2 * x * x, 2 * x * y),
                                  (x * r4 * r2, y * r4 * r2))):
        by_lens[:, 0, k], by_lens[:, 1, k] = gx, gy
    if extra is not None:
        by_lens[:, 0, 5:] = (x / radius)[:, None] * basis
        by_lens[:, 1, 5:] = (y / radius)[:, None] * basis
    return xd, yd, by_xy, by_lens


def project(points_mm: ArrayLike, lens: np.ndarray) -> np.ndarray:
    """Pixels of points in the camera frame.

    Parameters: points_mm (n, 3) with z > 0; lens.  Returns (n, 2) px; points at or behind
    the lens come back as NaN.
    """
    p = np.asarray(points_mm, float).reshape(-1, 3)
    z = np.where(p[:, 2] > 1e-9, p[:, 2], np.nan)
    xd, yd = distort(p[:, 0] / z, p[:, 1] / z, np.asarray(lens, float))
    return np.stack([lens[0] * xd + lens[2], lens[0] * (1 + lens[1]) * yd + lens[3]], 1)


def unproject(pixels: ArrayLike, lens: np.ndarray, rounds: int = 12) -> np.ndarray:
    """Normalised directions (x, y) = (X/Z, Y/Z) of pixels, by Newton's method.

    Parameters: pixels (n, 2) px; lens.  Returns (n, 2); exact to rounding inside the
    picture of any sensible lens.
    """
    lens = np.asarray(lens, float)
    uv = np.asarray(pixels, float).reshape(-1, 2)
    goal = np.stack([(uv[:, 0] - lens[2]) / lens[0],
                     (uv[:, 1] - lens[3]) / (lens[0] * (1 + lens[1]))], 1)
    at = goal.copy()
    for _ in range(rounds):
        xd, yd, by_xy, _ = distort(at[:, 0], at[:, 1], lens, derivatives=True)
        miss = np.stack([xd - goal[:, 0], yd - goal[:, 1]], 1)
        det = by_xy[:, 0, 0] * by_xy[:, 1, 1] - by_xy[:, 0, 1] ** 2
        det = np.where(np.abs(det) < 1e-6, 1e-6, det)
        step = np.stack([by_xy[:, 1, 1] * miss[:, 0] - by_xy[:, 0, 1] * miss[:, 1],
                         by_xy[:, 0, 0] * miss[:, 1] - by_xy[:, 1, 0] * miss[:, 0]], 1)
        at = at - step / det[:, None]
        # each step squares what is missing
        if np.abs(miss).max(initial=0) < 1e-8:
            break
    return at


def trusted_radius(lens: np.ndarray, limit: float = 1.2) -> float:
    """Largest tan of the angle off axis up to which the radius still grows steadily.

    Beyond it a distortion polynomial folds back and a projected point means nothing.
    """
    radius = np.linspace(0.01, limit, 120)
    _, _, by_xy, _ = distort(radius, np.zeros_like(radius), np.asarray(lens, float), True)
    bad = np.flatnonzero(by_xy[:, 0, 0] < 0.2)
    return float(radius[bad[0]]) if len(bad) else limit


def edit(x: np.ndarray, y: np.ndarray, xd: np.ndarray, yd: np.ndarray,
         edits: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distorted normalised coordinates as the edited picture has them.

    x, y, xd, yd (g, k): before and after the lens's distortion; edits (g, 6).  Returns two (g, k).
    """
    a, b, *_ = _edited(x, y, xd, yd, edits)
    return a, b


def _edited(x: np.ndarray, y: np.ndarray, xd: np.ndarray, yd: np.ndarray,
            edits: np.ndarray) -> tuple[np.ndarray, ...]:
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
