"""Tag codes: from cells of a picture to an id, many candidates at once.

A tag of an OpenCV dictionary is a square of n x n cells: a black border one cell wide
around (n - 2) x (n - 2) payload cells, in a white margin.  Cell frame: origin at the
black square's top-left corner as printed, u right, v down, in cells.
"""

from __future__ import annotations

from functools import lru_cache
from math import comb

import cv2
import numpy as np


@lru_cache(maxsize=8)
def dictionary(family):
    """OpenCV's dictionary by the name of its constant, such as DICT_APRILTAG_36h11."""
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))


@lru_cache(maxsize=8)
def cells_across(family):
    """Cells along a side of the black square, border included."""
    return dictionary(family).markerSize + 2


@lru_cache(maxsize=2048)
def cell_pattern(family, tag_id):
    """Cells (n, n) of a tag as printed, 1.0 white and 0.0 black."""
    n = cells_across(family)
    return (dictionary(family).generateImageMarker(int(tag_id), n) > 127).astype(np.float32)


# Wrong bits that are ever taken as read right, and how often a square of dark and light that is no tag may be
# read as some tag of the family for all that.
_MOST_WRONG, _MOST_CHANCE = 2, 0.01
# A family in which chance squares are read as tags more often than this needs its border and margin as proof.
_SHORT = 1e-4


def chance(family, wrong=0):
    """The share of squares of random payload that read as some tag of the family with so many wrong bits."""
    book = dictionary(family)
    bits = book.markerSize**2
    return 4 * len(book.bytesList) * sum(comb(bits, k) for k in range(wrong + 1)) / 2.0**bits


@lru_cache(maxsize=8)
def most_wrong_bits(family):
    """How many wrong bits of a payload may be put right: no more than the family's codes stand apart for
    (Hamming 1950), and no more than leaves chance readings rare."""
    most = min(_MOST_WRONG, dictionary(family).maxCorrectionBits)
    return max(w for w in range(most + 1) if w == 0 or chance(family, w) <= _MOST_CHANCE)


@lru_cache(maxsize=8)
def is_short(family):
    """Whether the family's codes are so short that letters and specks are read as tags."""
    return chance(family) > _SHORT


@lru_cache(maxsize=8)
def _code_table(family):
    """All codes in the four turns as packed bits: (ids * 4,) uint64, turn fastest.

    Entry 4 * id + k is the payload read when the tag is seen turned so that corner k of
    the seen square is the printed top-left corner.
    """
    book = dictionary(family)
    n = book.markerSize
    weights = (np.uint64(1) << np.arange(n * n, dtype=np.uint64))
    table = []
    for tag_id in range(book.bytesList.shape[0]):
        payload = cell_pattern(family, tag_id)[1:-1, 1:-1] > 0.5
        for turn in range(4):
            table.append((np.rot90(payload, -turn).ravel() * weights).sum(dtype=np.uint64))
    return np.array(table, np.uint64)


@lru_cache(maxsize=4)
def _plane_fits(n):
    """For grids with one margin cell: cell centres and least-squares planes.

    Returns (to_white, to_black): matrices that turn the (n + 2)^2 cell values into
    the white (margin) and black (border) shading planes at all cells.
    """
    centre = np.arange(-1, n + 1) + 0.5
    u, v = (a.ravel() for a in np.meshgrid(centre, centre))
    basis = np.stack([np.ones_like(u), u - n / 2, v - n / 2], 1)
    ring = np.maximum(np.abs(u - n / 2), np.abs(v - n / 2))
    out = []
    for chosen in (ring > n / 2, (ring < n / 2) & (ring > n / 2 - 1)):
        fit = np.zeros((3, len(u)))
        fit[:, chosen] = np.linalg.pinv(basis[chosen])
        out.append((basis @ fit).astype(np.float32))
    return tuple(out)


def square_homographies(quads, n):
    """Homographies that carry the cell square [0, n]^2 to quads.

    Parameters: quads (m, 4, 2) px, corners in order from (0, 0), (n, 0), (n, n), (0, n).
    Returns (m, 3, 3).  Heckbert's closed form (1989) for a square's projective map.
    """
    q = np.asarray(quads, float)
    out = np.stack(np.broadcast_arrays(*_square_map(q[..., 0].T, q[..., 1].T)), -1).reshape(-1, 3, 3)
    out[:, :, :2] /= n
    return out


def square_homography(quad, n):
    """The same for one quad (4, 2) px: (3, 3)."""
    x, y = np.asarray(quad, float).T.tolist()
    out = np.array(_square_map(x, y)).reshape(3, 3)
    out[:, :2] /= n
    return out


def _square_map(x, y):
    """Nine numbers, row by row, of the map that carries the unit square to corners x and y, four each."""
    x0, x1, x2, x3 = x
    y0, y1, y2, y3 = y
    sx, sy = x0 - x1 + x2 - x3, y0 - y1 + y2 - y3
    dx1, dx2, dy1, dy2 = x1 - x2, x3 - x2, y1 - y2, y3 - y2
    det = dx1 * dy2 - dx2 * dy1
    det = det + 1e-12 * (abs(det) < 1e-12)
    g, h = (sx * dy2 - dx2 * sy) / det, (dx1 * sy - sx * dy1) / det
    return x1 - x0 + g * x1, x3 - x0 + h * x3, x0, y1 - y0 + g * y1, y3 - y0 + h * y3, y0, g, h, 1.0


def apply_homography(h, points):
    """Points (k, 2) through homographies (..., 3, 3): (..., k, 2)."""
    p = np.asarray(points, float)
    top = p @ np.swapaxes(h[..., :2, :2], -1, -2) + h[..., None, :2, 2]
    return top / (p @ h[..., 2, :2, None] + h[..., 2:, 2:])


def _cell_centres(n):
    """Centres ((n + 2)^2, 2) of a tag's cells and of one ring of margin cells, row by row."""
    centre = np.arange(-1, n + 1) + 0.5
    return np.stack(np.meshgrid(centre, centre), -1).reshape(-1, 2)


def _sample(grey, quads, n, points):
    """Grey (m, k) float32 at points (k, 2), in cells, of quads (m, 4, 2) px."""
    where = apply_homography(square_homographies(quads, n), points).astype(np.float32)
    # remap takes at most 32767 columns and rows: candidates are rows here.
    values = [cv2.remap(grey, part[..., 0], part[..., 1], cv2.INTER_LINEAR,
                        borderMode=cv2.BORDER_REPLICATE)
              for part in (where[k:k + 8192] for k in range(0, len(where), 8192))]
    return np.concatenate(values).astype(np.float32)


def sample_cells(grey, quads, n, spread=0.22):
    """Mean grey of every cell of every candidate, with one ring of margin cells.

    Parameters: grey (H, W) uint8 or float32; quads (m, 4, 2) px.
    Returns (m, (n + 2)^2) float32, rows as the cells are read.
    """
    offsets = [(a, b) for a in (-spread, spread) for b in (-spread, spread)]
    points = np.concatenate([_cell_centres(n) + offset for offset in offsets])
    return _sample(grey, quads, n, points).reshape(len(quads), len(offsets), -1).mean(1)


def framed(grey, quads, n):
    """Which candidates (m, 4, 2) px have a margin brighter than their border, (m,): a cheap gate, as most are
    no tags."""
    border, margin = _rings(n)
    centres = _cell_centres(n)
    seen = _sample(grey, quads, n, np.concatenate([centres[border], centres[margin]]))
    return seen[:, border.sum():].mean(1) > 1.1 * seen[:, :border.sum()].mean(1)


def read_codes(cells, family, most_wrong=None):
    """Ids of candidates from their cells.

    Each cell is judged twice: against the middle between the candidate's own white and
    black shading planes, and against the middle between the brightest and darkest cell
    nearby (on a log scale), which survives a shadow's edge across the tag; the better
    reading counts.

    Parameters: cells (m, (n + 2)^2) from `sample_cells`; most_wrong payload bits, or None for what the family
    allows.
    Returns arrays (m,): id (-1 where none), turn (0..3: the index of the seen corner that
    is the printed top-left one), wrong payload bits, wrong border cells (of 4 n - 4), wrong
    margin cells (of 4 n + 4), and the id of which the candidate is a clean mirror image (-1 where none).
    """
    n = cells_across(family)
    most_wrong = most_wrong_bits(family) if most_wrong is None else most_wrong
    table = _code_table(family)
    m = len(cells)
    ids, turns = np.full(m, -1), np.zeros(m, int)
    wrong, border_wrong, margin_wrong = (np.full(m, 99) for _ in range(3))
    mirrored = np.full(m, -1)
    if not m:
        return ids, turns, wrong, border_wrong, margin_wrong, mirrored
    border, margin = _rings(n)
    to_white, to_black = _plane_fits(n)
    by_plane = cells > (cells @ to_white.T + cells @ to_black.T) / 2
    weights = np.uint64(1) << np.arange((n - 2) ** 2, dtype=np.uint64)
    for bits in (by_plane, _above_nearby_middle(cells, n)):
        on_border = bits[:, border].sum(1)
        on_margin = (~bits[:, margin]).sum(1)
        fair = np.flatnonzero((on_border <= n - 2) & (on_margin <= 2 * n))
        if not len(fair):
            continue
        payload = bits[fair].reshape(-1, n + 2, n + 2)[:, 2:-2, 2:-2]
        words = (payload.reshape(len(fair), -1) * weights).sum(1, dtype=np.uint64)
        flipped = (payload.transpose(0, 2, 1).reshape(len(fair), -1) * weights).sum(1, dtype=np.uint64)
        distance = np.bitwise_count(words[:, None] ^ table[None])
        best = np.argmin(distance, axis=1)
        miss = distance[np.arange(len(fair)), best].astype(int)
        better = (miss <= most_wrong) & (miss + on_border[fair] < wrong[fair] + border_wrong[fair])
        at = fair[better]
        ids[at], turns[at] = best[better] // 4, best[better] % 4
        wrong[at], border_wrong[at] = miss[better], on_border[fair][better]
        margin_wrong[at] = on_margin[fair][better]
        clean = np.flatnonzero(on_border[fair] <= 2)
        same = flipped[clean, None] == table[None]
        seen = same.any(1)
        mirrored[fair[clean[seen]]] = np.argmax(same[seen], axis=1) // 4
    return ids, turns, wrong, border_wrong, margin_wrong, mirrored


@lru_cache(maxsize=4)
def _rings(n):
    """Masks over the (n + 2)^2 cells: the black border and the white margin."""
    centre = np.abs(np.arange(n + 2) - (n + 1) / 2)
    ring = np.maximum(centre[:, None], centre[None, :]).ravel()
    return np.isclose(ring, (n - 1) / 2), np.isclose(ring, (n + 1) / 2)


def _above_nearby_middle(cells, n):
    """Cells brighter than the geometric middle of the 5 x 5 cells around them, (m, (n + 2)^2)."""
    log = np.log(np.maximum(cells, 4.0)).reshape(-1, n + 2, n + 2)
    # one tall picture of all candidates with gaps between: OpenCV's filters do the rest
    tall = np.pad(log, ((0, 0), (2, 2), (0, 0)), mode="edge").reshape(-1, n + 2)
    kernel = np.ones((5, 5), np.uint8)
    top, bottom = cv2.dilate(tall, kernel), cv2.erode(tall, kernel)
    middle = ((top + bottom) / 2).reshape(-1, n + 6, n + 2)[:, 2:-2]
    return (log > middle).reshape(len(cells), -1)


def wrong_cells(grey, quad, family, tag_id):
    """How well the picture agrees with a tag that should be at ``quad`` (4, 2) px.

    Returns (cells that disagree of (n + 2)^2, contrast as a log ratio of bright to dark).
    A local threshold (geometric mean of the darkest and brightest cell within two cells)
    is used, so that shade across the tag does not count.
    """
    n = cells_across(family)
    cells = sample_cells(grey, np.asarray(quad, float)[None], n)[0].reshape(n + 2, n + 2)
    log = np.log(np.maximum(cells, 4.0)).astype(np.float32)
    kernel = np.ones((5, 5), np.uint8)
    top, bottom = cv2.dilate(log, kernel), cv2.erode(log, kernel)
    expected = np.ones((n + 2, n + 2), bool)
    expected[1:-1, 1:-1] = cell_pattern(family, tag_id) > 0.5
    return int(((log > (top + bottom) / 2) != expected).sum()), float(np.median(top - bottom))
