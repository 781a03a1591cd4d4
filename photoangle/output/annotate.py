"""Annotated photos: what was found, what it stands for, and the angles drawn on the parts.

Colours are of Okabe and Ito's palette (2008, made for colour-blind readers); every line also carries
its words, and lines differ by style.
"""

from __future__ import annotations

import io
import math

import numpy as np

from calib.files import write_whole
from calib.images.photo import read_upright, turn_points, turn_upright
from calib.lens import project
from calib.sheets.palette import BLACK, GREEN, ORANGE, SKY, VERMILION, WHITE, YELLOW
from photoangle.core.roles import ARM_BALL_JOINT, BAR_BUSH, BAR_EYE, LINK_FOOT, SILL_FRONT, SILL_REAR
from photoangle.geometry.parts import part_end, photo_lens

# part: (from, to, figure whose angle is drawn, words, colour)
PARTS = ((BAR_BUSH, BAR_EYE, "bar_arm_angle", "bar arm", ORANGE),
         ("pivot", ARM_BALL_JOINT, "control_arm_angle", "control arm", SKY),
         (LINK_FOOT, BAR_EYE, "link_elevation", "drop link", YELLOW),
         (SILL_REAR, SILL_FRONT, "sill_slope", "sill", WHITE))


class Canvas:
    """A picture in the sensor's frame, drawn on upright.  change(pixels, scale) may alter it first."""

    def __init__(self, path, most_px, change=None):
        from PIL import Image, ImageDraw

        pixels, self.scale, self.orientation = read_upright(path, most_px)
        if change is not None:
            pixels = change(pixels, self.scale)
        self.size = pixels.shape[1], pixels.shape[0]
        upright = turn_upright(pixels, self.orientation)
        self.picture = Image.fromarray(np.ascontiguousarray(upright[..., ::-1]))
        self.draw = ImageDraw.Draw(self.picture)
        self.unit = max(self.picture.size) / 1000

    def at(self, points):
        p = (np.atleast_2d(points) + 0.5) * self.scale - 0.5
        return turn_points(p, *self.size, self.orientation)

    def font(self, size):
        from PIL import ImageFont

        return ImageFont.load_default(size * self.unit)

    def line(self, a, b, colour, width=3.0, dashes=0):
        a, b = np.asarray(a), np.asarray(b)
        pieces = [(a, b)]
        if dashes:
            t = np.linspace(0, 1, 2 * dashes)
            pieces = [(a + (b - a) * t[k], a + (b - a) * t[k + 1]) for k in range(0, 2 * dashes - 1, 2)]
        for extra, c in ((2.0, BLACK), (0.0, colour)):
            for p, q in pieces:
                self.draw.line([tuple(p), tuple(q)], fill=c, width=max(1, round((width + extra) * self.unit)))

    def words(self, where, text, colour=WHITE, size=17, taken=None):
        """A label on a dark plate near ``where``, moved off what is already there.  Returns its box."""
        font = self.font(size)
        box = self.draw.textbbox((0, 0), text, font=font)
        w, h = box[2] - box[0] + 8 * self.unit, box[3] - box[1] + 8 * self.unit
        x = float(np.clip(where[0], 2, max(2, self.picture.size[0] - w - 2)))
        y = float(np.clip(where[1], 2, max(2, self.picture.size[1] - h - 2)))
        for _ in range(14):
            clash = next((t for t in taken or () if x < t[2] and t[0] < x + w and y < t[3] and t[1] < y + h),
                         None)
            if clash is None:
                break
            y = clash[3] + 2
            if y + h > self.picture.size[1]:
                y = max(2.0, clash[1] - h - 2)
        if taken is not None:
            taken.append((x, y, x + w, y + h))
        self.draw.rectangle([x, y, x + w, y + h], fill=(20, 20, 20), outline=colour,
                            width=max(1, round(1.5 * self.unit)))
        self.draw.text((x + 4 * self.unit - box[0], y + 4 * self.unit - box[1]), text, fill=colour, font=font)
        return x, y, x + w, y + h


def annotate(path, target, result, index, figures, kit, most_px=2000):
    """Write an annotated copy of a photo to ``target``, a JPEG.  The rest as for `annotated`."""
    write_whole(target, annotated(path, result, index, figures, kit, most_px))


def annotated(path, result, index, figures, kit, most_px=2000, quality=85):
    """An annotated copy of a photo, as the bytes of a JPEG.

    Parameters: path of the photo (never changed); result: StateResult; index of the photo in its scene;
    figures: this state's figures; kit.
    Raises OSError and calib.images.photo.PhotoError.
    """
    canvas = Canvas(path, most_px)
    scene = result.scene
    name = scene.photos[index]
    sighting = next(s for s in result.sightings if s.name == name)
    # labels keep off the tags themselves
    taken = [tuple(np.r_[c.min(0), c.max(0)]) for c in (canvas.at(t.corners_px) for t in sighting.found)]
    lens = photo_lens(scene, index)
    camera = scene.cameras[index]

    def see(points_mm):
        at = camera.apply(np.atleast_2d(points_mm))
        if (at[:, 2] < 50).any():
            return None
        return canvas.at(project(at, lens))

    _draw_parts(canvas, result, figures, see, taken)
    used = {i for i in scene.markers if (name, i) not in scene.left_out}
    for tag in sighting.found:
        good = tag.tag_id in used and tag.tag_id in sighting.tags
        corners = sighting.tags[tag.tag_id].corners_px if good else tag.corners_px
        _draw_marker(canvas, corners, kit.slot(tag.tag_id), tag.tag_id, good, taken)
    recovered = set(sighting.tags) - {t.tag_id for t in sighting.found}
    for i in sorted(recovered & used):
        _draw_marker(canvas, sighting.tags[i].corners_px, kit.slot(i), i, True, taken)
    if sighting.card is not None:
        for p in canvas.at(sighting.card.pixels):
            r = 3 * canvas.unit
            canvas.draw.ellipse([p[0] - r, p[1] - r, p[0] + r, p[1] + r], outline=SKY,
                                width=max(1, round(1.2 * canvas.unit)))
    stream = io.BytesIO()
    canvas.picture.save(stream, "JPEG", quality=quality)
    return stream.getvalue()


def _draw_marker(canvas, corners_px, slot, tag_id, good, taken):
    p = canvas.at(corners_px)
    colour = GREEN if good else VERMILION
    for k in range(4):
        canvas.line(p[k], p[(k + 1) % 4], colour, 2.0, 0 if good else 6)
    title = slot.role.title if slot.role.number is not None else f"marker {tag_id}"
    text = title if good else f"{title}: not used"
    canvas.words((p[:, 0].max() + 4 * canvas.unit, p[:, 1].mean()), text, WHITE if good else (255, 190, 150),
                 11, taken)


def _draw_parts(canvas, result, figures, see, taken):
    """Lines on the parts, each with its level line, and the angles in a column with leaders."""
    points = result.points
    by_name = {}
    for f in figures:
        if f.name not in by_name or f.datum == "chassis":
            by_name[f.name] = f
    labels = []
    for start, end, figure_name, words, colour in PARTS:
        a, b = part_end(points, start), part_end(points, end)
        figure = by_name.get(figure_name) or by_name.get(figure_name.replace("_angle", "_elevation"))
        if a is None or b is None or see(a) is None or see(b) is None:
            continue
        pa, pb = see(a)[0], see(b)[0]
        if figure is not None:
            level = _level_end(result, a, b, figure.datum)
            if level is not None and see(level) is not None:
                canvas.line(pa, see(level)[0], colour, 2.0, 12)
        canvas.line(pa, pb, colour, 4.0)
        for p in (pa, pb):
            r = 6 * canvas.unit
            canvas.draw.ellipse([p[0] - r, p[1] - r, p[0] + r, p[1] + r], fill=colour, outline=BLACK,
                                width=max(1, round(1.5 * canvas.unit)))
        if figure is not None:
            half = (figure.high95 - figure.low95) / 2
            datum = "" if figure.datum is None else f" against {figure.datum}"
            labels.append(
                ((pa + pb) / 2, f"{words} {round(figure.value, 1) + 0.0:+.1f} ± {half:.1f}°{datum}", colour))
    # the column stands where there is least to see: at the top left, below each other
    width, height = canvas.picture.size
    for k, (middle, text, colour) in enumerate(labels):
        where = np.array([12 * canvas.unit, (14 + 34 * k) * canvas.unit])
        box = canvas.words(where, text, colour, 21, taken)
        inside = np.clip(middle, [0, 0], [width - 1, height - 1])
        canvas.line([min(box[2], max(box[0], inside[0])), box[3]], inside, colour, 1.2, 40)


def _level_end(result, a, b, datum):
    """End of the level line drawn from ``a`` beside the part, or None."""
    up = result.axes.axes[:, 2] if datum == "chassis" and result.axes is not None else (
        result.up.vector if result.up is not None else None)
    if up is None:
        return None
    flat = (b - a) - up * ((b - a) @ up)
    length = np.linalg.norm(flat)
    if length < 0.15 * np.linalg.norm(b - a) or not math.isfinite(length):
        return None
    return a + flat
