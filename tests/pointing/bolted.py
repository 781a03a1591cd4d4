"""Corners without a marker on their parts: bolts at the joints, pointed at with a finger's slip.

    python -m tests.pointing.bolted --scenes 6 --draws 10 --sigma 3

Pictures are rendered, tapped at random, and measured; printed are the joints found without a second tap, the
errors of the bar's angle and the link's length, and the share of 95 % intervals that hold the truth.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from calib.images.photo import CameraIdentity, Photo
from calib.poses import Pose, rotation_from_vector
from photoangle.carfile.car import Level
from photoangle.carfile.corner import CornerNotes
from photoangle.carfile.lengths import Reading
from photoangle.carfile.print_check import print_scale
from photoangle.core.assumed import BOLT_PLAY_MM
from photoangle.detection.detect_photo import detect_photo
from photoangle.detection.pointing.point import Tap
from photoangle.detection.pointing.view import View
from photoangle.figures.measure import measured
from photoangle.geometry.datums import gravity, level_axes
from photoangle.geometry.joints import joint_points
from photoangle.geometry.parts import photo_lens
from photoangle.geometry.place_points import with_pointed
from photoangle.geometry.states import StateResult
from photoangle.reconstruction.solve import solve_scene
from tests.coverage import CHECK, corner
from tests.pointing.bolts import bolt
from tests.scenes import KIT, Camera, card_flat, look_at, scaled_lens, shoot, tag_flat
from tests.small_scene import knowledge_of

JOINTS = ("bar_bush", "bar_eye", "link_foot")
# A bolt lies across the car by its build, within this about either axis, deg, and its joint so deep, mm.
LEAN_DEG, DEEP_MM = 4.0, (6.0, 45.0)


@dataclass
class Corner:
    """A corner photographed and solved: scene, views, points of its markers, up; faces: role -> world_from_face
    Pose, z into the part, in the maker's world; deep: role -> mm from face to joint; play: role -> (2,) mm
    of a bolt in its hole; to_scene: scene's world from the maker's."""

    scene: object
    views: list
    points: object
    up: object
    faces: dict
    deep: dict
    play: dict
    to_scene: Pose

    def joint(self, role):
        """In the maker's world (3,): x forward, y inwards, z up."""
        return self.faces[role].apply(np.array([*self.play[role], self.deep[role]]))

    def seen_at(self, role, view):
        return self.views[view].pixels(self.to_scene.apply(self.faces[role].translation_mm)[None])[0]

    def hidden(self, role, view):
        """Whether the card stands before a bolt in a photo, or cuts into its head: nobody points at it there."""
        at, eye = self.to_scene.apply(self.faces[role].translation_mm), self.views[view].origin_mm
        share = -eye[2] / (at[2] - eye[2])
        x, y = (eye + share * (at - eye))[:2]
        margin = 10 + 12
        return 0 < share < 1 and (-margin < x < KIT.card.width_mm + margin) and (
            -margin < y < KIT.card.height_mm + margin)


def made(seed, width=2420, away_mm=900.0, photos=3, height_mm=7.0, mode="phone"):
    """A Corner rendered and solved."""
    rng = np.random.default_rng([seed, 20])
    tags, card = corner(rng)
    lens, height = scaled_lens(width), width * 3 // 4
    faces, deep, play, flats = {}, {}, {}, [card_flat(card)]
    for i, pose in tags.items():
        role = KIT.slot(i).role.key
        if role in JOINTS:
            lean = rotation_from_vector(np.radians(rng.normal(0, LEAN_DEG, 3)) * [1, 0, 1])
            across = np.stack([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]], 1)  # its z runs inwards
            faces[role] = Pose(lean @ across, pose.translation_mm)
            deep[role], play[role] = rng.uniform(*DEEP_MM), rng.uniform(-BOLT_PLAY_MM, BOLT_PLAY_MM, 2)
            flats += bolt(faces[role], rng, rng.choice([13.0, 16.0, 18.0]), height_mm,
                          rng.choice([6, 6, 24]), rng.uniform(16, 26), rng.uniform(0.04, 0.12), rng.uniform(0.3, 0.6))
        elif role in ("sill_front", "sill_rear", "plumb_top", "plumb_bottom", "arch_lip"):
            flats.append(tag_flat(i, 30.0, pose, rng=rng))
    identity = CameraIdentity("Plover", "P9", "", None, scaled_lens(width)[0] / np.hypot(width, height) * 43.2666,
                              1.0, width, height)
    pictures = []
    for k in range(photos):
        target = np.array([-150.0, 60, 340]) + rng.uniform(-30, 30, 3)
        a = np.linspace(-0.5, 0.5, photos)[k] + rng.uniform(-0.1, 0.1)
        at = target + away_mm * np.array([np.sin(a), -np.cos(a), rng.uniform(-0.2, 0.35)])
        style = Camera(mode, rng.uniform(0.5, 0.9), noise=rng.uniform(0.004, 0.012),
                       light_tilt=rng.uniform(-0.3, 0.3), jpeg=93)
        grey = shoot(flats, look_at(at, target, rng.normal(0, 0.06)), lens, width, height, style, rng, 3)
        pictures.append(Photo(f"p{k}", grey, 1, identity, ""))
    sightings = [detect_photo(p, KIT, lens, p.path)[0] for p in pictures]
    scene = solve_scene(sightings, KIT, knowledge_of(lens), "")
    scale, scale_u, _, _ = print_scale(CHECK)
    points, _ = joint_points(scene, KIT, CornerNotes(), Level(), scale, scale_u)
    up, _ = gravity(points, scene, Level())
    views = [View(n, next(p.grey for p in pictures if p.path == n), scene.cameras[k], photo_lens(scene, k))
             for k, n in enumerate(scene.photos)]
    # the card is the world
    return Corner(scene, views, points, up, faces, deep, play, card.inverse())


def notes(corner, given, rng):
    """CornerNotes with stand-offs read within 1 mm (half-width), or without any."""
    if not given:
        return CornerNotes()
    return CornerNotes(standoff={r: Reading(corner.deep[r] + rng.uniform(-1, 1), 1 / np.sqrt(3)) for r in JOINTS})


def measured_once(corner, sigma_px, given, rng, first=None, what="bolt"):
    """One draw of taps: (role -> PointedPlace, findings, figures by name, Points)."""
    taps = {}
    for role in JOINTS:
        clear = [k for k in range(len(corner.views)) if not corner.hidden(role, k)]
        if not clear:
            continue
        view = rng.choice(clear) if first is None else first
        taps[role] = [Tap(int(view), corner.seen_at(role, view) + rng.normal(0, sigma_px, 2), sigma_px, what)]
    points, findings, places = with_pointed(corner.points, corner.scene, corner.views, taps,
                                            notes(corner, given, rng), corner.up)
    state = StateResult(None, None, None, corner.scene, points, corner.up,
                        lateral=level_axes(points, corner.up))
    figures = {f.name: f for f in measured(state).figures(None, None) if f.datum in (None, "gravity")}
    return {p.role: p for p in places}, findings, figures, points


def truths(corner):
    """Exact values by name, the bar's axis and up being the maker's y and z."""
    eye, bush, foot = (corner.joint(r) for r in ("bar_eye", "bar_bush", "link_foot"))
    arm, link = eye - bush, eye - foot
    return {"bar_arm_angle": np.degrees(np.arctan2(arm[2], abs(arm[0]))),
            "bar_arm_elevation": np.degrees(np.arcsin(arm[2] / np.linalg.norm(arm))),
            "bar_arm_length": np.linalg.norm(arm), "link_length": np.linalg.norm(link)}


def run(scenes, draws, sigma_px, given, seed=1, echo=None):
    """Rows (name, error, u, inside) and joints: (found without a word, with one, wrong without a word, faces'
    errors over their own u)."""
    rows, counts, faces = [], np.zeros(3, int), []
    for number in range(scenes):
        there = made(1000 * seed + number)
        truth, rng = truths(there), np.random.default_rng([seed, number])
        for _ in range(draws):
            places, _, figures, points = measured_once(there, sigma_px, given, rng)
            for role in JOINTS:
                if role not in places:
                    counts[1] += not all(there.hidden(role, k) for k in range(len(there.views)))
                    continue
                at = 3 * points.index(role) + np.arange(3)
                miss = points[role] - there.to_scene.apply(there.joint(role))
                chi = miss @ np.linalg.solve(points.estimate.covariance()[np.ix_(at, at)], miss)
                counts[2 if chi > 40 else 0] += 1
                faces.append(chi / 3)
                if echo and chi > 15:
                    echo(f"  scene {number} {role}: joint off by {np.round(miss, 2)} mm, squared misfit {chi:.0f},"
                         f" {places[role]}")
            for name, value in truth.items():
                if name in figures:
                    f = figures[name]
                    rows.append((name, f.value - value, f.u, f.low95 <= value <= f.high95))
                    if name == "bar_arm_elevation" and echo and number % 3 == 0:
                        echo(f"  {name} {f.value - value:+.3f} of {f.u:.3f}: {f.budget}")
    return rows, counts, faces


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--scenes", type=int, default=6)
    parser.add_argument("--draws", type=int, default=10)
    parser.add_argument("--sigma", type=float, default=3.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--no-standoff", action="store_true")
    options = parser.parse_args()
    rows, counts, chi = run(options.scenes, options.draws, options.sigma, not options.no_standoff, options.seed,
                            print)
    print(f"joints placed {counts[0]}, asked or left out {counts[1]}, wrong without a word {counts[2]};"
          f" squared misfit over 3: mean {np.mean(chi):.2f}, median {np.median(chi):.2f}")
    for name in dict.fromkeys(r[0] for r in rows):
        e, u, i = (np.array([r[k] for r in rows if r[0] == name]) for k in (1, 2, 3))
        print(f"{name}: {len(e)}; RMS error {np.sqrt((e**2).mean()):.3f}, u {np.sqrt((u**2).mean()):.3f}"
              f" (median {np.median(u):.3f}), inside {100 * i.mean():.1f} %")


if __name__ == "__main__":
    main()
