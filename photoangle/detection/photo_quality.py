"""Is a photo good enough?  Blur, light, glare, distance, and what is cut off: a measure and a remedy for
each.

What the solver makes of a photo goes first: a photo whose corners fit is never called bad, only noted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photoangle.core.findings import ATTENTION, NOTE, Finding

# Limits, each where the corners' own uncertainty begins to suffer (seen on drawn photos of known truth).
SOFT_CELLS = 0.45        # blur's width over a tag's cell
DARK_LEVELS = 35.0       # white less black, grey levels of 255
GLARE_SHARE = 0.15       # of a tag's area at the top of the scale
FAR_PX = 3.2             # pixels of a tag's cell
SHARP = 0.33             # see _detail
# A photo whose squared residuals are this many times their expectation does not agree with the others.
_MISFIT = 4.0
_TOP = 252


@dataclass(frozen=True)
class PhotoQuality:
    """name; blur_cells, contrast, glare, cell_px: medians over its tags (NaN without any); card: corners of
    the card seen; brightness: mean grey level; detail: the picture's own sharpness where neither tag nor card
    shows it; squares: mean squared residual over its expectation, or NaN before solving."""

    name: str
    tags: int
    blur_cells: float
    contrast: float
    glare: float
    cell_px: float
    card: int
    brightness: float
    detail: float
    squares: float = float("nan")


def photo_quality(grey, sighting):
    """Measure a photo.  grey (H, W) uint8; sighting: Detections.  Returns PhotoQuality."""
    rows = []
    for tag in sighting.tags.values():
        side = float(np.mean(np.linalg.norm(np.roll(tag.corners_px, 1, 0) - tag.corners_px, axis=1)))
        rows.append((tag.blur_px / (side / 8), tag.contrast, _glare(grey, tag.corners_px), side / 8))
    middle = np.median(rows, axis=0) if rows else np.full(4, np.nan)
    card = 0 if sighting.card is None else len(sighting.card.index)
    return PhotoQuality(sighting.name, len(rows), *(float(v) for v in middle), card, float(grey.mean()),
                        float("nan") if rows or card else _detail(grey))


def _detail(grey):
    """Edges at the width of a pixel or two over those at six: about 0.45 in a sharp photo of a phone."""
    import cv2

    picture = grey.astype(np.float32)
    fine, coarse = (cv2.GaussianBlur(picture, (0, 0), s) for s in (1.5, 6.0))
    # a quarter of the pixels has the same quantiles
    edges, narrow = (np.quantile(np.abs(a[::2, ::2] - b[::2, ::2]), 0.995)
                     for a, b in ((fine, coarse), (picture, fine)))
    return float(narrow / edges) if edges > 0.5 else 0.0


def _glare(grey, corners):
    low = np.maximum(np.floor(corners.min(0)).astype(int), 0)
    high = np.ceil(corners.max(0)).astype(int) + 1
    patch = grey[low[1]:high[1], low[0]:high[0]]
    return float(np.mean(patch >= _TOP)) if patch.size else 0.0


def quality_findings(quality):
    """What is the matter with a photo, before or after solving.  Returns Findings."""
    q, out = quality, []
    # the solver found that it fits: then it is only noted
    fits = np.isfinite(q.squares) and q.squares < _MISFIT
    level = NOTE if fits else ATTENTION
    tail = ", though what was found fits the other photos" if fits else ""

    def say(what, do):
        out.append(Finding(level, q.name, what + tail, do))

    if not q.tags:
        return [_nothing(q)] if not q.card else []
    if q.blur_cells > SOFT_CELLS:
        say(f"soft: blurred over {q.blur_cells:.1f} of a marker's cell",
            "hold still against something, tap on a marker to focus,"
            " give it more light")
    if q.contrast < DARK_LEVELS:
        say(f"too dark or flat: white and black of the markers are {q.contrast:.0f} grey levels apart",
            "light the markers from the"
            " side, not into the lens")
    if q.glare > GLARE_SHARE:
        say(f"glare: {100 * q.glare:.0f} % of the markers' area is burnt out",
            "turn the lamp away, or tap on a marker so that the"
            " phone exposes for it")
    if q.cell_px < FAR_PX:
        say(f"far away: {q.cell_px:.1f} pixels for a marker's cell",
            "go nearer, about half the distance; no zoom")
    if np.isfinite(q.squares) and not fits:
        out.append(
            Finding(ATTENTION, q.name,
                    f"its markers fit the other photos badly ({q.squares:.0f} times what is expected)",
                    "did something move? look at the annotated photo, or take it out of the folder"))
    return out


def _nothing(q):
    if q.brightness < 25:
        return Finding(ATTENTION, q.name,
                       f"too dark to see anything (mean grey level {q.brightness:.0f} of 255)", "use a lamp")
    if q.detail < SHARP:
        return Finding(ATTENTION, q.name, "no marker was found, and its edges are blurred",
                       "hold still and take it again")
    return Finding(ATTENTION, q.name,
                   "no marker of this kit in it: a wrong photo in the folder, or too far away",
                   "take it out of the folder, or go nearer")


def squares_by_photo(scene):
    """Mean squared whitened residual over its expectation, by photo: name -> float."""
    bundle, solution = scene.solution.bundle, scene.solution
    total, count = np.zeros(len(scene.photos)), np.zeros(len(scene.photos))
    np.add.at(total, bundle.tag_camera, solution.tag_square)
    np.add.at(count, bundle.tag_camera, 8)
    if len(bundle.cards):
        square = (solution.card_residual**2).sum(-1)
        np.add.at(total, bundle.card_camera, square.sum(-1))
        np.add.at(count, bundle.card_camera, 2 * bundle.card_there.sum(-1))
    with np.errstate(invalid="ignore"):
        return dict(zip(scene.photos, total / count, strict=False))
