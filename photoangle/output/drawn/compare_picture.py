"""Before and after in one picture: the before photo blended into the after photo, both positions of the parts
drawn.

Before is dashed with open joints, after is drawn through with filled ones; colours are those of the annotated
photos.
"""

from __future__ import annotations

import io

import numpy as np

from calib.files import write_whole
from calib.images.photo import read_upright
from calib.lens import project
from calib.sheets.palette import BLACK, WHITE
from photoangle.comparison.view import best_photos, looked_up, move_between, parts_plane
from photoangle.geometry.parts import part_end, photo_lens
from photoangle.output.drawn.annotate import PARTS
from photoangle.output.drawn.canvas import Canvas
from photoangle.output.table import change_numbers

_SHARE = 0.45  # of the before photo, near the parts
_BAND_ROWS = 256
_READ_PX, _WIDE_PX = 3000, 1800
_PARTS = PARTS[:3]


def draw_comparison(comparison, target):
    """Write the picture of a comparison to ``target``, a JPEG.

    Returns None, or why there is no picture.  Raises as `comparison_picture`.
    """
    picture = comparison_picture(comparison)
    if isinstance(picture, str):
        return picture
    write_whole(target, picture)
    return None


def comparison_picture(comparison, quality=88):
    """The picture of a compare.Comparison as the bytes of a JPEG, or in words why there is none.

    Raises OSError and calib.images.photo.PhotoError.
    """
    before, after = comparison.before.result, comparison.after.result
    move = move_between(before, after, comparison.places.tie if comparison.places else None)
    if move is None:
        return ("nothing shows how the two sets of photos lie to each other (no chassis marker, no level,"
                " no card in both)")
    plane = parts_plane(before, after, move)
    if plane is None:
        return "too few of bar bush, bar eye and link foot are seen in both"
    index_b, index_a = best_photos(before, after, move, plane)
    parts = _both_ends(before, after, move)
    lens, camera = photo_lens(after.scene, index_a), after.scene.cameras[index_a]
    if not all(
        (camera.apply(np.array(ends))[:, 2] > 50).all() for _, *both, _ in parts for ends in both if ends):
        return "the parts are not in front of the camera in the photos"

    def pixels_of(ends):
        return project(camera.apply(np.array(ends)), lens)

    def blend(pixels, scale):
        lines = [(pixels_of(ends) + 0.5) * scale - 0.5 for _, *both, _ in parts for ends in both if ends]
        return _blended(pixels, scale, comparison, (index_b, index_a), move, plane, lines)

    canvas = Canvas(after.paths[after.scene.photos[index_a]], _READ_PX, blend)
    seen = [canvas.at(pixels_of(ends)) for _, *both, _ in parts for ends in both if ends]
    corner, factor = canvas.close_up(np.concatenate(seen), _WIDE_PX)
    picture = _draw(canvas, comparison, parts, move, lambda ends:
                    (canvas.at(pixels_of(ends)) - corner) * factor)
    stream = io.BytesIO()
    picture.save(stream, "JPEG", quality=quality)
    return stream.getvalue()


def _both_ends(before, after, move):
    """(words, ends before or None, ends after or None, (figure, colour)) of each part, mm in the after
    world."""
    out = []
    for start, end, figure, words, colour in _PARTS:
        ends = [[part_end(r.points, n) for n in (start, end)] for r in (before, after)]
        known = [all(p is not None for p in pair) for pair in ends]
        if any(known):
            out.append((words, [move.apply(p) for p in ends[0]] if known[0] else None,
                        ends[1] if known[1] else None, (figure, colour)))
    return out


def _blended(pixels, scale, comparison, indices, move, plane, lines_px):
    """The after picture with the before picture mixed in around the parts' lines."""
    import cv2

    before, after = comparison.before.result, comparison.after.result
    other, other_scale, _ = read_upright(before.paths[before.scene.photos[indices[0]]], _READ_PX)
    height, width = pixels.shape[:2]
    x, y = looked_up(before, indices[0], after, indices[1], move, plane, (width, height), scale, other_scale)
    there = (x > 0) & (y > 0) & (x < other.shape[1] - 1) & (y < other.shape[0] - 1)
    x[~there] = y[~there] = -1
    seen = cv2.remap(other, x, y, cv2.INTER_LINEAR)
    del x, y, other
    near = np.zeros((height, width), np.uint8)
    unit = max(width, height) / 1000
    for a, b in lines_px:
        if np.isfinite([a, b]).all():
            cv2.line(near, [int(v) for v in np.clip(a, -1e4, 1e4)], [int(v) for v in np.clip(b, -1e4, 1e4)],
                     255, round(170 * unit))
    small = cv2.resize(near, None, fx=0.1, fy=0.1, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), 6 * unit).astype(np.float32) / 255
    share = _SHARE * cv2.resize(soft, (width, height)) * there
    out = pixels.copy()
    for rows in range(0, height, _BAND_ROWS):  # a whole photo in floating point is large
        band = slice(rows, rows + _BAND_ROWS)
        part = share[band, :, None]
        out[band] = np.rint(pixels[band] * (1 - part) + seen[band] * part)
    return out


def _draw(canvas, comparison, parts, move, see):
    """Draw the parts with their labels; returns the picture with a legend below it."""
    changes = {(c.figure.name[7:], c.figure.datum): c for c in comparison.changes}
    labels, joints, room = [], [], canvas.labels()
    flipped = np.linalg.det(move.matrix) < 0
    legend = [(f"dashed, open joints: before ({comparison.before.name}{', mirrored' if flipped else ''})",
               WHITE), (f"drawn through, filled joints: after ({comparison.after.name})", WHITE)]
    for words, *both, (figure, colour) in parts:
        change = next((changes[f, d] for d in ("chassis", "gravity") for f in (
            figure, figure.replace("_angle", "_elevation")) if (f, d) in changes), None)
        for which, ends in enumerate(both):
            if not ends:
                continue
            a, b = see(ends)
            canvas.line(a, b, colour, 4.5 if which else 3.0, 0 if which else 9)
            joints += [(which, p, colour) for p in (a, b)]
            value = "" if change is None else f" {round((change.before, change.after)[which], 1) + 0.0:+.1f}°"
            room.keep_off_line(a, b, 10 * canvas.unit)
            labels.append((np.sort([a + (b - a) * t for t in (0.4, 0.6)], axis=0),
                           f"{words} {('before', 'after')[which]}{value}", colour))
        if change is not None:
            before, after, value, half, _ = change_numbers(change)
            legend.append(
                (f"{words} against {change.figure.datum}: {before}° to {after}°, change {value} ± {half}°:"
                 f" {change.verdict}", colour))
    for which, p, colour in sorted(joints, key=lambda j: j[0]):
        r = (7 if which else 9) * canvas.unit
        canvas.draw.ellipse([*(p - r), *(p + r)],
                            fill=colour if which else None,
                            outline=BLACK if which else colour,
                            width=max(2, round(2 * canvas.unit)))
    if len(legend) > 2:
        legend.append(("A photo foreshortens the parts: the figures are the true angles.", WHITE))
    for at, text, colour in labels:
        canvas.plate(text, colour, 18, room, (*at[0], *at[1]))
    return _with_legend(canvas, legend)


def _with_legend(canvas, lines):
    """The picture with lines of text on a dark band below it."""
    from PIL import Image, ImageDraw

    width, height = canvas.picture.size
    size = 20.0
    widest = max(canvas.draw.textlength(text, font=canvas.font(size)) for text, _ in lines)
    size = min(size, size * (width - 24 * canvas.unit) / widest)
    step = round(1.5 * size * canvas.unit)
    out = Image.new("RGB", (width, height + step * len(lines) + round(12 * canvas.unit)), (20, 20, 20))
    out.paste(canvas.picture, (0, 0))
    draw = ImageDraw.Draw(out)
    for k, (text, colour) in enumerate(lines):
        draw.text((12 * canvas.unit, height + 8 * canvas.unit + k * step),
                  text,
                  fill=colour,
                  font=canvas.font(size))
    return out
