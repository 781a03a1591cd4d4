"""The patch aligned in all photos together, to a part of a pixel: its slope common, a shift in each.

Gauss and Newton on the grey values, with brightness and contrast of each photo free (least-squares matching;
A. Gruen, "Adaptive least squares correlation", 1985).  What noise the residuals have, and how far they hang
together from pixel to pixel, gives the covariance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photoangle.detection.pointing.patch import correlation
from photoangle.detection.pointing.view import sampled

_ROUNDS = 12
# The slope is not looked for beyond this about its first guess, rad, 1 sigma.
_SLOPE_PRIOR = 0.6
# Alignment on real surfaces is not truer than this, px, each way: they are not flat, and light moves.
FLOOR_PX = 0.08
# Nor is a real face flatter, and more square to its axis, than this, rad, 1 sigma about each axis.
FLOOR_SLOPE = np.radians(2.0)


@dataclass(frozen=True, eq=False)
class Found:
    """The place found in one photo: view's index; at (2,) px; covariance_px2 (2, 2); likeness: correlation of
    the aligned patches; detail: that of what is finer than a third of them; off_line_px: how far off the line
    of sight's picture it lies."""

    view: int
    at: np.ndarray
    covariance_px2: np.ndarray
    likeness: float
    detail: float
    off_line_px: float


@dataclass(frozen=True, eq=False)
class Aligned:
    """found: Found of each photo asked for; depth_mm along the pointing photo's axis; normal (3,) towards it;
    normal_covariance (2, 2) rad^2 of its slope about `across`, the two axes as rows (2, 3)."""

    found: tuple
    depth_mm: float
    normal: np.ndarray
    normal_covariance: np.ndarray
    across: np.ndarray


def tangents(normal):
    """Two unit vectors (2, 3) square to a normal and to each other."""
    first = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(normal, first)])


def aligned(patch, views, which, depth_mm, normal, blurs):
    """Align a Patch in views.

    Parameters: patch; views: all; which: indices of those to align in; depth_mm, normal (3,): where from;
    blurs: index -> (own, other) blur in px beside.
    Returns Aligned, or None where it runs out of a picture or nothing holds it.
    """
    shifts = {k: np.zeros(2) for k in which}
    start, across = normal, tangents(normal)
    for turn in range(_ROUNDS):
        here = patch.place(depth_mm)
        step = _step(patch, views, which, here, normal, across, shifts, blurs, start)
        if step is None:
            return None
        slope, moves, spread, likeness = step
        normal = normal + slope @ across
        normal = normal / np.linalg.norm(normal)
        across = tangents(normal)
        for k in which:
            shifts[k] = shifts[k] + moves[k]
        # what of the shifts lies along the line of sight is depth
        change = _depth_change(patch, views, shifts, depth_mm)
        if not 0.2 < 1 + change / depth_mm < 5:
            return None
        for k in which:
            shifts[k] -= (views[k].pixels(patch.place(depth_mm + change)[None])
                          - views[k].pixels(patch.place(depth_mm)[None]))[0]
        depth_mm += change
        if turn > 2 and abs(np.concatenate(list(moves.values()))).max() < 0.01:
            break
    covariance, found = spread(), []
    for row, k in enumerate(which):
        own = covariance[2 + 2 * row:4 + 2 * row, 2 + 2 * row:4 + 2 * row] + np.eye(2) * FLOOR_PX**2
        at = views[k].pixels(patch.place(depth_mm)[None])[0] + shifts[k]
        warp = patch.warp(views[k], patch.place(depth_mm)[None], normal[None])[0] + shifts[k]
        detail = patch.detail(sampled(patch.softened(views[k], blurs[k][1]), warp), blurs[k][0])
        found.append(Found(k, at, own, likeness[row], detail, float(np.linalg.norm(shifts[k]))))
    return Aligned(tuple(found), float(depth_mm), normal,
                   covariance[:2, :2] + np.eye(2) * FLOOR_SLOPE**2, across)


def _depth_change(patch, views, shifts, depth_mm):
    by_depth, miss = [], []
    h = 1e-3 * depth_mm
    for k, shift in shifts.items():
        ends = views[k].pixels(patch.place(np.array([depth_mm - h, depth_mm + h])))
        by_depth.append((ends[1] - ends[0]) / (2 * h))
        miss.append(shift)
    by_depth, miss = np.concatenate(by_depth), np.concatenate(miss)
    return float(by_depth @ miss / max(by_depth @ by_depth, 1e-12))


def _step(patch, views, which, here, normal, across, shifts, blurs, start):
    """One step: (slope (2,), index -> shift (2,), spread() -> covariance (2 + 2 m, 2 + 2 m), likeness
    (m,)), or None."""
    size, w = 2 + 2 * len(which), patch.weights
    total, right = np.zeros((size, size)), np.zeros(size)
    parts, likeness = [], []
    h = 0.01
    tilted = normal + h * np.concatenate([across, -across])
    tilted /= np.linalg.norm(tilted, axis=1)[:, None]
    normals = np.concatenate([normal[None], tilted])
    for row, k in enumerate(which):
        warps = patch.warp(views[k], np.tile(here, (5, 1)), normals) + shifts[k]
        at = warps[0]
        if not views[k].inside(at).all() or not np.isfinite(warps).all():
            return None
        own, other = patch.seen(blurs[k][0]), patch.softened(views[k], blurs[k][1])
        near = np.stack([at, at + [0.5, 0], at - [0.5, 0], at + [0, 0.5], at - [0, 0.5]])
        value, *sides = sampled(other, near).astype(float)
        slopes = np.stack([sides[0] - sides[1], sides[2] - sides[3]], 1)
        by_tilt = np.stack([((warps[1 + j] - warps[3 + j]) / (2 * h) * slopes).sum(1) for j in range(2)], 1)
        j = np.zeros((len(w), size))
        j[:, :2], j[:, 2 + 2 * row:4 + 2 * row] = by_tilt, slopes
        # brightness and contrast are taken out of residuals and derivatives alike
        light = np.stack([np.ones(len(w)), own], 1)
        solve = np.linalg.pinv((light * w[:, None]).T @ light) @ (light * w[:, None]).T
        residual = value - light @ (solve @ value)
        j -= light @ (solve @ j)
        level = max(float(w @ residual**2), 0.3)
        likeness.append(float(correlation(own, value[None], w)[0]))
        wj = j * (w / level)[:, None]
        total += wj.T @ j
        right -= wj.T @ residual
        parts.append((wj, residual))
    # weights sum to one: the prior's on the same footing as one pixel's worth of a few hundred
    prior = np.zeros((size, size))
    prior[:2, :2] = np.eye(2) / _SLOPE_PRIOR**2 / len(w)
    right[:2] -= prior[:2, :2] @ (across @ (normal - start))
    total += prior
    if np.linalg.eigvalsh(total)[0] < 1e-9:
        return None
    inverse = np.linalg.inv(total)
    change = inverse @ right

    def spread():
        # noise of both pictures: the other's is in the residual as well as the own one's
        return inverse @ (sum(_spread(*p, np.sqrt(w)) for p in parts) + prior / len(w)) @ inverse

    change[:2] = np.clip(change[:2], -0.15, 0.15)
    moves = {k: np.clip(change[2 + 2 * r:4 + 2 * r], -1.5, 1.5) for r, k in enumerate(which)}
    return change[:2], moves, spread, likeness


def _spread(wj, residual, counts):
    """What the residuals' scatter makes of the right-hand side: sum over pairs of pixels of wj_x c(x - y)
    wj_y, c their autocovariance, out to where it is told well (a quarter of the patch).  counts (n,): how
    much each pixel tells of c; those without weight lie off the face, perhaps."""
    n = round(np.sqrt(len(residual)))
    share = counts.reshape(n, n)
    e = residual.reshape(n, n) * share
    fields = wj.reshape(n, n, -1)
    reach = n // 4
    out = np.zeros((wj.shape[1],) * 2)
    for dy in range(-reach, reach + 1):
        for dx in range(-reach, reach + 1):
            a = (slice(max(0, dy), n + min(0, dy)), slice(max(0, dx), n + min(0, dx)))
            b = (slice(max(0, -dy), n - max(0, dy)), slice(max(0, -dx), n - max(0, dx)))
            taper = (1 - abs(dy) / (reach + 1)) * (1 - abs(dx) / (reach + 1))
            c = float((e[a] * e[b]).sum() / max((share[a] * share[b]).sum(), 1e-12)) * taper
            out += c * np.einsum("xyi,xyj->ij", fields[a], fields[b])
    return (out + out.T) / 2
