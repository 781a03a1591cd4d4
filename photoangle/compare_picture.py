"""Before and after in one picture: the before photo blended into the after photo, both positions of the parts drawn.

Before is dashed with open joints, after is drawn through with filled ones; colours are those of the annotated photos.
"""

from __future__ import annotations

import io

import numpy as np

from calib.files import write_whole
from calib.lens import project
from calib.photo import read_upright
from photoangle.annotate import BLACK, PARTS, WHITE, Canvas, part_end, photo_lens
from photoangle.compare_view import best_photos, looked_up, move_between, parts_plane

_SHARE = 0.45  # of the before photo, near the parts
_PARTS = PARTS[:3]


def draw_comparison(comparison, target, most_px=2000):
    """Write the picture of a comparison as a JPEG.

    Parameters: comparison: compare.Comparison; target: path to write.
    Returns None, or why there is no picture.  Raises OSError and calib.photo.PhotoError.
    """
    before, after = comparison.before.result, comparison.after.result
    move = move_between(before, after, comparison.places.tie if comparison.places else None)
    if move is None:
        return "nothing shows how the two sets of photos lie to each other (no chassis marker, no level, no card in both)"
    plane = parts_plane(before, after, move)
    if plane is None:
        return "too few of bar bush, bar eye and link foot are seen in both"
    index_b, index_a = best_photos(before, after, move, plane)
    parts = _both_ends(before, after, move)
    lens, camera = photo_lens(after.scene, index_a), after.scene.cameras[index_a]

    def blend(pixels, scale):
        return _blended(pixels, scale, comparison, (index_b, index_a), move, plane, [
            (project(camera.apply(np.array(ends)), lens) + 0.5) * scale - 0.5 for _, *both, _ in parts for ends in both if ends
        ], most_px)

    canvas = Canvas(after.paths[after.scene.photos[index_a]], most_px, blend)

    def see(points_mm):
        at = camera.apply(np.array(points_mm))
        return canvas.at(project(at, lens)) if (at[:, 2] > 50).all() else None

    _draw(canvas, comparison, parts, see)
    stream = io.BytesIO()
    canvas.picture.save(stream, "JPEG", quality=88)
    write_whole(target, stream.getvalue())
    return None


def _both_ends(before, after, move):
    """(words, ends before or None, ends after or None, (figure, colour)) of each part, mm in the after world."""
    out = []
    for start, end, figure, words, colour in _PARTS:
        ends = [[part_end(r.points, n) for n in (start, end)] for r in (before, after)]
        known = [all(p is not None for p in pair) for pair in ends]
        if any(known):
            out.append((words, [move.apply(p) for p in ends[0]] if known[0] else None, ends[1] if known[1] else None,
                        (figure, colour)))
    return out


def _blended(pixels, scale, comparison, indices, move, plane, lines_px, most_px):
    """The after picture with the before picture mixed in around the parts' lines."""
    import cv2

    before, after = comparison.before.result, comparison.after.result
    other, other_scale, _ = read_upright(before.paths[before.scene.photos[indices[0]]], most_px)
    height, width = pixels.shape[:2]
    x, y = looked_up(before, indices[0], after, indices[1], move, plane, (width, height), scale, other_scale)
    there = (x > 0) & (y > 0) & (x < other.shape[1] - 1) & (y < other.shape[0] - 1)
    x, y = np.where(there, x, -1), np.where(there, y, -1)
    seen = cv2.remap(other, x, y, cv2.INTER_LINEAR)
    near = np.zeros((height, width), np.uint8)
    unit = max(width, height) / 1000
    for a, b in lines_px:
        if np.isfinite([a, b]).all():
            cv2.line(near, [int(v) for v in np.clip(a, -1e4, 1e4)], [int(v) for v in np.clip(b, -1e4, 1e4)], 255,
                     round(170 * unit))
    small = cv2.resize(near, None, fx=0.1, fy=0.1, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), 6 * unit).astype(np.float32) / 255
    share = _SHARE * cv2.resize(soft, (width, height)) * there
    return np.rint(pixels * (1 - share[..., None]) + seen * share[..., None]).astype(np.uint8)


def _draw(canvas, comparison, parts, see):
    changes = {(c.figure.name[7:], c.figure.datum): c for c in comparison.changes}
    names = [s.name for s in (comparison.before, comparison.after)]
    taken, labels, ends = [], [], []
    for words, first, second, (figure, colour) in parts:
        change = next((changes[k] for k in ((f, d) for d in ("chassis", "gravity")
                                            for f in (figure, figure.replace("_angle", "_elevation"))) if k in changes), None)
        for place, which in ((first, 0), (second, 1)):
            seen = see(place) if place is not None else None
            if seen is None:
                continue
            canvas.line(seen[0], seen[1], colour, 4.5 if which else 3.0, 0 if which else 9)
            ends += [(p, colour, which) for p in seen]
            value = "" if change is None else f" {(change.after if which else change.before):+.1f}°"
            labels.append((seen.mean(0), f"{names[which]}: {words}{value}", colour, which))
        if change is not None:
            half = (change.figure.high95 - change.figure.low95) / 2
            labels.append((None, f"{words}: change {change.figure.value:+.1f} ± {half:.1f}° against {change.figure.datum},"
                           f" {change.verdict}", colour, 1))
    for p, colour, which in sorted(ends, key=lambda e: e[2]):
        r = (7 if which else 8) * canvas.unit
        canvas.draw.ellipse([p[0] - r, p[1] - r, p[0] + r, p[1] + r], fill=colour if which else None,
                            outline=BLACK if which else colour, width=max(2, round(2 * canvas.unit)))
    canvas.words((12 * canvas.unit, 12 * canvas.unit), f"dashed, open: before ({names[0]})    drawn through, filled: after"
                 f" ({names[1]})", WHITE, 17, taken)
    for k, (at, text, colour, which) in enumerate(labels):
        box = canvas.words((12 * canvas.unit, (46 + 32 * k) * canvas.unit), text, colour, 19, taken)
        if at is not None:
            inside = np.clip(at, [0, 0], np.array(canvas.picture.size) - 1)
            canvas.line([box[2], (box[1] + box[3]) / 2], inside, colour, 1.2, 0 if which else 40)

