"""Annotated photos: what was found, what it stands for, and the angles drawn on the parts.

Colours are of Okabe and Ito's palette (2008, made for colour-blind readers); every line also carries
its words, and lines differ by style.
"""

from __future__ import annotations

import io
import math

import numpy as np

from calib.files import write_whole
from calib.lens import project
from calib.sheets.palette import SKY, VERMILION, WHITE
from photoangle.core.roles import ARM_BALL_JOINT, BAR_BUSH, BAR_EYE, HOSES, LINK_FOOT, SILL_FRONT, SILL_REAR
from photoangle.geometry.parts import part_end, photo_lens
from photoangle.output.drawn.canvas import Canvas
from photoangle.output.drawn.part_colours import BAR_ARM, CONTROL_ARM, LINK, NEAREST
from photoangle.output.wording import about

# part: (from, to, figure whose angle is drawn, words, colour)
PARTS = ((BAR_BUSH, BAR_EYE, "bar_arm_angle", "bar arm", BAR_ARM),
         ("pivot", ARM_BALL_JOINT, "control_arm_angle", "control arm", CONTROL_ARM),
         (LINK_FOOT, BAR_EYE, "link_elevation", "drop link", LINK),
         (SILL_REAR, SILL_FRONT, "sill_slope", "sill", WHITE))
_ANGLE_SIZE, _MARKER_SIZE = 22, 12
_CLOSE_UP = 1.9


def annotate(path, target, result, index, figures, kit, most_px=2000, units="mm"):
    """Write an annotated copy of a photo to ``target``, a JPEG.  The rest as for `annotated`."""
    write_whole(target, annotated(path, result, index, figures, kit, most_px, units=units))


def annotated(path, result, index, figures, kit, most_px=2000, quality=85, units="mm", close_up=False):
    """An annotated copy of a photo, as the bytes of a JPEG.

    Parameters: path of the photo (never changed); result: StateResult; index of the photo in its scene;
    figures: this state's figures; kit; units: the car's; close_up: cut to bar arm and link, to be read on a
    phone.
    Raises OSError and calib.images.photo.PhotoError.
    """
    canvas = Canvas(path, 3 * most_px if close_up else most_px)
    scene = result.scene
    name = scene.photos[index]
    sighting = next(s for s in result.sightings if s.name == name)
    lens, camera = photo_lens(scene, index), scene.cameras[index]

    corner, factor = np.zeros(2), 1.0

    def here(pixels):
        return (canvas.at(pixels) - corner) * factor

    def see(points_mm):
        at = camera.apply(np.atleast_2d(points_mm))
        return None if (at[:, 2] < 50).any() else here(project(at, lens))

    ends = [see(result.points[n]) for n in (BAR_BUSH, BAR_EYE, LINK_FOOT) if n in result.points]
    if close_up and any(p is not None for p in ends):
        corner, factor = canvas.close_up(np.concatenate([p for p in ends if p is not None]), most_px)

    used = {i for i in scene.markers if (name, i) not in scene.left_out}
    tags = []  # corners (4, 2) in the picture, id, whether it counts
    for tag in sighting.found:
        good = tag.tag_id in used and tag.tag_id in sighting.tags
        tags.append((here(sighting.tags[tag.tag_id].corners_px if good else tag.corners_px), tag.tag_id,
                     good))
    recovered = set(sighting.tags) - {t.tag_id for t in sighting.found}
    tags += [(here(sighting.tags[i].corners_px), i, True) for i in sorted(recovered & used)]
    size = np.array(canvas.picture.size)
    tags = [t for t in tags if ((t[0] > 0) & (t[0] < size)).all()]
    labels = canvas.labels()
    for corners, _, _ in tags:
        labels.keep_off(_box(corners))
    if sighting.card is not None:
        for p in here(sighting.card.pixels):
            canvas.dot(p, 3, None, SKY)
        labels.keep_off(_box(here(sighting.card.pixels)))
    for corners, _, good in tags:
        for k in range(4):
            canvas.line(corners[k], corners[(k + 1) % 4], WHITE if good else VERMILION, 1.5,
                        0 if good else 6)
    # a close-up is for a phone: few words, large ones
    larger = _CLOSE_UP if close_up else 1.0
    _draw_parts(canvas, result, figures, see, labels, larger)
    _draw_gap(canvas, result, figures, see, labels, units, larger)
    for corners, tag_id, good in tags if not close_up else ():
        slot = kit.slot(tag_id)
        title = slot.role.title if slot.role.number is not None else f"marker {tag_id}"
        canvas.plate(title if good else f"{title}: not used", WHITE if good else (255, 190, 150),
                     _MARKER_SIZE, labels, _box(corners))
    stream = io.BytesIO()
    canvas.picture.save(stream, "JPEG", quality=quality)
    return stream.getvalue()


def _box(points):
    return (*points.min(0), *points.max(0))


def _draw_parts(canvas, result, figures, see, labels, larger):
    """Lines on the parts, each with its level line and the angle between them, then their words."""
    points, drawn = result.points, []
    by_name = {}
    for f in figures:
        if f.name not in by_name or f.datum == "chassis":
            by_name[f.name] = f
    for start, end, figure_name, words, colour in PARTS:
        a, b = part_end(points, start), part_end(points, end)
        figure = by_name.get(figure_name) or by_name.get(figure_name.replace("_angle", "_elevation"))
        if a is None or b is None or see(a) is None or see(b) is None:
            continue
        pa, pb = see(a)[0], see(b)[0]
        level = None if figure is None else _level_end(result, a, b, figure.datum)
        if level is not None and see(level) is not None:
            flat = see(level)[0]
            canvas.line(pa, flat, colour, 2.0, 12)
            canvas.arc(pa, flat, pb, colour)
            labels.keep_off_line(pa, flat, 6 * canvas.unit)
        canvas.line(pa, pb, colour, 4.0 * larger)
        for p in (pa, pb):
            canvas.dot(p, 6 * larger, colour)
        labels.keep_off_line(pa, pb, 10 * canvas.unit)
        if figure is not None:
            drawn.append((pa, pb, figure, words, colour))
    for pa, pb, figure, words, colour in drawn:
        inside = _within(canvas, pa, pb)
        if inside is not None:
            half = (figure.high95 - figure.low95) / 2
            plain = figure.datum == "chassis" or figure.name == "sill_slope"
            datum = "" if plain else f" against {figure.datum}"
            canvas.plate(f"{words} {round(figure.value, 1) + 0.0:+.1f} ± {half:.1f}°{datum}", colour,
                         _ANGLE_SIZE * larger, labels, _box(inside))


def _within(canvas, a, b):
    """The middle part of a line that lies in the picture, (2, 2), or None."""
    t = np.linspace(0.25, 0.75, 41)[:, None]
    points = a + (b - a) * t
    width, height = canvas.picture.size
    good = points[((points > 0) & (points < [width, height])).all(1)]
    return None if not len(good) else good[[0, -1]]


def _draw_gap(canvas, result, figures, see, labels, units, larger):
    """The nearest way from the bar's eye to a hose marker, with its length."""
    gaps = [(f.value, f, f"hose_{f.name[-1]}") for f in figures if f.name.startswith("hose_gap_")]
    gaps = [g for g in gaps if g[2] in HOSES and g[2] in result.points and BAR_EYE in result.points]
    if not gaps:
        return
    _, figure, hose = min(gaps, key=lambda g: g[0])
    a, b = see(part_end(result.points, BAR_EYE)), see(part_end(result.points, hose))
    if a is None or b is None:
        return
    canvas.line(a[0], b[0], NEAREST, 2.5, 8)
    labels.keep_off_line(a[0], b[0], 6 * canvas.unit)
    inside = _within(canvas, a[0], b[0])
    if inside is not None:
        words = f"to the hose {about(figure.value, units)}"
        canvas.plate(words, NEAREST, (_MARKER_SIZE + 4) * larger, labels, _box(inside))


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
