"""Bolts' heads, studs and plates drawn on parts, with exact truth: prisms of flat faces over a plate, and
scenes of them seen from several sides."""

from dataclasses import dataclass

import cv2
import numpy as np

from calib.poses import Pose, rotation_from_vector
from photoangle.detection.pointing.view import View
from tests.scenes import Camera, Flat, facing, look_at, scaled_lens, shoot

PER_MM = 8


def worn(size, rng, grain_mm, depth, level):
    """A surface's reflectance (size, size): grain of a size in mm over a level."""
    grain = cv2.GaussianBlur(rng.normal(size=(size, size)).astype(np.float32), (0, 0), grain_mm * PER_MM)
    return (level * np.clip(1 + depth * grain / grain.std(), 0.2, 3)).astype(np.float32)


def bolt(pose, rng, across_mm=17.0, height_mm=0.0, sides=6, plate_mm=24.0, plate=0.06, head=0.45):
    """Flats of a bolt's head (sides: 6, or many for a stud) over a plate.

    pose: world_from_face, origin the face's middle, z into the part; height_mm: from the plate to the face.
    """
    spin = rotation_from_vector(np.array([0, 0, rng.uniform(0, 2 * np.pi)]))
    back = Pose(np.eye(3), np.array([0, 0, height_mm]))
    half = plate_mm
    flats = [Flat(pose @ back, (-half, -half), (half, half), worn(int(2 * half * PER_MM), rng, 1.2, 0.25, plate), PER_MM)]
    r = across_mm / 2
    edge = 2 * r * np.tan(np.pi / sides)
    light = np.array([0.3, -0.8, 0.5])
    if height_mm:
        for k in range(sides):
            turn = Pose(rotation_from_vector(np.array([0, 0, 2 * np.pi * k / sides])), np.zeros(3))
            # a side's own frame: x along its edge, y into the part, z towards the bolt's axis
            side = Pose(np.stack([[0, 1.0, 0], [0, 0, 1.0], [-1.0, 0, 0]], 1) @ np.diag([-1, 1, 1]),
                        np.array([r, 0, height_mm / 2]))
            at = pose @ Pose(spin, np.zeros(3)) @ turn @ side
            shade = 0.15 + 0.85 * max(0.0, float(-at.rotation[:, 2] @ light))
            flats.append(Flat(at, (-edge / 2, -height_mm / 2), (edge / 2, height_mm / 2),
                              np.full((8, 8), head * shade, np.float32), 8 / edge))
    top = worn(int(2 * r * PER_MM * 1.2), rng, 0.8, 0.06, head)
    c = (np.arange(len(top)) + 0.5) / PER_MM - len(top) / 2 / PER_MM
    stamped = np.hypot(*np.meshgrid(c, c)) < 0.25 * across_mm
    flats.append(Flat(pose @ Pose(spin, np.zeros(3)), (-r, -r), (r, r),
                      np.where(stamped, 0.85 * top, top).astype(np.float32), len(top) / 2 / r, sides=sides))
    return flats


@dataclass(frozen=True)
class Bolts:
    """views: View each; faces: world_from_face Pose each, z into the part."""

    views: list
    faces: list

    def seen_at(self, k, view=0):
        return self.views[view].pixels(self.faces[k].translation_mm[None])[0]

    def truth(self, k, at_px, view=0):
        """Where the line of sight of a pixel meets a bolt's face (3,)."""
        v, face = self.views[view], self.faces[k]
        way, normal = v.rays(np.asarray(at_px)[None])[0], face.rotation[:, 2]
        return v.origin_mm + way * (normal @ (face.translation_mm - v.origin_mm)) / (normal @ way)


def bolts(seed, count=5, width=2016, angles=(-0.45, 0.0, 0.45), height_mm=0.0, sides=6, camera=None, lean=0.3,
          away_mm=700.0, spacing_mm=100.0):
    """A scene of bolts in a row, photographed from several sides (angles, rad)."""
    rng = np.random.default_rng(seed)
    lens, height = scaled_lens(width), width * 3 // 4
    faces = [Pose(facing([rng.uniform(-lean, lean), -1, rng.uniform(-lean, lean)]),
                  np.array([spacing_mm * (k - (count - 1) / 2), rng.uniform(-40, 40), 260 + rng.uniform(-60, 60)]))
             for k in range(count)]
    flats = [f for p in faces for f in bolt(p, rng, height_mm=height_mm, sides=sides)]
    views = []
    for n, a in enumerate(angles):
        view = look_at(np.array([away_mm * np.sin(a), -away_mm * np.cos(a), 260.0 + 80 * (n % 2)]),
                       np.array([0, 0, 260.0]), roll=rng.normal(0, 0.1))
        grey = shoot(flats, view, lens, width, height, camera or Camera("srgb", noise=0.01), rng, 3)
        views.append(View(f"p{n}", grey, view, lens))
    return Bolts(views, faces)
