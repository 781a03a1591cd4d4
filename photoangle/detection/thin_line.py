"""A thin straight line in a photo, such as a plumb string, near where it is expected: where it runs, to a
fraction of a pixel.

Across the expected course the picture is compared with a strip that differs from what lies on both sides of
it; where that fits best is one point of the line.  A robust straight fit through hundreds of such points
follows (Theil and Sen's slope, then Tukey's weights).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

_STEP_PX = 0.5  # across
_ROWS = 4  # pixels along the line that make one point
_WIDTHS_MM = (1.0, 1.6, 2.5, 4.0)
_NARROWEST_PX, _WIDEST_PX = 2.0, 24.0
# Grey levels by which a line must differ from what lies on both sides of it, and times the picture's noise.
_LEAST_CONTRAST, _LEAST_SNR = 4.0, 4.0
_FEWEST, _SHORTEST_PX = 20, 200.0
# What light that changes along a round string does to where its middle seems to lie: of its width, and px.
_MIDDLE_SHARE, _MIDDLE_PX = 0.01, 0.01
_LEAST_SHARE = 0.6
_MOST_RMS_PX = 0.6
# A line that leans from its expected course by more than 1 deg is another.
_MOST_LEAN = math.radians(1.0)
# A line that is bent by more than this, and by more than its noise makes likely, is none that hangs.
_MOST_BEND_PX = 0.3


@dataclass(frozen=True)
class ThinLine:
    """A line as two of its points, whose errors across it are independent: ends_px (2, 2), across_px (2, 2)
    unit vectors, sigma_px: standard uncertainty of either; length_px: what of it was seen."""

    ends_px: np.ndarray
    across_px: np.ndarray
    sigma_px: float
    length_px: float


def find_thin_line(grey: np.ndarray, course_px: np.ndarray, px_per_mm: float,
                   reach_mm: float) -> ThinLine | None:
    """The line near an expected course.

    grey (H, W) uint8; course_px (n, 2): points about one pixel apart; px_per_mm: the picture's scale there;
    reach_mm: how far aside it may lie.  Returns ThinLine, or None where no straight thin line shows.
    """
    along = np.gradient(course_px, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    across = np.stack([-along[:, 1], along[:, 0]], 1)
    reach = max(8.0, reach_mm * px_per_mm)
    offsets = np.arange(-reach, reach + _STEP_PX, _STEP_PX)
    inside = _inside(course_px, across, reach + _WIDEST_PX, grey.shape)
    # the longest stretch of the course that the picture holds
    start, stop = _longest_run(inside)
    if stop - start < _SHORTEST_PX:
        return None
    course, across = course_px[start:stop], across[start:stop]
    where = (course[:, None] + offsets[None, :, None] * across[:, None]).astype(np.float32)
    patch = cv2.remap(grey, where[..., 0], where[..., 1], cv2.INTER_CUBIC).astype(np.float32)
    rows = len(patch) // _ROWS
    patch = patch[:rows * _ROWS].reshape(rows, _ROWS, -1).mean(1)
    t = (np.arange(rows) + 0.5) * _ROWS - 0.5
    best = None
    for width_mm in _WIDTHS_MM:
        width = min(max(width_mm * px_per_mm, _NARROWEST_PX), _WIDEST_PX)
        for sign in (1.0, -1.0):
            found = _ridge(sign * patch, width, offsets)
            if found is not None and (best is None or found[0] > best[0]):
                best = *found, width
    if best is None:
        return None
    _, at, strong, width = best
    return _straight(t[strong], at[strong], course, across, _MIDDLE_SHARE * width + _MIDDLE_PX)


def _inside(course, across, reach, shape):
    low = np.minimum(course - reach * np.abs(across), course).min(1) > 1
    right, bottom = shape[1] - 2, shape[0] - 2
    far = course + reach * np.abs(across)
    return low & (far[:, 0] < right) & (far[:, 1] < bottom)


def _longest_run(flags):
    """(start, stop) of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.r_[False, flags, False].astype(int)))
    if not len(edges):
        return 0, 0
    runs = edges.reshape(-1, 2)
    return tuple(runs[np.argmax(runs[:, 1] - runs[:, 0])])


def _ridge(patch, width_px, offsets):
    """Where each row has a bright strip of a width: (score, places (rows,) px, strong (rows,)) or None."""
    size = max(3, round(width_px / _STEP_PX) | 1)
    mean = cv2.blur(patch, (size, 1), borderType=cv2.BORDER_REPLICATE)
    shift = round(1.25 * size)
    if 2 * shift + size >= patch.shape[1]:
        return None
    centre = mean[:, shift:-shift]
    left, right = mean[:, :-2 * shift], mean[:, 2 * shift:]
    # brighter than both sides: an edge is not a line
    clear = np.minimum(centre - left, centre - right)
    peak = clear.argmax(1)
    rows = np.arange(len(patch))
    height = clear[rows, peak]
    # from row to row, which the line itself and what it runs before hardly change
    noise = 1.4826 / math.sqrt(2) * float(np.median(np.abs(np.diff(clear, axis=0))))
    strong = (height > _LEAST_CONTRAST) & (height > _LEAST_SNR * noise)
    if strong.sum() < _FEWEST:
        return None
    # what a step of the background does to both sides alike drops out of their mean
    even = centre - (left + right) / 2
    near = max(2, size // 2)
    whole = np.clip(peak[:, None] + np.arange(-near, near + 1), 0, even.shape[1] - 1)
    values = np.take_along_axis(even, whole, 1)
    top = np.clip(values.argmax(1) + peak - near, 2, even.shape[1] - 3)
    x = np.arange(-2, 3)
    around = np.take_along_axis(even, top[:, None] + x, 1)
    # a parabola through five values, by least squares
    curve = around @ (np.array([2, -1, -2, -1, 2]) / 14)
    slope = around @ (x / 10)
    with np.errstate(divide="ignore", invalid="ignore"):
        fine = np.where(curve < 0, np.clip(-slope / (2 * curve), -1, 1), 0.0)
    at = offsets[shift] + (top + fine) * _STEP_PX
    return float(np.median(height[strong])) * strong.mean(), at, strong


def _straight(t, at, course, across, floor_px):
    """A ThinLine through points (t along, at across), or None where they are not of one straight line;
    floor_px: added to its sigma."""
    if len(t) < _FEWEST:
        return None
    # Theil and Sen's median of all slopes; importing scipy.stats for it takes longer than all lines together
    one, other = np.triu_indices(len(t), 1)
    slope = float(np.median((at[other] - at[one]) / (t[other] - t[one])))
    start = float(np.median(at) - slope * np.median(t))
    weights = np.ones(len(t))
    for _ in range(6):
        residual = at - start - slope * t
        scale = max(1.4826 * float(np.median(np.abs(residual))), 0.03)
        u = residual / (4.685 * scale)
        weights = np.where(np.abs(u) < 1, (1 - u * u) ** 2, 0.0)
        middle = np.average(t, weights=weights)
        spread = np.average((t - middle) ** 2, weights=weights)
        slope = np.average((t - middle) * at, weights=weights) / spread
        start = np.average(at, weights=weights) - slope * middle
    residual = at - start - slope * t
    used = weights > 0
    length = float(np.ptp(t[used]))
    if used.mean() < _LEAST_SHARE or used.sum() < _FEWEST or length < _SHORTEST_PX or scale > _MOST_RMS_PX \
            or abs(slope) > _MOST_LEAN:
        return None
    r, tt = residual[used], t[used]
    rms = float(np.sqrt((r @ r) / (len(r) - 2)))
    # neighbours that err alike (a twisted string's strands) count as fewer
    step = np.diff(tt) < 1.5 * _ROWS
    rho = float(np.clip((r[1:][step] @ r[:-1][step]) / (r @ r), 0, 0.9)) if step.any() else 0.0
    few = len(r) * (1 - rho) / (1 + rho)
    # the sagitta of a parabola through them, and its own error
    v = (2 * (tt - tt.min()) / length - 1) ** 2 - 1 / 3
    bend = float(r @ v / (v @ v))
    bend_u = rms / math.sqrt((v @ v) * few / len(r))
    if abs(bend) > max(_MOST_BEND_PX, 4 * bend_u):
        return None
    root = math.sqrt(spread)
    ends = middle + np.array([-root, root])
    rows = np.clip(np.rint(ends).astype(int), 0, len(course) - 1)
    place = np.stack([np.interp(ends, np.arange(len(course)), course[:, k]) for k in (0, 1)], 1)
    # at one standard deviation of t from its mean the two errors are independent, each of sqrt(2 / n)
    sigma = math.hypot(rms * math.sqrt(2 / max(few, 2.0)), floor_px)
    return ThinLine(place + (start + slope * ends)[:, None] * across[rows], across[rows], sigma, length)
