"""Finding tags in a picture: coarse to fine, each candidate read at full size.

The picture is cut into small tiles; where a tile's neighbourhood has contrast, its pixels
are split half-way between the darkest and the brightest, elsewhere they are left out.
Outlines of dark regions are reduced to convex quadrilaterals, and the cells inside are
read from the full picture.  The same is done on the full picture (small tags) and on the
half and quarter ones (large and blurred tags).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from photoangle.detection.codes import (
    cells_across,
    dictionary,
    framed,
    is_short,
    most_wrong_bits,
    read_codes,
    sample_cells,
)

_TILE = 4
_BAND_PX = 3_000_000  # a mask that stays in a cache of some megabytes
_LEAST_CONTRAST, _MOST_LEAST_CONTRAST = 16, 36
# Black ink on paper differs by more than this share of the paper's grey even in a glare; a rounded part's
# shading does not.
_LEAST_OF_BRIGHT = 0.22
_LEAST_OF_STEP = 0.85
_LEAST_SIDE_PX = 9.0


@dataclass(frozen=True)
class FoundTag:
    """A tag as first found: corners (4, 2) px in the printed order TL TR BR BL, to a pixel or so.

    mirrored: it is the mirror image of that tag, its corners in no particular order.
    """

    tag_id: int
    corners_px: np.ndarray
    wrong_bits: int
    wrong_border: int
    wrong_margin: int
    mirrored: bool = False

    @property
    def centre_px(self):
        return self.corners_px.mean(0)

    @property
    def doubt(self):
        """Weighted count of cells that read wrong; less is better."""
        return 2 * self.wrong_bits + self.wrong_border + 0.3 * self.wrong_margin


def _middles(grey, geometric):
    """The middle of each tile's neighbourhood, between its darkest and its brightest, (rows, columns) uint8;
    0 where it has no edge.

    geometric: take the geometric middle, which survives the edge of a shadow but loses thin dark lines.
    """
    bright, dark = _tile_extremes(grey)
    two, first = np.ones((2, 2), np.uint8), (0, 0)
    bright, dark = cv2.dilate(bright, two), cv2.erode(dark, two)
    step = cv2.dilate(cv2.subtract(bright, dark), two, anchor=first)
    bright, dark = cv2.dilate(bright, two, anchor=first), cv2.erode(dark, two, anchor=first)
    if geometric:
        middle = np.sqrt(bright.astype(np.float32) * np.maximum(dark, 1)).astype(np.uint8)
    else:
        middle = cv2.addWeighted(bright, 0.5, dark, 0.5, 0)
    contrast = cv2.subtract(bright, dark)
    # twice what most of the picture shows is more than noise and grain
    least = np.clip(1.6 * np.median(contrast[::4, ::4]), _LEAST_CONTRAST, _MOST_LEAST_CONTRAST)
    least = cv2.max(cv2.multiply(bright, _LEAST_OF_BRIGHT), float(least))
    # an edge makes its whole step within two tiles, a slope two thirds of it
    middle[(contrast < least) | (step < cv2.multiply(contrast, _LEAST_OF_STEP))] = 0
    return middle


def _darker(grey, middle, first, last):
    """Mask (uint8, 0 or 1) of the pixels of some rows of tiles that are darker than their tile's middle."""
    columns = middle.shape[1]
    tiles = grey[first * _TILE:last * _TILE, :columns * _TILE].reshape(last - first, _TILE, -1)
    return (tiles < middle[first:last].repeat(_TILE, 1)[:, None]).view(np.uint8).reshape(-1, columns * _TILE)


def _dark_quads(grey, geometric, least_side, most_side):
    """Convex quadrilaterals (m, 4, 2) px around the dark regions of a picture with sides in these limits.

    A large picture is looked at in bands that overlap by the largest side: what stays in a processor's cache
    is searched faster.
    """
    middle = _middles(grey, geometric)
    rows = len(middle)
    over = int(most_side) // _TILE + 2
    own = max(_BAND_PX // (grey.shape[1] * _TILE), 2 * over)
    if own + over >= rows:
        return _quads(_darker(grey, middle, 0, rows), least_side, most_side, 0, rows * _TILE)
    found = []
    for first in range(0, rows, own):
        mask = _darker(grey, middle, first, min(first + own + over, rows))
        # what touches the cut is whole in the band before
        quads = _quads(mask, least_side, most_side, 1 if first else 0, own * _TILE)
        found.append(quads + np.float32([0, first * _TILE]))
    return np.concatenate(found)


def _tile_extremes(grey):
    """The brightest and the darkest pixel of every whole tile, two (H // tile, W // tile) uint8."""
    rows, columns = (n // _TILE * _TILE for n in grey.shape)
    lines = grey[:rows, :columns].reshape(rows // _TILE, _TILE, columns)
    across = np.ones((1, _TILE), np.uint8)
    out = []
    for of_two, along in ((np.maximum, cv2.dilate), (np.minimum, cv2.erode)):
        down = of_two(of_two(lines[:, 0], lines[:, 1]), of_two(lines[:, 2], lines[:, 3]))
        out.append(np.ascontiguousarray(along(down, across, anchor=(0, 0))[:, ::_TILE]))
    return out


def _quads(mask, least_side, most_side, lowest, highest):
    """Convex quadrilaterals (m, 4, 2) around the dark regions of a mask that begin in its rows lowest to
    highest."""
    outlines, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    found = []
    if tree is None:
        return np.zeros((0, 4, 2), np.float32)
    outer = np.flatnonzero((tree[0][:, 3] < 0) & (np.array([len(o) for o in outlines]) >= 4))
    for k in outer:
        outline = outlines[k]
        _, top, w, h = cv2.boundingRect(outline)
        if min(w, h) < least_side or max(w, h) > most_side or not lowest <= top <= highest:
            continue
        hull = cv2.convexHull(outline)
        area = cv2.contourArea(hull)
        if area < 0.8 * least_side**2 or len(hull) < 4:
            continue
        quad = cv2.approxPolyN(hull, 4, ensure_convex=True).reshape(-1, 2)
        if len(quad) == 4 and area > 0.78 * cv2.contourArea(quad):
            found.append(quad)
    return np.array(found, np.float32).reshape(-1, 4, 2)


def _shapely(quads, least_side):
    """Which quads could be a tilted square: no side too short, none folded."""
    if not len(quads):
        return np.zeros(0, bool)
    sides = np.linalg.norm(quads - np.roll(quads, -1, 1), axis=2)
    return (sides.min(1) >= least_side * 0.5) & (sides.max(1) < 9 * sides.min(1))


def _clockwise(quads):
    """Corners in the order of the printed tag seen from its front (clockwise, y down)."""
    x, y = quads[..., 0], quads[..., 1]
    area = (x * np.roll(y, -1, 1) - y * np.roll(x, -1, 1)).sum(1)
    quads = quads.copy()
    quads[area < 0] = quads[area < 0][:, ::-1]
    return quads


# A worn border or margin that a long code may have, in cells, and a short one.
_WORN, _MOST_WORN, _WORN_SHORT, _WORN_MARGIN_SHORT = 7, 2, 1, 4
# Print is full of specks that look like a short code when they are smaller than this, px of a cell.
_LEAST_CELL_SHORT_PX = 3.0
# At first sight corners are a pixel or so off, and small cells read wrong: so many bits more are let pass
# until the square has been laid on its edges.
_AT_FIRST = 2


def read_quads(grey, quads, family, more_wrong=0):
    """Tags among candidate quads (m, 4, 2) px, any corner first.

    more_wrong: wrong bits to let pass beyond those that the family allows, as far as its codes stand apart.
    """
    if not len(quads):
        return []
    n, allowed = cells_across(family), most_wrong_bits(family)
    most_wrong = max(allowed, min(allowed + more_wrong, dictionary(family).maxCorrectionBits))
    quads = _clockwise(np.asarray(quads, float))
    quads = quads[framed(grey, quads, n)]
    if not len(quads):
        return []
    ids, turns, wrong, border, margin, mirror = read_codes(
        sample_cells(grey, quads, n), family, most_wrong)
    out = []
    for k in np.flatnonzero(ids >= 0):
        # a worn border needs a clean payload, and the other way round
        worn_as_well = wrong[k] >= _MOST_WORN and border[k] > 3 + more_wrong
        if wrong[k] + border[k] > _WORN + more_wrong or worn_as_well:
            continue
        if is_short(family) and (border[k] > _WORN_SHORT + more_wrong
                                 or margin[k] > _WORN_MARGIN_SHORT + 2 * more_wrong):
            continue
        out.append(FoundTag(int(ids[k]), np.roll(quads[k], -turns[k], axis=0),
                            int(wrong[k]), int(border[k]), int(margin[k])))
    out += [
        FoundTag(int(mirror[k]), quads[k], 0, 0, 0, True) for k in np.flatnonzero((mirror >= 0) & (ids < 0))
    ]
    return out


def find_tags(grey, family, scales=(1, 2, 4), mirrored=False):
    """All tags of a family in a picture.

    Parameters: grey (H, W) uint8, any orientation; family: OpenCV's dictionary name;
    scales: reductions to look at, rising; mirrored: return mirror images too, marked as such.
    Returns a list of FoundTag, each place once, sorted by id; the same id in two places
    comes back twice (a reflection or a second print), for the caller to judge.
    """
    candidates = []
    small, reduced = grey, 1
    for scale in scales:
        if min(grey.shape) < 40 * scale:
            continue
        if scale > reduced:
            small = cv2.resize(small, (grey.shape[1] // scale, grey.shape[0] // scale),
                               interpolation=cv2.INTER_AREA)
            reduced = scale
        # what is large is found better, and cheaper, in the reduced pictures
        most = 110 if scale == 1 and len(scales) > 1 else max(small.shape)
        quads = _dark_quads(small, scale == 4, _LEAST_SIDE_PX, most)
        quads = quads[_shapely(quads, _LEAST_SIDE_PX)]
        # an outline runs along the centres of the outermost dark pixels: the edge is half
        # a pixel further out
        centre = quads.mean(1, keepdims=True)
        reach = np.linalg.norm(quads - centre, axis=2, keepdims=True)
        quads = centre + (quads - centre) * (1 + 0.7 / np.maximum(reach, 1))
        candidates.append((quads + 0.5) * scale - 0.5)
    if not candidates:
        return []
    found = _one_for_each_place(read_quads(grey, np.concatenate(candidates), family, _AT_FIRST))
    return _one_for_each_place([t for t in _read_again(grey, found, family) if mirrored or not t.mirrored])


def _read_again(grey, found, family):
    """Found tags laid on the edges of their squares and read there once more: those that read right."""
    plain = [t for t in found if not t.mirrored]
    if not plain:
        return found
    snapped = _snap(grey, np.array([t.corners_px for t in plain]), cells_across(family))
    if is_short(family):
        cell = np.linalg.norm(snapped - np.roll(snapped, 1, 1), axis=2).mean(1) / cells_across(family)
        large = np.flatnonzero(cell >= _LEAST_CELL_SHORT_PX)
        plain, snapped = [plain[k] for k in large], snapped[large]
    sound = []
    for tag, quad in zip(plain, snapped, strict=True):
        # a square that snapped to something else may have read right before
        again = read_quads(grey, quad[None], family) or read_quads(grey, tag.corners_px[None], family)
        sound += [replace(t, corners_px=quad) for t in again if not t.mirrored and t.tag_id == tag.tag_id]
    return sound + [t for t in found if t.mirrored]


def _snap(grey, quads, cells, samples=14, steps=33):
    """Found quadrilaterals (m, 4, 2) px moved onto the edges of their black squares.

    Across each side the strongest dark-to-light step is looked for within 0.8 cells, then
    0.5, and a line is laid through those places, reweighted twice.
    """
    q = np.asarray(quads, float)
    along = np.linspace(0.08, 0.92, samples)
    x = along - 0.5
    for widest in (0.8, 0.5):
        sides = np.roll(q, -1, 1) - q
        lengths = np.linalg.norm(sides, axis=2)
        reach = np.clip(widest * lengths.mean(1) / cells, 1.5, 16)
        offsets = reach[:, None] * np.linspace(-1, 1, steps)
        outward = np.stack([sides[..., 1], -sides[..., 0]], -1) / lengths[..., None]
        base = q[:, :, None] + along[:, None] * sides[:, :, None]
        where = (base[:, :, :, None]
                 + offsets[:, None, None, :, None] * outward[:, :, None, None])
        where = where.reshape(-1, steps, 2).astype(np.float32)
        seen = np.concatenate([cv2.remap(
            grey, part[..., 0], part[..., 1], cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE)
            for part in (where[k:k + 32000] for k in range(0, len(where), 32000))])
        rise = np.maximum(np.diff(seen.astype(np.float32), axis=1), 0)
        peak = rise.max(1, keepdims=True)
        rise[rise < 0.5 * peak] = 0
        rise = rise.reshape(len(q), 4, samples, -1)
        middle = (offsets[:, 1:] + offsets[:, :-1])[:, None, None, :] / 2
        shift = (rise * middle).sum(-1) / np.maximum(rise.sum(-1), 1e-6)
        strength = peak.reshape(len(q), 4, samples)
        strength = strength / np.maximum(strength.max(-1, keepdims=True), 1e-6) + 1e-6
        weight = strength
        for _ in range(3):
            total = weight.sum(-1, keepdims=True)
            mean_x = (weight * x).sum(-1, keepdims=True) / total
            mean_shift = (weight * shift).sum(-1, keepdims=True) / total
            slope = ((weight * (x - mean_x) * (shift - mean_shift)).sum(-1, keepdims=True)
                     / np.maximum((weight * (x - mean_x) ** 2).sum(-1, keepdims=True), 1e-9))
            miss = shift - mean_shift - slope * (x - mean_x)
            scale = 1.5 * np.median(np.abs(miss), axis=-1, keepdims=True) + 0.05
            weight = strength / (1 + (miss / scale) ** 2)
        starts = q + (mean_shift + slope * (-0.5 - mean_x)) * outward
        ends = np.roll(q, -1, 1) + (mean_shift + slope * (0.5 - mean_x)) * outward
        snapped, sound = _crossings(starts, ends)
        sound &= np.abs(snapped - q).max((1, 2)) < 3 * reach
        q = np.where(sound[:, None, None], snapped, q)
    return q


def _crossings(starts, ends):
    """Corners where each line of a quadrilateral meets the one before it.

    Parameters: starts, ends (m, 4, 2) px.  Returns corners (m, 4, 2) and whether the lines
    of each really cross, (m,).
    """
    d = ends - starts
    d = d / np.maximum(np.linalg.norm(d, axis=2, keepdims=True), 1e-9)
    normal = np.stack([d[..., 1], -d[..., 0]], -1)
    offset = (normal * starts).sum(-1)
    before, before_offset = np.roll(normal, 1, 1), np.roll(offset, 1, 1)
    det = before[..., 0] * normal[..., 1] - before[..., 1] * normal[..., 0]
    sound = (np.abs(det) > 0.05).all(1)
    det = np.where(np.abs(det) > 0.05, det, 1.0)
    return np.stack([before_offset * normal[..., 1] - before[..., 1] * offset,
                     before[..., 0] * offset - before_offset * normal[..., 0]],
                    -1) / det[..., None], sound


def _one_for_each_place(found):
    """Drop the weaker of two readings of one place (scales overlap)."""
    kept, centres, reaches = [], np.zeros((0, 2)), np.zeros(0)
    for tag in sorted(found, key=lambda t: (t.doubt, t.tag_id)):
        reach = 0.5 * np.linalg.norm(tag.corners_px[0] - tag.corners_px[2])
        centre = tag.centre_px
        if (np.linalg.norm(centres - centre, axis=1) > np.minimum(reach, reaches)).all():
            kept.append(tag)
            centres, reaches = np.vstack([centres, centre]), np.append(reaches, reach)
    return sorted(kept, key=lambda t: (t.tag_id, t.doubt, tuple(t.centre_px)))
