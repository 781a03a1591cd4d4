"""Does the advised photo help as promised?  Random scenes, rendered and measured whole.

    python -m tests.advice.photo --scenes 30 [--seed 1]

One or two photos of an invented corner are measured; then once with the advised third photo and once with
each of 12 evenly spread ones.  Printed: how often the advised one narrows the figure at least as much as the
best of the 12 (within 5 %, which is what the noise of one photo makes), and the ratio of the u that came out
to the u that was promised.
"""

from __future__ import annotations

import argparse

import numpy as np

from calib.calibrate import calibrate
from calib.images.photo import CameraIdentity, Photo
from calib.poses import Pose
from calib.profile import CameraProfile
from photoangle.advice.next_photo import next_photo, wanted_figure
from photoangle.carfile.car import CarFile
from photoangle.carfile.print_check import print_scale
from photoangle.core.findings import Refusal
from photoangle.detection.detect_photo import detect_photo
from photoangle.figures.measure import measured
from photoangle.geometry.datums import gravity, level_axes
from photoangle.geometry.joints import joint_points
from photoangle.geometry.states import StateResult
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.solve import solve_scene
from tests.coverage import CHECK, ON_MARKERS, _views, corner
from tests.scenes import KIT, Camera, card_flat, look_at, scaled_lens, shoot, tag_flat

WIDTH = 1344
CAR = CarFile(print_check=CHECK)


class Maker:
    """An invented corner and a phone, and photos of it from anywhere."""

    def __init__(self, seed):
        self.rng = np.random.default_rng([seed, 41])
        self.lens = scaled_lens(WIDTH)
        self.identity = CameraIdentity("Plover", "P9", "", None, 26.0, 1.0, WIDTH, WIDTH * 3 // 4)
        views = _views(self.rng, self.lens, WIDTH, False)
        found = calibrate(views, WIDTH, WIDTH * 3 // 4, self.lens[0])
        self.profiles = [
            CameraProfile(self.identity, found.lens, found.covariance, found.shift_sigma, found.floor_px,
                          len(views), found.rms_px, found.variance_factor, 0.1, 0.1, "")
        ]
        self.tags, self.card = corner(self.rng)
        self.flats = [card_flat(self.card)] + [tag_flat(i, 30.0, p) for i, p in self.tags.items()]

    def photo(self, name, camera):
        style = Camera("srgb", 0.7, noise=0.008, light_tilt=self.rng.uniform(-0.3, 0.3), jpeg=93)
        grey = shoot(self.flats, camera, self.lens, WIDTH, WIDTH * 3 // 4, style, self.rng, 3)
        return Photo(name, grey, 1, self.identity, "")

    def first(self):
        """One photo, or two a little apart, as a hurried user takes them from too far away."""
        two = int(self.rng.random() < 0.5)
        base = self.rng.uniform(-0.5, 0.5)
        return [
            self.photo(f"p{k}", self._from(base + 0.15 * k, self.rng.uniform(-0.1, 0.3), 1350))
            for k in range(1 + two)
        ]

    def spread(self):
        """Twelve evenly spread stand points: camera_from_world."""
        return [self._from(a, h, 800) for h in (-0.25, 0.1, 0.45) for a in (-0.9, -0.3, 0.3, 0.9)]

    def _from(self, azimuth, height, distance):
        target = np.array([-120.0, 60, 360])
        return look_at(target + distance * np.array([np.sin(azimuth), -np.cos(azimuth), height]), target)


def solved(maker, sightings):
    """StateResult and its figures, or None."""
    knowledge, _ = lens_knowledge(maker.identity, maker.profiles, sightings, KIT, CHECK, "")
    scene = solve_scene(sightings, KIT, knowledge, "")
    if isinstance(scene, Refusal):
        return None
    scale, scale_u, _, _ = print_scale(CHECK)
    points, _ = joint_points(scene, KIT, ON_MARKERS, CAR.level, scale, scale_u)
    up, _ = gravity(points, scene, CAR.level)
    lateral = level_axes(points, up) if up else None
    state = StateResult(None, None, None, scene, points, up, lateral=lateral, sightings=list(sightings),
                        notes=ON_MARKERS)
    return state, measured(state).figures(None, None)


def trial(seed, others=True):
    """(u before, promised, with the advised photo, best of the 12), or None where no figure or no advice can
    be had.

    others: whether to try the twelve (else infinity stands for the best of them).
    """
    maker = Maker(seed)

    def sight(photo):
        return detect_photo(photo, KIT, maker.profiles[0].lens, photo.path)[0]

    first = [sight(p) for p in maker.first()]
    made = solved(maker, first)
    figure = wanted_figure(made[1], None, None, (("bar_arm_elevation", "gravity"),)) if made else None
    if figure is None:
        return None
    advice = next_photo(made[0], figure, CAR, KIT)
    if advice.camera is None:
        return None
    # the scene's world is the card's, or a marker's where no photo shows the card
    root = made[0].scene.order[0]
    advised = advice.camera @ (maker.card if root is None else maker.tags[root]).inverse()

    def u_with(camera):
        again = solved(maker,
                       first + [sight(maker.photo("more", Pose(camera.rotation, camera.translation_mm)))])
        found = wanted_figure(again[1], None, None, (("bar_arm_elevation", "gravity"),)) if again else None
        return found.u if found else np.inf

    return figure.u, advice.u_then, u_with(advised), min([u_with(c)
                                                          for c in maker.spread()] if others else [np.inf])


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    rows = []
    for k in range(arguments.scenes):
        row = trial(1000 * arguments.seed + k)
        if row is not None:
            rows.append(row)
            print("scene {}: u {:.4f}, promised {:.4f}, came out {:.4f}, best of 12 {:.4f}".format(k, *row),
                  flush=True)
    before, promised, advised, best = np.array(rows).T
    print(
        f"{len(rows)} scenes: advised at least as good as the best of 12 in"
        f" {100 * np.mean(advised <= 1.05 * best):.0f} %;"
        f" strictly in {100 * np.mean(advised <= best):.0f} %; median u that came out over promised"
        f" {np.median(advised / promised):.2f}; narrowed to {np.median(advised / before):.2f} of what it was"
        f" (median)"
    )


if __name__ == "__main__":
    main()
