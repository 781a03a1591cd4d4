"""The same round outline in several photos: a side of a bolt's head that one photo's outline took in, the
others' did not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.differences import jacobian
from photoangle.detection.pointing.refine import outline_near

_ROUNDS = 12
# How far an outline's middle lies from a patch that follows the tap, in half-widths, and is still its own.
_NEAR = 0.6


@dataclass(frozen=True, eq=False)
class Outlined:
    """Where outlines say the middle is: view: index of the photo that agrees best; at (2,) px there;
    radius_px: half the width of the face there, by the smallest of the outlines; apart_px: how far the
    photos' middles lie from the common one there, root of the mean square."""

    view: int
    at: np.ndarray
    radius_px: float
    apart_px: float


def outlined(views, first, pointed, made):
    """The middle that the outlines of several photos agree on.

    Parameters: views; first, pointed: the photo that was pointed at and its Pointed; made: Aligned.
    Returns Outlined, or None where fewer than two photos show an outline.
    """
    start = views[first].origin_mm + made.depth_mm * views[first].rays(pointed.at[None])[0]
    middles, sizes = {first: pointed.at}, {first: pointed.radius_px}
    for f in made.found:
        scale = (views[f.view].lens[0] * views[first].depth_mm(start)
                 / views[first].lens[0] / views[f.view].depth_mm(start))
        seen = outline_near(views[f.view].grey, f.at)
        if seen is None or not 0.6 < seen[1] / (scale * pointed.radius_px) < 1.5 or (
                np.linalg.norm(seen[0] - f.at) > _NEAR * seen[1]):
            continue
        middles[f.view], sizes[f.view] = seen
    if len(middles) < 2:
        return None
    place = _between(views, middles, sizes, start)
    metric = {k: sizes[k] * views[k].depth_mm(place) / views[k].lens[0] for k in middles}
    off = {k: np.linalg.norm(views[k].pixels(place[None])[0] - middles[k]) / sizes[k] for k in middles}
    best = min(off, key=lambda k: (round(off[k] / 0.03), -sizes[k]))
    per_mm = views[best].lens[0] / views[best].depth_mm(place)
    apart = np.sqrt(np.mean([(off[k] * metric[k]) ** 2 for k in off])) * per_mm
    return Outlined(best, views[best].pixels(place[None])[0], min(metric.values()) * per_mm, float(apart))


def _between(views, middles, sizes, start):
    """The place (3,) nearest to the middles' lines of sight, in shares of the outlines' sizes, those that lie
    off counting less (iteratively reweighted, towards least absolute values)."""
    place = start
    for _ in range(_ROUNDS):
        rows, miss = [], []
        for k, middle in middles.items():
            residual = (middle - views[k].pixels(place[None])[0]) / sizes[k]
            weight = 1 / np.sqrt(max(np.linalg.norm(residual), 0.02))
            rows.append(jacobian(lambda p, k=k: views[k].pixels(p[None])[0], place, 0.01) / sizes[k] * weight)
            miss.append(residual * weight)
        # two lines of sight that are nearly one tell no depth: what the patches said holds it
        rows.append(0.002 * np.eye(3))
        miss.append(0.002 * (start - place))
        place = place + np.linalg.lstsq(np.concatenate(rows), np.concatenate(miss), rcond=None)[0]
    return place
