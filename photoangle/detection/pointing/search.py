"""Where the other photos show what one was pointed at: every depth along the line of sight tried, the likely
ones aligned, and two that fit alike told from one that does."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from photoangle.detection.pointing.align import Aligned, aligned, tangents
from photoangle.detection.pointing.patch import Patch

# Why nothing was found.
PLAIN, NOWHERE, SEVERAL = "plain", "nowhere", "several"
_COARSE_GRID = 13
# A patch whose grey values differ by less, standard deviation, has nothing to be known by.
_LEAST_CONTRAST = 3.0
# Slopes tried about the direction to the cameras, rad.
_TILT = 0.5
# Correlation under which a photo is no candidate, and under which an aligned one does not show the place.
_MAYBE, _SURE = 0.5, 0.8
# And what is finer than a third of the patch: of drawn bolts nine in ten of the true places have 0.7, of
# wrong ones (edges of cards and plates, at 0.8 to 0.9 in all) two in 144 had 0.6.
_LEAST_DETAIL = 0.65
# One other photo alone has to be surer: no third one contradicts it.
_SURE_ALONE = 0.88
# An aligned place lies on the line of sight's picture within this, px: cameras are known better.
_OFF_LINE_PX = 1.5
_CANDIDATES = 6
# A patch smaller than this, half its width, has too little in it.
_LEAST_FACE_PX = 8.0
# Places nearer to each other than this share of the patch's half-width are one, known so much the worse.
_ONE = 0.4
# A second place that explains so much of what the best one does could be it as well.
_RIVAL, _ALIKE = 0.6, 0.9
# Patches that correlate so well are blurred alike; others may be so much more, own and other, px.
_SHARP = 0.97
_BLURS = ((0.0, 0.0), (0.8, 0.0), (0.0, 0.8), (1.6, 0.0), (0.0, 1.6))


@dataclass(frozen=True, eq=False)
class Sought:
    """aligned: the Aligned place, or None and why: PLAIN, NOWHERE or SEVERAL; rivals: for SEVERAL, of the two
    best, view's index -> place (2,) px each."""

    aligned: Aligned | None
    why: str = ""
    rivals: tuple = ()


def sought(views, first, at_px, half_px, depths_mm, normals=(), taps=None, face_px=0.0):
    """Find what one photo was pointed at in the others.

    Parameters: views: of one scene; first: index of the one pointed at; at_px (2,) there; half_px: of the
    patch to know it by; depths_mm: (nearest, farthest) along that camera's axis; normals: unit vectors (3,)
    that its face may have, towards the camera; taps: index -> (at (2,), sigma px), where other photos were
    pointed at the same; face_px: half the width of the flat face that the place lies on, 0 where that is not
    known: what lies around a face is no part of its plane.
    Returns Sought.
    """
    taps = taps or {}
    patch = Patch(views[first], np.asarray(at_px, float), float(half_px))
    if not views[first].inside(patch.pixels).all():
        return Sought(None, NOWHERE)
    own = patch.seen()
    spread = own - patch.weights @ own
    if np.sqrt(patch.weights @ spread**2) < _LEAST_CONTRAST:
        return Sought(None, PLAIN)
    others = [k for k in range(len(views)) if k != first]
    tried = []
    face = Patch(views[first], patch.at, max(face_px, _LEAST_FACE_PX)) if face_px else patch
    for depth, normal in _candidates(patch, views, others, depths_mm, normals, taps):
        made = _settled(patch, views, others, depth, normal, taps)
        if made is not None and face is not patch:
            there = [f.view for f in made.found]
            made = _settled(face, views, there, made.depth_mm, made.normal, taps, 0.0) or made
        if made is not None:
            tried.append((_score([f.likeness for f in made.found]), made))
    if not tried:
        return Sought(None, NOWHERE)
    tried.sort(key=lambda t: -t[0])
    best = tried[0][1]
    for score, other in tried[1:]:
        if score > _RIVAL * tried[0][0] and not _same(other, best, half_px):
            return Sought(None, SEVERAL, tuple({f.view: f.at for f in a.found} for a in (best, other)))
    return Sought(_with_doubt(best, [a for score, a in tried[1:] if score > _ALIKE * tried[0][0]]))


def _score(likeness):
    """What correlations are worth together: the log of how much of the grey values' variance they explain."""
    rho = np.clip(np.nan_to_num(likeness, nan=0.0), 0, 0.985)
    return float(-np.log1p(-np.where(rho > _MAYBE, rho, 0.0) ** 2).sum())


def _slopes(patch, views, depth_mm, normals):
    """Normals (m, 3) to try: towards the cameras' middle, tilted each way, and those given."""
    middle = np.mean([v.origin_mm for v in views], axis=0) - patch.place(depth_mm)
    facing = middle / np.linalg.norm(middle)
    out = [facing]
    for way in tangents(facing):
        out += [np.cos(_TILT) * facing + s * np.sin(_TILT) * way for s in (-1, 1)]
    return np.array([*out, *normals])


def _depths(patch, views, others, between_mm):
    """Depths so close that no photo skips more than most of a grid's step, nearest first."""
    inverse = np.linspace(1 / between_mm[0], 1 / between_mm[1], 200)
    moved = np.zeros(len(inverse) - 1)
    for k in others:
        at = views[k].pixels(patch.place(1 / inverse))
        seen = views[k].inside(at, -patch.half_px)
        path = np.linalg.norm(np.diff(at, axis=0), axis=1)
        moved = np.maximum(moved, np.where(seen[1:] | seen[:-1], np.nan_to_num(path), 0.0))
    along = np.r_[0, np.cumsum(moved / (0.7 * patch.step_px) + 1e-6)]
    return 1 / np.interp(np.linspace(0, along[-1], int(np.clip(along[-1], 8, 1500)) + 1), along, inverse)


def _candidates(patch, views, others, between_mm, normals, taps):
    """(depth, normal) of the likeliest places, the best first."""
    coarse = replace(patch, grid=_COARSE_GRID, _pictures={})
    depths = _depths(coarse, views, others, between_mm)
    slopes = _slopes(coarse, views, float(np.median(depths)), normals)
    places = np.repeat(coarse.place(depths), len(slopes), axis=0)
    every = np.tile(slopes, (len(depths), 1))
    worth = np.zeros((len(depths), len(slopes)))
    for k in others:
        rho = np.nan_to_num(coarse.likeness(views[k], places, every)).clip(0, 0.985)
        rho = np.where(rho > _MAYBE, rho, 0.0)
        worth += -np.log1p(-(rho**2)).reshape(worth.shape)
    for k, (at, sigma) in taps.items():
        off = np.linalg.norm(views[k].pixels(coarse.place(depths)) - at, axis=1)
        worth[~(off < 4 * sigma + 2 * coarse.step_px)] = 0
    best = worth.max(1)
    out = []
    for index in np.argsort(-best, kind="stable"):
        if best[index] <= 0 or len(out) == _CANDIDATES:
            break
        if all(abs(index - i) > 2 for i, *_ in out):
            out.append((index, depths[index], slopes[worth[index].argmax()]))
    return [(depth, normal) for _, depth, normal in out]


def _settled(patch, views, others, depth, normal, taps, detail=_LEAST_DETAIL):
    """The Aligned place from a candidate, in the photos that show it; None where none does.  detail: how well
    the finer part of the patch has to correlate; a face alone may have none."""
    here = patch.place(depth)[None]
    blurs, which = {}, []
    for k in others:
        fits = [patch.likeness(views[k], here, normal[None])[0]]
        if fits[0] < _SHARP:
            fits += [patch.likeness(views[k], here, normal[None], b)[0] for b in _BLURS[1:]]
        best = int(np.nanargmax(fits)) if np.isfinite(fits).any() else None
        # blur is believed where it explains clearly more: less detail always looks a little more alike
        if best is not None and np.isfinite(fits[0]) and fits[best] - fits[0] < 0.02:
            best = 0
        if best is not None and fits[best] > 0.3:
            blurs[k] = _BLURS[best]
            which.append(k)
    while which:
        made = aligned(patch, views, which, depth, normal, blurs)
        if made is None:
            if len(which) == 1:
                return None
            which = which[:-1] if len(which) > 2 else which[:1]
            continue
        bad = {f.view for f in made.found if not _holds(f, taps, detail)}
        if not bad:
            alone = detail > 0 and len(which) == 1 and not taps
            return None if alone and made.found[0].likeness < _SURE_ALONE else made
        worst = min((f for f in made.found if f.view in bad), key=lambda f: f.likeness)
        which = [k for k in which if k != worst.view]
    return None


def _holds(found, taps, detail):
    if found.likeness < _SURE or found.detail < detail or found.off_line_px > _OFF_LINE_PX:
        return False
    if found.view not in taps:
        return True
    at, sigma = taps[found.view]
    return bool(np.linalg.norm(found.at - at) < 4 * sigma + 1)


def _same(one, other, half_px):
    """Whether two places are one: alike wherever both were found."""
    apart = [np.linalg.norm(d) for d in _apart(one, other).values()]
    if not apart:
        return abs(one.depth_mm - other.depth_mm) < 0.01 * other.depth_mm
    return max(apart) < max(2.0, _ONE * half_px)


def _apart(one, other):
    """Index of a view that both were found in -> from one to the other (2,) px."""
    there = {f.view: f.at for f in other.found}
    return {f.view: there[f.view] - f.at for f in one.found if f.view in there}


def _with_doubt(best, rivals):
    """The best place, its covariance widened by rivals that settled a little beside it and fit as well."""
    apart = [_apart(best, r) for r in rivals]
    return replace(best, found=tuple(
        replace(f, covariance_px2=f.covariance_px2 + max(
            (np.outer(a[f.view], a[f.view]) for a in apart if f.view in a), key=np.trace,
            default=np.zeros((2, 2)))) for f in best.found))
