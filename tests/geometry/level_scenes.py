"""Is gravity's plus-or-minus true?  Random scenes with a plumb string, rendered and measured whole.

    python -m tests.geometry.level_scenes --scenes 20 [--seed 1] [--width 2016]

Printed: the error of up against exact truth (RMS, deg) by the two markers alone and with the string's line, how
often its 95 % ellipse holds the truth, and the ratio of stated to actual error.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from calib.images.photo import Photo
from calib.poses import Pose
from photoangle.carfile.car import Level
from photoangle.detection.detect_photo import detect_photo
from photoangle.geometry.datums import gravity
from photoangle.geometry.joints import joint_points
from photoangle.geometry.plumb.plumb_line import plumb_lines, steadied
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.solve import solve_scene
from tests.coverage import CHECK, ON_MARKERS, Setting, corner, phone
from tests.scenes import KIT, Camera, Flat, card_flat, facing, look_at, shoot, tag_flat

STANDOFF_MM, STUCK_MM, APART_MM = 1.6, 0.3, 240.0


@dataclass(frozen=True)
class StringScene:
    """photos: list of Photo; profiles; up (3,): true, in the card's frame."""

    photos: list
    profiles: list
    up: np.ndarray


def string_scene(seed: int, count: int = 4, width: int = 2016, drawn: bool = True) -> StringScene:
    """A corner with both plumb markers singly on a string, 2 mm thick; drawn: whether the string itself is in
    the pictures."""
    rng = np.random.default_rng([seed, 23])
    lens, identity, profiles = phone(Setting(count, True, False, bool(rng.random() < 0.5)), rng, width)
    tags, card = corner(rng)
    top = np.array([230.0, -30, 560]) + rng.normal(0, 15, 3)
    turn = facing([rng.normal(0, 0.15), -1, 0.0])
    for i, down in ((110, 0.0), (111, APART_MM)):
        stuck = turn @ np.r_[rng.normal(0, STUCK_MM, 2), rng.normal(0, STUCK_MM) - STANDOFF_MM]
        tags[i] = Pose(turn, top - [0, 0, down] + stuck)
    flats = [card_flat(card)] + [tag_flat(i, 30.0, p) for i, p in tags.items()]
    if drawn:
        flats += [_stretch(rng, turn, top, s) for s in ((-330, -21), (21, APART_MM - 21), (APART_MM + 21, APART_MM + 240))]
    photos = []
    for k in range(count):
        angle = np.linspace(-0.6, 0.6, count)[k] if count > 1 else rng.uniform(-0.4, 0.4)
        target = np.array([-60 + rng.uniform(-40, 40), 60, 400 + rng.uniform(-40, 40)])
        away = np.array([np.sin(angle), -np.cos(angle), rng.uniform(-0.25, 0.35)])
        camera = look_at(target + rng.uniform(950, 1200) * away, target, rng.normal(0, 0.06))
        style = Camera("phone" if rng.random() < 0.5 else "srgb", rng.uniform(0.5, 0.9),
                       noise=rng.uniform(0.004, 0.012), light_tilt=rng.uniform(-0.3, 0.3), jpeg=93)
        grey = shoot(flats, camera, lens, width, width * 3 // 4, style, rng, 4)
        photos.append(Photo(f"p{k}", grey, 1, identity, ""))
    return StringScene(photos, profiles, card.rotation.T @ [0, 0, 1.0])


def _stretch(rng, turn, top, between):
    """A free stretch of string as a ribbon, light with dark specks; each hangs a little aside of the others."""
    start, stop = between
    rows = int(stop - start)
    shade = 0.1 + 0.55 * (rng.random((rows, 1)) > 0.03) + 0.05 * rng.normal(size=(rows, 2))
    aside = turn @ [rng.normal(0, 0.3), 0, 0]
    return Flat(Pose(turn, top + aside + [0, 0, -start]), (-1.0, 0.0), (1.0, float(rows)),
                shade.astype(np.float32), 1.0)


@dataclass(frozen=True)
class Up:
    """scene: the solved Scene; markers: up by them alone; steady: with the string's lines; findings."""

    scene: object
    markers: object
    steady: object
    lines: tuple
    findings: list


def measured_up(scene: StringScene) -> Up:
    """Detect, solve, and find up both ways."""
    photos, profiles = scene.photos, scene.profiles
    sightings = [detect_photo(p, KIT, profiles[0].lens, p.path)[0] for p in photos]
    knowledge, _ = lens_knowledge(photos[0].camera, profiles, sightings, KIT, CHECK, "")
    solved = solve_scene(sightings, KIT, knowledge)
    points, _ = joint_points(solved, KIT, ON_MARKERS, Level())
    up, _ = gravity(points, solved, Level())
    grey = {p.path: p.grey for p in photos}
    lines = plumb_lines(points, solved, up, grey.__getitem__)
    steady, findings = steadied(up, lines, solved)
    return Up(solved, up, steady, lines, findings)


def error(up, true):
    """(angle off, deg; its squared size against the stated covariance, expected 2)."""
    turn = np.cross(up.vector, true)
    values, vectors = np.linalg.eigh(up.turn.covariance())
    along = vectors.T @ turn
    # about up itself nothing is claimed
    return float(np.degrees(np.linalg.norm(turn))), float((along[1:] ** 2 / values[1:]).sum())


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--width", type=int, default=2016)
    parser.add_argument("--photos", type=int, default=4)
    given = parser.parse_args()
    rows = []
    for k in range(given.scenes):
        scene = string_scene(1000 * given.seed + k, given.photos, given.width)
        up = measured_up(scene)
        rows.append((*error(up.markers, scene.up), *error(up.steady, scene.up)))
        print(f"scene {k}: markers {rows[-1][0]:.4f} deg, with {len(up.lines)} lines {rows[-1][2]:.4f} deg,"
              f" squared {rows[-1][3]:.1f} {'; '.join(f.what for f in up.findings)}", flush=True)
    table = np.array(rows)
    for title, at in (("markers", 0), ("with line", 2)):
        rms = np.sqrt((table[:, at] ** 2).mean())
        inside = (table[:, at + 1] < 5.99).mean()
        print(f"{title:10s} RMS {rms:.4f} deg, {100 * inside:.0f} % inside their 95 % ellipse,"
              f" RMS error over u {np.sqrt(table[:, at + 1].mean() / 2):.2f}")


if __name__ == "__main__":
    main()
