"""The card's inner corners, each as the crossing of two blurred edges.

A corner's neighbourhood is modelled as the product of two error-function edges at free
angles, with blur, two grey levels and a tone term; all corners of a card are fitted at once.  A
crossing is symmetric, so that blur and exposure do not move it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calib.kit import card_saddles_mm, card_tag_corners_mm
from photoangle.detection.codes import apply_homography

FLOOR_PX = 0.012
# A third of the pixels brings the crossings as near as this.
_COARSE, _NEAR_PX = 3, 0.1


@dataclass(frozen=True)
class CardDetection:
    """The card's corners seen in one picture.

    index (k,) into the card's row-major list of inner corners; pixels (k, 2) px; covariance_px2 (k, 2, 2).
    """

    index: np.ndarray
    pixels: np.ndarray
    covariance_px2: np.ndarray


def find_saddles(grey, card, tags):
    """Inner corners of the card, from the tags found on it.

    Parameters: grey (H, W) uint8; card: CardSpec; tags: FoundTag of the card's ids.
    Returns CardDetection, or None with fewer than three tags or four corners.
    """
    by_id = {}
    for tag in tags:
        by_id.setdefault(tag.tag_id, []).append(tag)
    corners = dict(zip(card.tag_ids, card_tag_corners_mm(card), strict=False))
    single = [t[0] for i, t in sorted(by_id.items()) if len(t) == 1 and i in corners]
    if len(single) < 3:
        return None
    flat = np.concatenate([corners[t.tag_id][:, :2] for t in single])
    seen = np.concatenate([t.corners_px for t in single])
    h, inliers = cv2.findHomography(flat, seen, cv2.RANSAC, 4.0)
    if h is None:
        return None
    width, height = card.columns * card.square_mm, card.rows * card.square_mm

    def bend(p):
        x, y = p[:, 0] / width * 2 - 1, p[:, 1] / height * 2 - 1
        return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], 1)

    # the lens's curvature over the card, as a smooth shift of the homography's prediction
    fine = inliers.ravel() > 0
    terms = np.zeros((6, 2))
    if fine.sum() > 30:
        terms = np.linalg.lstsq(bend(flat[fine]), (seen - apply_homography(h, flat))[fine],
                                rcond=None)[0]

    def predict(p):
        return apply_homography(h, p) + bend(p) @ terms

    inner = card_saddles_mm(card)[:, :2]
    at = predict(inner)
    across, down = predict(inner + [1, 0]) - at, predict(inner + [0, 1]) - at
    angles = np.stack([np.arctan2(across[:, 1], across[:, 0]),
                       np.arctan2(down[:, 1], down[:, 0])], 1)
    # stay clear of the tags' black: half the difference of square and tag, seen at this slant
    clear_mm = (card.square_mm - card.tag_mm) / 2
    area = np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0])
    clear_px = clear_mm * np.minimum(area / np.linalg.norm(across, axis=1),
                                     area / np.linalg.norm(down, axis=1))
    reach = int(np.clip(np.floor(1.08 * np.median(clear_px)), 4, 16))
    centres = np.array([corners[t.tag_id][:, :2].mean(0) for t in single])
    near = (np.abs(inner[:, None] - centres[None]).max(2) < 1.08 * card.square_mm).any(1)
    inside = ((at > reach + 2).all(1) & (at[:, 0] < grey.shape[1] - reach - 3)
              & (at[:, 1] < grey.shape[0] - reach - 3))
    chosen = np.flatnonzero(near & inside)
    if len(chosen) < 4:
        return None
    pixels, covariance, fit = fit_crossings(grey, at[chosen], angles[chosen], reach)
    good = ((fit > 0.9) & np.isfinite(pixels).all(1)
            & (np.linalg.norm(pixels - at[chosen], axis=1) < max(3.0, 0.5 * reach))
            & (np.trace(covariance, axis1=1, axis2=2) < 0.5))
    if good.sum() < 4:
        return None
    return CardDetection(chosen[good], pixels[good],
                        covariance[good] + FLOOR_PX**2 * np.eye(2))


def fit_crossings(grey, start, angles, reach, most_rounds=10):
    """Fit crossings of two blurred edges.

    Parameters: grey (H, W) uint8; start (n, 2) px; angles (n, 2) rad, the directions of
    the two edges in the picture; reach: radius of the disc used, px.
    Returns pixels (n, 2), covariance_px2 (n, 2, 2), fit (n,) (explained share of the variance).
    """
    from scipy.special import erf

    n = len(start)
    nearest = np.rint(start).astype(int)
    oy, ox = np.mgrid[-reach:reach + 1, -reach:reach + 1]
    disc = ox**2 + oy**2 <= (reach + 0.5) ** 2
    every_x, every_y = ox[disc].astype(np.float32), oy[disc].astype(np.float32)
    every = grey[nearest[:, 1, None] + oy[disc], nearest[:, 0, None] + ox[disc]].astype(np.float32)
    offset = start - nearest
    turn = np.array(angles, float)
    # each edge is a line: distance r from the nearest pixel's centre, direction `turn`
    r = -np.sin(turn) * offset[:, :1] + np.cos(turn) * offset[:, 1:]
    blur = np.full(n, 1.1)
    root_pi = np.float32(2 / np.sqrt(np.pi))
    coarse = True
    for rounds in range(most_rounds):
        each = _COARSE if coarse else 1
        x, y, seen = every_x[::each], every_y[::each], np.ascontiguousarray(every[:, ::each])
        s, c = np.sin(turn).astype(np.float32), np.cos(turn).astype(np.float32)
        k = (np.sqrt(2) * blur).astype(np.float32)[:, None]
        d1 = -s[:, :1] * x + c[:, :1] * y - r[:, :1].astype(np.float32)
        d2 = -s[:, 1:] * x + c[:, 1:] * y - r[:, 1:].astype(np.float32)
        t1, t2 = d1 / k, d2 / k
        e1, e2 = erf(t1), erf(t2)
        # numbers next to nothing make slow products
        g1, g2 = (root_pi / k * np.exp(-np.minimum(t * t, np.float32(30))) for t in (t1, t2))
        model = e1 * e2
        # rows of derivatives: turn and shift of each edge, blur, and the light's three terms
        rows = np.empty((n, 8, len(x)), np.float32)
        rows[:, 5], rows[:, 6], rows[:, 7] = 1, model, 1 - model * model
        light = rows[:, 5:]
        levels = np.linalg.solve((light @ light.transpose(0, 2, 1)).astype(float) + 1e-6 * np.eye(3),
                                 (light @ seen[:, :, None]).astype(float)).astype(np.float32)
        residual = seen - (levels.transpose(0, 2, 1) @ light)[:, 0]
        gain = levels[:, 1] - 2 * levels[:, 2] * model
        u1, u2 = gain * g1 * e2, gain * e1 * g2
        rows[:, 0], rows[:, 1] = u1 * (-c[:, :1] * x - s[:, :1] * y), -u1
        rows[:, 2], rows[:, 3] = u2 * (-c[:, 1:] * x - s[:, 1:] * y), -u2
        rows[:, 4] = -(u1 * d1 + u2 * d2) / blur[:, None].astype(np.float32)
        normal = (rows @ rows.transpose(0, 2, 1)).astype(float)
        ridge = 1e-12 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(8)
        change = np.linalg.solve(normal + ridge + 1e-9 * np.eye(8),
                                 (rows @ residual[:, :, None]).astype(float))[:, :, 0]
        turn += np.clip(change[:, [0, 2]], -0.2, 0.2)
        r += np.clip(change[:, [1, 3]], -1.5, 1.5)
        blur = np.clip(blur + change[:, 4], 0.4, 3)
        largest = np.abs(change[:, [1, 3]]).max()
        if largest < 2e-3 and not coarse:
            break
        coarse = coarse and largest > _NEAR_PX and rounds < most_rounds // 2
    lines = np.stack([-np.sin(turn), np.cos(turn)], 2)
    point = np.linalg.solve(lines, r[:, :, None])[:, :, 0]
    variance = (residual**2).sum(1) / (len(x) - 8)
    # a denoiser's correlated noise: the neighbour's correlation stands for the whole sum
    inflation = _correlation_inflation(residual, disc, variance)
    inverse = np.linalg.pinv(normal, hermitian=True) * (variance * inflation)[:, None, None]
    slopes = np.zeros((n, 2, 8))
    by_turn = np.stack([-np.cos(turn), -np.sin(turn)], 2)
    slopes[:, 0, 1] = slopes[:, 1, 3] = 1
    slopes[:, 0, 0] = -(by_turn[:, 0] * point).sum(1)
    slopes[:, 1, 2] = -(by_turn[:, 1] * point).sum(1)
    slopes = np.linalg.solve(lines, slopes)
    covariance = slopes @ inverse @ slopes.transpose(0, 2, 1)
    fit = 1 - variance / np.maximum(seen.var(1), 1e-6)
    return point + nearest, covariance, fit


def _correlation_inflation(residual, disc, variance, reach=2):
    """Sum of the residuals' autocorrelation over lags up to ``reach`` px, pooled over corners."""
    n, size = len(residual), disc.shape[0]
    grid = np.zeros((n, size, size), np.float32)
    grid[:, disc] = residual / np.sqrt(np.maximum(variance, 1e-9))[:, None]
    present = disc.astype(np.float32)
    total = 0.0
    for dy in range(-reach, reach + 1):
        for dx in range(-reach, reach + 1):
            a = (slice(max(dy, 0), size + min(dy, 0)), slice(max(dx, 0), size + min(dx, 0)))
            b = (slice(max(-dy, 0), size + min(-dy, 0)), slice(max(-dx, 0), size + min(-dx, 0)))
            pairs = (present[a] * present[b]).sum() * n
            total += (grid[(slice(None),) + a] * grid[(slice(None),) + b]).sum() / max(pairs, 1)
    return max(1.0, float(total))
