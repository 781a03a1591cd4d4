"""What was tapped, made sharper in its own photo: the middle of the circle, ellipse or hexagon under the tap.

A circle seen at a slant is an ellipse, a hexagon a hexagon with its opposite sides still parallel: the middle
of either is that of the ellipse fitted to its outline.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from photoangle.carfile.corrections import POINTED_AT
from photoangle.detection.dots import EDGE_PX, outline_under

# What may be pointed at, and what of it shows a middle of its own.
KINDS = BOLT, STUD, HOLE, EDGE, OTHER = POINTED_AT
_ROUND = (BOLT, STUD, HOLE)
# A finger's or a mouse's slip at full size, 1 sigma (trials of the dots: 2 to 4 px).
TAP_PX = 3.0
# A head, a stud's end or a hole has a side that the outline may take in: in one photo the middle lies off by
# this share of its half-width, 1 sigma (drawn heads of 7 mm: 0.02 where the side is dark, to 0.17 where it is
# lit); where several photos' outlines agree, by the other.
SIDE_SHARE, AGREED_SHARE = 0.1, 0.04
# Beyond this many sigmas of the tap an outline belongs to something else.
_MOST_OFF = 3.0
_REACH_PX = 420
# A tap this coarse, 1 sigma, may miss what it means, px.
_COARSE_TAP_PX = 5.0


@dataclass(frozen=True)
class Pointed:
    """at (2,) px of the sensor's frame; sigma_px: how far the place meant may lie from it, each way, 1 sigma;
    radius_px: of the outline that showed it, 0 where none did."""

    at: np.ndarray
    sigma_px: float
    radius_px: float = 0.0


def refined(grey, at_px, sigma_px=TAP_PX, what=OTHER):
    """What a tap means in its own photo.

    Parameters: grey (H, W) uint8; at_px (2,) in the same frame; sigma_px: the tap's own, 1 sigma; what: one
    of KINDS.
    Returns Pointed: the middle of the round outline about the tap where `what` has one and it shows, else
    the tap.
    """
    at = np.asarray(at_px, float)
    if what not in _ROUND:
        return Pointed(at, sigma_px)
    found = outline_near(grey, at)
    if found is None or _beyond(found, at, sigma_px):
        found = _only_one_about(grey, at, sigma_px) if sigma_px > _COARSE_TAP_PX else None
    if found is None:
        return Pointed(at, sigma_px)
    centre, radius = found
    return Pointed(centre, float(np.hypot(EDGE_PX, SIDE_SHARE * radius)), radius)


def _beyond(found, at, sigma_px):
    """Whether an outline lies so far off that it is something else's than what was tapped."""
    return np.linalg.norm(found[0] - at) > _MOST_OFF * np.hypot(sigma_px, EDGE_PX) + 0.3 * found[1]


def _only_one_about(grey, at, sigma_px):
    """The outline in a coarse tap's reach where the tap itself missed it: (middle, half-width), or None where
    there is none, or more than one to choose from."""
    found = []
    for turn in np.arange(8) * np.pi / 4:
        start = at + 1.4 * sigma_px * np.array([np.cos(turn), np.sin(turn)])
        seen = outline_near(grey, start)
        if seen is None or _beyond(seen, at, sigma_px):
            continue
        if all(np.linalg.norm(seen[0] - f[0]) > 0.3 * f[1] for f in found):
            found.append(seen)
    return found[0] if len(found) == 1 else None


def outline_near(grey, at_px):
    """The round outline about a place of a grey picture: (its middle (2,) px, half its width px), or None."""
    low = np.maximum(np.rint(at_px).astype(int) - _REACH_PX, 0)
    part = grey[low[1]:low[1] + 2 * _REACH_PX, low[0]:low[0] + 2 * _REACH_PX]
    if not part.size:
        return None
    found = outline_under(cv2.cvtColor(np.ascontiguousarray(part), cv2.COLOR_GRAY2BGR), at_px - low)
    return None if found is None else (found[0] + low, found[1])
