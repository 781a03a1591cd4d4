"""The photo of a corner that shows its parts best, with the angles drawn on it."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from calib.images.photo import read_upright, turn_points
from calib.lens import project
from photoangle.geometry.parts import part_end, photo_lens
from photoangle.output.drawn.annotate import PARTS, annotated
from photoangle.output.summary.measured import foremost

_READ_PX, _WIDE_PX = 2400, 1200
# How much is shown around the parts, in their size; phones are narrow.
_AROUND = 0.6


def best_picture(measurement, corner):
    """A JPEG of the best photo of a corner's foremost state, cut to the parts and what is around them; None
    where no photo shows any.  Raises PhotoError and OSError."""
    state = foremost([s for s in measurement.states if s.corner == corner])
    if state is None or not state.scene.photos:
        return None
    index, box = best_of(state)
    if index is None:
        return None
    path = state.paths[state.scene.photos[index]]
    units = measurement.car.units
    return _cut(annotated(path, state, index, state.figures, measurement.kit, _READ_PX, units=units), box)


def best_of(state):
    """(index, box) of the photo that shows most of bar arm, link and control arm, and of these the one in
    which they are largest; box: shares of width and height (left, top, right, bottom) upright; (None, None)
    where none shows any."""
    best = (0, 0.0), None, None
    for index in range(len(state.scene.photos)):
        found = ends_px(state, index)
        rank = len(found), sum(float(np.linalg.norm(b - a)) for a, b in found)
        if rank > best[0]:
            best = rank, index, np.concatenate(found)
    _, index, points = best
    if index is None:
        return None, None
    name, orientation = state.scene.photos[index], read_upright(state.paths[state.scene.photos[index]], 64)[2]
    look = next(s for s in state.sightings if s.name == name)
    upright = turn_points(points, look.width_px, look.height_px, orientation)
    size = (look.width_px, look.height_px) if orientation < 5 else (look.height_px, look.width_px)
    return index, (*(upright.min(0) / size), *(upright.max(0) / size))


def ends_px(state, index):
    """Ends ((2,), (2,)) px, in the sensor's frame, of the parts that are wholly in a photo."""
    scene, out = state.scene, []
    name = scene.photos[index]
    look = next(s for s in state.sightings if s.name == name)
    size = np.array([look.width_px, look.height_px])
    for start, end, *_ in PARTS[:3]:
        ends = [part_end(state.points, n) for n in (start, end)]
        if any(p is None for p in ends):
            continue
        at = scene.cameras[index].apply(np.array(ends))
        seen = project(at, photo_lens(scene, index))
        if (at[:, 2] > 50).all() and (seen > 0).all() and (seen < size).all():
            out.append((seen[0], seen[1]))
    return out


def _cut(data, box):
    """The picture cut to a box in shares of its width and height, and what is around it; no wider than a
    screen shows."""
    with Image.open(io.BytesIO(data)) as picture:
        size = np.array(picture.size)
        low, high = (np.array(box[k]) * size for k in (slice(0, 2), slice(2, 4)))
        reach = np.maximum(_AROUND * (high - low).max(), 0.12 * size.max())
        low, high = np.maximum(low - reach, 0), np.minimum(high + reach, size)
        cut = picture.crop([int(v) for v in (*low, *high)])
    cut.thumbnail((_WIDE_PX, _WIDE_PX))
    out = io.BytesIO()
    cut.save(out, "JPEG", quality=86)
    return out.getvalue()
