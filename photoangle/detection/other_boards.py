"""Boards that people have: which family, which arrangement, told from the photos alone.

A checkerboard with tags in its white squares, in OpenCV's order (ids from 0, row by row), or a sheet or
screen of tags of one family, however they lie.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from itertools import product

import cv2
import numpy as np

from calib.kit import FAMILIES, CardSpec, Kit
from photoangle.core.arrays import Array
from photoangle.detection.codes import chance
from photoangle.detection.tags import find_tags

# Families whose codes no other of them has; of those of one size with several counts the largest holds all.
_ASKED = tuple(f for f in FAMILIES if f.endswith("_1000") or f.count("X") != 1)
# Photos that are asked which family it is, and the least tags that tell it.
_FIRST, _LEAST_TAGS = 4, 4
# A board's squares along, as tried; how far its tags may lie off their places, in squares.
_COLUMNS, _MOST_OFF = range(3, 25), 0.08
# A lens has no size in it.
SQUARE_MM = 25.0

Tags = dict[int, Array]  # id -> corners (4, 2) px, upright as printed


def tags_in(names: Iterable[str], grey: Callable[[str], np.ndarray | None]) -> tuple[str, dict[str, Tags]]:
    """The family that photos show most of, and photo's name -> its tags; "" where no family is told.

    grey(name): a photo's picture (H, W) uint8, or None.
    """
    names = list(names)
    first = [p for p in (grey(n) for n in names[:_FIRST]) if p is not None]
    best, most = "", 0
    for family in _ASKED:
        # letters and specks read as short codes now and then: what they cannot explain counts
        count = sum(max(0, len(_once(p, family)) - int(chance(family) * 200)) for p in first)
        if count > most:
            best, most = family, count
    if most < _LEAST_TAGS:
        return "", {}
    seen = {n: _once(p, best) for n in names if (p := grey(n)) is not None}
    seen = {n: tags for n, tags in seen.items() if len(tags) >= _LEAST_TAGS}
    return _smallest(best, max((i for t in seen.values() for i in t), default=0)), seen


def _once(grey, family):
    """Tags that are seen once in a picture."""
    tags = [t for t in find_tags(grey, family) if not t.mirrored]
    count = Counter(t.tag_id for t in tags)
    return {t.tag_id: np.asarray(t.corners_px, float) for t in tags if count[t.tag_id] == 1}


def _smallest(family, highest):
    """The smallest family of the same codes that has the id ``highest``."""
    if not family.endswith("_1000"):
        return family
    alike = [f for f in FAMILIES if f.rsplit("_", 1)[0] == family.rsplit("_", 1)[0]]
    return min((f for f in alike if FAMILIES[f][1] > highest), key=lambda f: FAMILIES[f][1])


def checkerboard_with_tags(family: str, seen: Mapping[str, Tags]) -> CardSpec | None:
    """The board that tags of one family lie on, in OpenCV's order of a checkerboard with tags, or None where
    they lie otherwise.  Its squares are `SQUARE_MM`, whatever they are in truth."""
    fits = []
    for columns, legacy in product(_COLUMNS, (False, True)):
        off = [_off(tags, columns, legacy) for tags in seen.values()]
        off = [o for o in off if o is not None]
        if len(off) >= max(1, len(seen) // 2):
            ratio = float(np.median([o[1] for o in off]))
            fits.append((float(np.median([o[0] for o in off])), columns, legacy, ratio))
    if not fits or min(fits)[0] > _MOST_OFF:
        return None
    _, columns, legacy, ratio = min(fits)
    highest = max(i for tags in seen.values() for i in tags)
    rows = int(_squares(highest, columns, legacy)[1]) + 1
    if legacy and rows % 2:
        rows += 1  # OpenCV's old pattern differs for even numbers of rows alone
    if not 3 <= rows <= 100 or not 0.3 < ratio < 0.97:
        return None
    return CardSpec(columns, rows, SQUARE_MM, ratio * SQUARE_MM, 0, legacy, family, columns * SQUARE_MM,
                    rows * SQUARE_MM)


def _squares(ids, columns, legacy):
    """(column, row) of the white squares of tags, in order row by row."""
    ids = np.asarray(ids)
    pair, place = np.divmod(ids, columns)  # two rows hold as many tags as there are columns
    first = columns // 2 if not legacy else (columns + 1) // 2
    row = 2 * pair + (place >= first)
    within = np.where(place >= first, place - first, place)
    odd = (row % 2 == 0) != legacy
    return 2 * within + odd, row


def _off(tags, columns, legacy):
    """(RMS distance of tags from their places, side of a tag), in squares, were the board so; or None."""
    ids = np.array(sorted(tags))
    column, row = _squares(ids, columns, legacy)
    centres = np.array([_centre(tags[i]) for i in ids])
    places = np.c_[column, row] + 0.5
    if len(ids) < 6 or min(np.ptp(places, axis=0)) < 1:
        return None
    board, _ = cv2.findHomography(centres, places, 0)
    if board is None:
        return None
    corners = np.array([tags[i] for i in ids])
    on_board = cv2.perspectiveTransform(corners.reshape(-1, 1, 2), board).reshape(-1, 4, 2) - places[:, None]
    ways = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    half = float((on_board * ways).mean())
    # a lens that bends moves tags by some hundredths of a square; a wrong number of columns by whole ones
    return float(np.sqrt(((on_board - half * ways)**2).sum(-1).mean())), 2 * half


def _centre(corners):
    """Where a square's diagonals cross, px: its centre, seen from any side."""
    a, b, c, d = corners
    along, across = c - a, d - b
    t = np.linalg.solve(np.c_[along, -across], b - a)[0]
    return a + t * along


def kit_of_board(card: CardSpec) -> Kit:
    """The kit whose card is this board, without markers."""
    return Kit(card.family, {}, card, None)


def kit_of_tags(family: str) -> Kit:
    """The kit of a sheet of tags: all of one size."""
    return Kit(family, {}, None, SQUARE_MM)
