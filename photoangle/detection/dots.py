"""Plain round stickers or paint dots in the card's plane: found, centred, named from left to right.

A circle seen at a slant is an ellipse whose centre is not the circle's centre: the outline is carried
into the card's plane first and the circle fitted there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calib.lens import project, unproject

SMALLEST_MM, LARGEST_MM = 5.0, 40.0
_LEAST_CONTRAST = 18.0  # CIELAB units between dot and its surroundings
_MOST_OVAL = 1.25
# What a sticker's outline does not show: uneven edge, light from one side.
EDGE_PX = 0.25


@dataclass(frozen=True)
class Dot:
    """A round spot in the card's plane: centre (px and mm in the card's frame), diameter, contrast."""

    centre_px: np.ndarray
    centre_mm: np.ndarray
    diameter_mm: float
    contrast: float


def on_plane(pixels, camera, lens):
    """Where rays through pixels (k, 2) meet the card's plane z = 0; camera: camera_from_card.  (k, 2) mm."""
    rays = np.c_[unproject(pixels, lens), np.ones(len(pixels))] @ camera.rotation
    origin = -camera.rotation.T @ camera.translation_mm
    s = -origin[2] / rays[:, 2]
    return origin[:2] + s[:, None] * rays[:, :2]


def find_dots(colour, camera, lens, card):
    """Round spots in the card's plane, outside the card.

    Parameters: colour (H, W, 3) uint8 BGR in the sensor's frame, full size; camera: camera_from_card Pose;
    lens; card.
    Returns a list of Dot, the best contrast first.
    """
    from skimage.measure import label, regionprops

    middle = camera.apply(np.array([[card.width_mm / 2, card.height_mm / 2, 0.0]]))[0]
    px_per_mm = lens[0] / middle[2]
    reduction = max(1, int(px_per_mm * 10 / 24))
    small = cv2.resize(colour, None, fx=1 / reduction, fy=1 / reduction, interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_BGR2LAB)
    reach = int(2.2 * LARGEST_MM / 2 * px_per_mm / reduction) | 1
    around = np.stack([cv2.medianBlur(np.clip(lab[..., k] + (0, 128, 128)[k], 0, 255).astype(np.uint8),
                                      min(reach, 99)) for k in range(3)], -1).astype(np.float32)
    around -= np.array([0, 128, 128], np.float32)
    difference = np.linalg.norm(lab - around, axis=2)
    found = []
    for threshold in (_LEAST_CONTRAST, 2 * _LEAST_CONTRAST):
        for region in regionprops(label(difference > threshold)):
            scale = np.sqrt(region.area) / px_per_mm * reduction * 1.13  # about the diameter, mm
            if not 0.5 * SMALLEST_MM < scale < 1.5 * LARGEST_MM or region.solidity < 0.88:
                continue
            row, column = region.centroid
            centre = (np.array([column, row]) + 0.5) * reduction - 0.5
            dot = _centre(colour, centre, 0.9 * scale * px_per_mm, camera, lens)
            if dot is None or _on_card(dot.centre_mm, card):
                continue
            if all(np.linalg.norm(dot.centre_mm - d.centre_mm) > 0.5 * d.diameter_mm for d in found):
                found.append(dot)
    return sorted(found, key=lambda d: -d.contrast)


def _on_card(at, card, margin=25.0):
    return (-margin < at[0] < card.width_mm + margin) and (-margin < at[1] < card.height_mm + margin)


def _centre(colour, centre, reach, camera, lens):
    """The circle through a spot's outline, fitted in the card's plane; None where it is no circle."""
    from skimage.measure import EllipseModel

    pixels, contrast = _outline(colour, centre, reach)
    if pixels is None:
        return None
    flat = on_plane(pixels, camera, lens)
    try:
        ellipse = EllipseModel.from_estimate(flat)
        if not ellipse:
            return None
        at, (a, b) = np.array(ellipse.center), ellipse.axis_lengths
    except ValueError:
        return None
    miss = np.abs(ellipse.residuals(flat)).mean()
    if (not np.isfinite(at).all() or max(a, b) / min(a, b) > _MOST_OVAL or miss > 0.06 * (a + b)
            or not SMALLEST_MM < a + b < LARGEST_MM):
        return None
    seen = project(camera.apply(np.r_[at, 0.0][None]), lens)[0]
    return Dot(seen, at, float(a + b), contrast)


def _outline(colour, centre, reach):
    """The closed outline (k, 2) px of the spot at a centre, looked for within a reach, and its contrast;
    (None, 0.0) without one."""
    from skimage.measure import find_contours

    x0, y0 = np.maximum(np.rint(centre - reach).astype(int), 0)
    x1, y1 = np.rint(centre + reach).astype(int) + 1
    window = colour[y0:y1, x0:x1].astype(np.float32)
    if min(window.shape[:2]) < 8:
        return None, 0.0
    lab = cv2.cvtColor(window / 255, cv2.COLOR_BGR2LAB)
    cx, cy = centre - [x0, y0]
    ry, rx = np.ogrid[:window.shape[0], :window.shape[1]]
    far = np.hypot(rx - cx, ry - cy)
    inner, outer = far < 0.25 * reach, far > 0.85 * reach
    if inner.sum() < 4 or outer.sum() < 8:
        return None, 0.0
    spot, ground = np.median(lab[inner], 0), np.median(lab[outer], 0)
    step = spot - ground
    contrast = float(np.linalg.norm(step))
    if contrast < _LEAST_CONTRAST:
        return None, 0.0
    # along the line from ground to spot: 0 outside, 1 inside
    share = (lab - ground) @ step / contrast**2
    share = cv2.GaussianBlur(share, (0, 0), 0.8)
    outlines = [c for c in find_contours(share, 0.5) if len(c) > 12 and np.allclose(c[0], c[-1])]
    if not outlines:
        return None, 0.0
    outline = min(outlines, key=lambda c: np.linalg.norm(c.mean(0) - [cy, cx]))
    return outline[:-1, ::-1] + [x0, y0], contrast


def dot_under(colour, at_px):
    """The middle of the round spot under a tap.

    Parameters: colour (H, W, 3) uint8 BGR; at_px (2,) in the same frame, within the spot.
    Returns (centre (2,) px, sigma px), or None where no round spot is there.  The middle of the ellipse that
    a dot of some millimetres is seen as lies within 0.05 mm of the dot's, which its edge's sigma covers.
    """
    found = outline_under(colour, at_px)
    return None if found is None else (found[0], EDGE_PX)


def outline_under(colour, at_px):
    """The round outline under a tap, as `dot_under`: (its ellipse's centre (2,) px, half its long axis px),
    or None."""
    from skimage.measure import EllipseModel

    best = None
    for reach in np.geomspace(7, 160, 12):
        centre = np.asarray(at_px, float)
        for _ in range(2):  # the second time about its middle
            pixels, _ = _outline(colour, centre, reach)
            ellipse = EllipseModel.from_estimate(pixels) if pixels is not None else None
            if not ellipse:
                break
            a, b = sorted(ellipse.axis_lengths)
            centre, miss = np.array(ellipse.center), np.abs(ellipse.residuals(pixels)).mean()
        else:
            off = np.linalg.norm(centre - at_px)
            if a > 2 and b < 0.8 * reach and b < 5 * a and off < 1.5 * b and miss < 0.04 * (a + b) and (
                    best is None or miss / b < best[0]):
                best = miss / b, centre, b
    return None if best is None else (best[1], float(best[2]))
