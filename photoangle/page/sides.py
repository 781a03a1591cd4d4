"""Before and after as two pictures of one view, to slide between: the before photo as the after photo's
camera sees it."""

from __future__ import annotations

import io

import numpy as np

from calib.images.photo import read_upright
from calib.lens import project
from calib.sheets.palette import BLACK
from photoangle.api import compare
from photoangle.comparison.compare import overall
from photoangle.comparison.view import best_photos, looked_up, move_between, parts_plane
from photoangle.geometry.parts import part_end, photo_lens
from photoangle.output.drawn.annotate import PARTS
from photoangle.output.drawn.canvas import Canvas
from photoangle.output.table import change_numbers, figure_title, title_rank
from photoangle.output.wording import worded

_READ_PX, _WIDE_PX = 2400, 1400


def compared(measurement, before, after):
    """The Comparison of two states "corner/state", or None where one was not measured."""
    try:
        return compare((measurement, before), (measurement, after)).comparisons[0]
    except KeyError:
        return None


def change_rows(comparison, units):
    """The changes as dicts of text, with the sentence on all of them."""
    rows = []
    for c in sorted(comparison.changes,
                    key=lambda c: (title_rank(c.figure.name[7:]), c.figure.datum != "chassis")):
        before, after, value, half, unit = change_numbers(c, units)
        rows.append({
            "name": c.figure.name, "title": figure_title(c.figure.name[7:]), "datum": c.figure.datum or "",
            "before": before, "after": after, "change": value, "half": half,
            "unit": "°" if unit == "deg" else unit, "verdict": c.verdict
        })
    return {"overall": worded(overall(comparison, units), units), "rows": rows}


def two_pictures(comparison):
    """(before JPEG, after JPEG) of the same view and size, parts drawn on, or why there are none (str)."""
    import cv2

    before, after = comparison.before.result, comparison.after.result
    move = move_between(before, after, comparison.places.tie if comparison.places else None)
    plane = parts_plane(before, after, move) if move is not None else None
    if plane is None:
        return "nothing shows how the two sets of photos lie to each other"
    index_b, index_a = best_photos(before, after, move, plane)
    lens, camera = photo_lens(after.scene, index_a), after.scene.cameras[index_a]

    def warped(pixels, scale):
        other, other_scale, _ = read_upright(before.paths[before.scene.photos[index_b]], _READ_PX)
        x, y = looked_up(before, index_b, after, index_a, move, plane, pixels.shape[1::-1], scale,
                         other_scale)
        there = (x > 0) & (y > 0) & (x < other.shape[1] - 1) & (y < other.shape[0] - 1)
        x[~there] = y[~there] = -1
        return cv2.remap(other, x, y, cv2.INTER_LINEAR)

    path = after.paths[after.scene.photos[index_a]]
    lines = [[(s, e, colour) for start, end, _, _, colour in PARTS[:3]
              for s, e in [[part_end(result.points, n) for n in (start, end)]]
              if s is not None and e is not None] for result in (before, after)]
    lines[0] = [(move.apply(s), move.apply(e), colour) for s, e, colour in lines[0]]
    if not all((camera.apply(np.array([s, e]))[:, 2] > 50).all() for side in lines for s, e, _ in side):
        return "the parts are not in front of the camera"
    canvases = [Canvas(path, _READ_PX, change) for change in (warped, None)]
    ends = [[(*canvas.at(project(camera.apply(np.array([s, e])), lens)), colour) for s, e, colour in side]
            for canvas, side in zip(canvases, lines, strict=False)]
    box = _around(np.array([p for side in ends for s, e, _ in side for p in (s, e)]),
                  canvases[1].picture.size)
    return tuple(_drawn(canvas, side, box) for canvas, side in zip(canvases, ends, strict=False))


def _around(points, size):
    low, high = points.min(0), points.max(0)
    reach = np.maximum((high - low).max() * 0.8, 0.1 * max(size)) * np.array([1.0, 0.6])
    low, high = np.maximum(low - reach, 0), np.minimum(high + reach, size)
    return [int(v) for v in (*low, *high)]


def _drawn(canvas, lines, box):
    for a, b, colour in lines:
        canvas.line(a, b, colour, 3.0)
        for p in (a, b):
            r = 5 * canvas.unit
            canvas.draw.ellipse([*(p - r), *(p + r)],
                                fill=colour,
                                outline=BLACK,
                                width=max(1, round(canvas.unit)))
    picture = canvas.picture.crop(box)
    picture.thumbnail((_WIDE_PX, _WIDE_PX))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=86)
    return out.getvalue()
