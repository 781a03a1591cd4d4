"""One place of a part, pointed at in one photo or more: everything the photos of its state say of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photoangle.detection.dots import EDGE_PX
from photoangle.detection.pointing.align import Aligned
from photoangle.detection.pointing.outlines import outlined
from photoangle.detection.pointing.refine import AGREED_SHARE, OTHER, TAP_PX, Pointed, refined
from photoangle.detection.pointing.search import NOWHERE, sought

# What is about a place that shows no outline and helps to know it again, half its width, mm.
_ABOUT_MM = 12.0
_LEAST_PX, _MOST_PX = 14.0, 90.0
# An outline's surroundings that help to find it, and its inside that is surely of one plane, in half-widths.
_SURROUNDINGS, _FACE = 1.7, 0.8
# What was found is looked for again so near.
_NEARLY = 0.96, 1.04


@dataclass(frozen=True, eq=False)
class Tap:
    """view: index of the photo; at (2,) px; sigma_px: of the finger, 1 sigma; what: one of refine.KINDS."""

    view: int
    at: np.ndarray
    sigma_px: float = TAP_PX
    what: str = OTHER


@dataclass(frozen=True, eq=False)
class Sightings:
    """What photos show of a place.

    tapped: index of the photo whose tap counts; first: of the one that the place is defined in, the same or
    where outlines agree; pointed: its Pointed there; seen: (view, at (2,) px,
    covariance (2, 2)) each, of the one place that was pointed at; along: whether they all follow the first
    photo's tap, so that its slip is theirs too; aligned: Aligned or None; why: search's PLAIN, NOWHERE or
    SEVERAL where photos beyond those tapped could not be used; rivals: as in search.Sought; unseen: views
    where it was not found.
    """

    tapped: int
    first: int
    pointed: Pointed
    seen: tuple
    along: bool
    aligned: Aligned | None
    why: str
    rivals: tuple
    unseen: tuple


def sightings(views, taps, depths_mm, normals=()):
    """Find a place in the photos of a scene from one tap or more.

    Parameters: views: View each; taps: Tap each, of different views, one at least; depths_mm: (nearest,
    farthest) along the cameras' axes; normals: as in `search.sought`.
    Returns Sightings.
    """
    sharp = {t.view: refined(views[t.view].grey, t.at, t.sigma_px, t.what) for t in taps}
    tapped = first = min(sharp, key=lambda k: (sharp[k].sigma_px, k))
    pointed = sharp[first]
    others = {k: (p.at, p.sigma_px) for k, p in sharp.items() if k != first}
    half = pointed.radius_px * _SURROUNDINGS or _ABOUT_MM * views[first].lens[0] / np.sqrt(np.prod(depths_mm))
    found = _sought(views, first, pointed, half, depths_mm, normals, others) if len(views) > 1 else None
    made = found.aligned if found is not None else None
    if made is not None and pointed.radius_px:
        first, pointed, made = _agreed(views, first, pointed, made, others)
    seen = []
    if made is not None:
        # the own picture's noise is half of what a match shows
        own = np.mean([f.covariance_px2 for f in made.found], axis=0) / 2
        seen = [(first, pointed.at, own), *((f.view, f.at, f.covariance_px2) for f in made.found)]
    elif others:
        seen = [(k, p.at, np.eye(2) * p.sigma_px**2) for k, p in sorted(sharp.items())]
    there = {k for k, *_ in seen} | {first}
    return Sightings(tapped, first, pointed, tuple(seen), made is not None, made,
                     NOWHERE if found is None else found.why, () if found is None else found.rivals,
                     tuple(k for k in range(len(views)) if k not in there))


def _sought(views, first, pointed, half, depths_mm, normals, others):
    return sought(views, first, pointed.at, float(np.clip(half, _LEAST_PX, _MOST_PX)), depths_mm, normals,
                  others, _FACE * pointed.radius_px)


def _agreed(views, first, pointed, made, others):
    """(first, Pointed, Aligned) by the middle that the outlines of several photos agree on, where they do;
    what was found, where they do not show it."""
    both = outlined(views, first, pointed, made)
    if both is None:
        return first, pointed, made
    sigma = float(np.hypot(AGREED_SHARE * both.radius_px, np.hypot(EDGE_PX, both.apart_px)))
    again = Pointed(both.at, sigma, both.radius_px)
    start = views[first].origin_mm + made.depth_mm * views[first].rays(pointed.at[None])[0]
    depth = views[both.view].depth_mm(start)
    taps = {k: t for k, t in others.items() if k != both.view}
    found = _sought(views, both.view, again, both.radius_px * _SURROUNDINGS,
                    (_NEARLY[0] * depth, _NEARLY[1] * depth), [made.normal], taps)
    return (first, pointed, made) if found.aligned is None else (both.view, again, found.aligned)
