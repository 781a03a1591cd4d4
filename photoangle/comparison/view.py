"""The before photo as the after photo's camera would have seen it, as far as the parts' plane goes.

Both worlds are tied by the chassis; each pixel's ray of the after photo meets the plane of bar arm and link,
and that point is looked up in the before photo.  For a lens without distortion this is the homography that
the plane induces.  What lies off the plane is shifted by parallax.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.lens import project, unproject
from photoangle.core.roles import (
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    HUB,
    LINK_FOOT,
)
from photoangle.geometry.parts import part_end, photo_lens

_STEP_PX = 8
_STEEPEST = np.cos(np.radians(80))  # between a ray and the plane's normal


@dataclass(frozen=True)
class Move:
    """A place in the before world -> in the after world: matrix (3, 3), a turn or, for the other side of the
    car, a turn and a reflection, and shift (3,) mm."""

    matrix: np.ndarray
    shift_mm: np.ndarray

    def apply(self, points_mm):
        return np.asarray(points_mm) @ self.matrix.T + self.shift_mm

    def back(self, points_mm):
        return (np.asarray(points_mm) - self.shift_mm) @ np.linalg.inv(self.matrix).T


def move_between(before, after, tie):
    """How the before world lies in the after world.

    Parameters: before, after: StateResult; tie: `registration.Tie` by the chassis's untouched markers, or
    None: then by the axes and the bar's bush.  Returns Move or None where neither is known.
    """
    if tie is not None:
        return Move(tie.pose.rotation, tie.pose.translation_mm)
    names = [n for n in (BAR_BUSH, ARM_PIVOT_FRONT, ARM_PIVOT_REAR, LINK_FOOT, BAR_EYE) if n in before.points
             and n in after.points]
    if not names:
        return None
    axes = [r.axes or r.lateral for r in (before, after)]
    if None not in axes:
        first, second = axes[0].axes, axes[1].axes
    elif before.scene.has_card and after.scene.has_card:
        first = second = np.eye(3)  # the card was held alike
    else:
        return None
    sides = [(r.corner or "").rpartition("-")[2] for r in (before, after)]
    mirror = np.diag([1.0, -1.0 if set(sides) == {"left", "right"} else 1.0, 1.0])
    matrix = second @ mirror @ first.T
    return Move(matrix, after.points[names[0]] - matrix @ before.points[names[0]])


def parts_plane(before, after, move):
    """Plane of bar arm and link in the after world: (point (3,) mm, unit normal (3,)), or None where they lie
    in a line."""
    found = []
    for names in ((BAR_BUSH, BAR_EYE, LINK_FOOT), (ARM_BALL_JOINT, "pivot", HUB)):
        found += [p for n in names for p in (part_end(after.points, n),) if p is not None]
        found += [move.apply(p) for n in names for p in (part_end(before.points, n),) if p is not None]
        if len(found) >= 3:
            middle = np.mean(found, axis=0)
            _, sizes, ways = np.linalg.svd(np.array(found) - middle)
            if sizes[1] > 0.1 * sizes[0]:
                return middle, ways[2]
    return None


def best_photos(before, after, move, plane):
    """Indices (before, after) of the two photos that look at the parts most alike and most squarely; those
    that show most of the parts come first."""
    def look(result, index, there):
        camera = result.scene.cameras[index]
        size = result.sightings[0].width_px, result.sightings[0].height_px
        at = camera.apply(there)
        seen = project(at, photo_lens(result.scene, index))
        inside = ((at[:, 2] > 50) & (seen > 0).all(1) & (seen < size).all(1)).mean()
        eye = -camera.rotation.T @ camera.translation_mm
        return inside, eye

    there = np.array([p for n in (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_BALL_JOINT) for p in (
        part_end(after.points, n),) if p is not None] or [plane[0]])
    best = None
    for b in range(len(before.scene.cameras)):
        inside_b, eye = look(before, b, move.back(there))
        way_b = move.apply(eye) - plane[0]
        for a in range(len(after.scene.cameras)):
            inside_a, eye = look(after, a, there)
            way_a = eye - plane[0]
            alike = way_a @ way_b / np.linalg.norm(way_a) / np.linalg.norm(way_b)
            square = abs(way_a @ plane[1]) / np.linalg.norm(way_a)
            score = (2 * min(inside_a, inside_b) + alike + 0.3 * square)
            if best is None or score > best[0]:
                best = score, b, a
    return best[1:]


def looked_up(before, index_b, after, index_a, move, plane, size, scale_a, scale_b):
    """Where each pixel of the after picture is found in the before picture.

    Parameters: index_b, index_a: photos; size: (width, height) of the after picture as shown; scale_a,
    scale_b: shown px per stored px.  Returns (x, y) maps (height, width) float32, shown px of the before
    picture; NaN where there is none.
    """
    width, height = size
    gx, gy = np.arange(0, width + _STEP_PX, _STEP_PX), np.arange(0, height + _STEP_PX, _STEP_PX)
    shown = np.stack(np.meshgrid(gx, gy), -1).reshape(-1, 2)
    pixels = (shown + 0.5) / scale_a - 0.5
    camera = after.scene.cameras[index_a]
    way = np.c_[unproject(pixels, photo_lens(after.scene, index_a)), np.ones(len(pixels))] @ camera.rotation
    eye = -camera.rotation.T @ camera.translation_mm
    slope = way @ plane[1]
    far = (plane[0] - eye) @ plane[1] / np.where(slope == 0, np.nan, slope)
    steep = np.abs(slope) / np.linalg.norm(way, axis=1) < _STEEPEST
    far = np.where((far > 0) & ~steep, far, np.nan)
    there = before.scene.cameras[index_b].apply(move.back(eye + far[:, None] * way))
    seen = (project(there, photo_lens(before.scene, index_b)) + 0.5) * scale_b - 0.5
    maps = seen.reshape(len(gy), len(gx), 2)
    return tuple(_finer(maps[..., k], width, height) for k in (0, 1))


def _finer(coarse, width, height):
    """A coarse map (every _STEP_PX) at every pixel, linearly."""
    def along(values, count):
        t = np.arange(count, dtype=np.float32) / _STEP_PX
        k = np.minimum(t.astype(int), len(values) - 2)
        share = (t - k.astype(np.float32)).reshape((-1,) + (1,) * (values.ndim - 1))
        return values[k] * (1 - share) + values[k + 1] * share

    return np.ascontiguousarray(along(along(coarse.astype(np.float32), height).T, width).T)
