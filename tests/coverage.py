"""Are the stated intervals true?  Random scenes, rendered and measured whole.

    python -m tests.coverage --scenes 200 [--seed 1] [--width 2016] [--compare | --null | --omit]

Each scene is an invented corner seen in one, two or several photos, with or without a lens profile, by a
phone that holds its focus or moves it, with plain or denoised and sharpened pictures.  Markers carry no
stand-off, so that what is tested is the photos' own part.  Printed: share of 95 % intervals that hold the
truth (and its standard error clustered by scene), and the median of u over the actual RMS error, in all and
by group; that ratio is taken among figures of one name whose u agree within a factor of two, eight and more
of them, and its median is printed.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from calib.calibrate import View, calibrate
from calib.images.photo import CameraIdentity, Photo
from calib.kit import card_saddles_mm
from calib.lens import project
from calib.poses import Pose, rotation_from_vector, vector_from_rotation
from calib.profile import CameraProfile
from photoangle.carfile.car import Level, PrintCheck
from photoangle.carfile.corner import CornerNotes
from photoangle.carfile.lengths import Reading
from photoangle.carfile.print_check import print_scale
from photoangle.core.findings import Refusal
from photoangle.core.roles import ROLE_BY_KEY
from photoangle.detection.detect_photo import detect_photo
from photoangle.figures.measure import measured
from photoangle.geometry.datums import gravity, level_axes
from photoangle.geometry.joints import joint_points
from photoangle.geometry.states import StateResult
from photoangle.reconstruction.guided_search import search_again
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.solve import solve_scene
from tests.scenes import KIT, Camera, card_flat, facing, look_at, scaled_lens, shoot, tag_flat

GROUPS = ("one photo", "two photos", "many photos", "profile", "no profile", "moving focus", "denoiser")
# The truth of these scenes is that of the markers' own centres: nothing lies behind them.
ON_MARKERS = CornerNotes(stuck_within_mm=0.0, standoff={role: Reading(0.0, 0.0) for role in ROLE_BY_KEY})
CHECK = PrintCheck(200.0, 150.0, 0.1)
NOISES = (0.004, 0.012)


@dataclass(frozen=True)
class Setting:
    """What kind of scene: photos 1..5, profile known, moving focus, phone denoiser."""

    photos: int
    profile: bool
    moving: bool
    phone: bool

    @property
    def groups(self):
        yield {1: "one photo", 2: "two photos"}.get(self.photos, "many photos")
        yield "profile" if self.profile else "no profile"
        if self.moving:
            yield "moving focus"
        if self.phone:
            yield "denoiser"


def settings(count, seed=0):
    """A fixed mix of settings."""
    rng = np.random.default_rng(seed + 77)
    return [Setting(int(rng.choice([1, 2, 4])), bool(rng.random() < 0.7), bool(rng.random() < 0.3),
                    bool(rng.random() < 0.5)) for _ in range(count)]


def corner(rng):
    """An invented corner: marker id -> (world_from_marker Pose, size mm), and the card's pose.

    World: x forward, y towards the car's inside, z up; photos are taken from negative y.
    """
    def put(x, y, z, lean=0.5):
        normal = np.array([rng.normal(0, lean), -1, rng.normal(0, lean)])
        return Pose(facing(normal, rng.uniform(-0.5, 0.5)), np.array([x, y, z]) + rng.normal(0, 12, 3))

    tags = {100: put(150, 200, 400), 101: put(-60, 60, 370), 102: put(-70, 60, 260),
            103: put(120, 230, 280), 104: put(-150, 230, 290), 105: put(0, 0, 180),
            106: put(0, -20, 330), 107: put(0, -40, 620, 0.2), 108: put(-330, -30, 250, 0.2),
            109: put(-620, -30, 240, 0.2)}
    spin = facing([rng.normal(0, 0.2), -1, 0.0])
    top = np.array([230.0, -30, 560]) + rng.normal(0, 20, 3)
    # the strip hangs as truly as the program believes: hole and weight are punched by hand
    hang = rotation_from_vector(rng.normal(0, np.radians(0.05), 3) * [1, 1, 0])
    tags[110] = Pose(hang @ spin, top)
    tags[111] = Pose(hang @ spin, top + hang @ [0, 0, -200.0])
    card = Pose(facing([rng.normal(0, 0.3), -1, rng.uniform(-0.2, 0.5)], rng.normal(0, 0.1)),
                np.array([-250.0, -80, 200]) + rng.normal(0, 30, 3))
    return tags, card


def _views(rng, lens, width, moving):
    """Card views for a profile: exact projection and white noise."""
    height = width * 3 // 4
    saddles = card_saddles_mm(KIT.card)
    views = []
    while len(views) < 10:
        pose = Pose(rotation_from_vector(np.r_[rng.uniform(-0.7, 0.7, 2), rng.uniform(-1.5, 1.5)]),
                    np.zeros(3))
        centre = np.array([rng.uniform(-150, 150), rng.uniform(-110, 110), rng.uniform(330, 600)])
        pose = Pose(pose.rotation, centre - pose.rotation @ [126, 84, 0])
        seen = project(pose.apply(saddles), _moved(rng, lens, width, moving))
        inside = ((seen > 10) & (seen < [width - 10, height - 10])).all(1)
        if inside.sum() > 20:
            noise = 0.02
            views.append(View(f"v{len(views)}", saddles[inside], seen[inside]
                              + rng.normal(0, noise, (inside.sum(), 2)),
                              np.tile(np.eye(2) * noise**2, (inside.sum(), 1, 1))))
    return views


def _moved(rng, lens, width, moving):
    if not moving:
        return lens
    out = lens.copy()
    out[0] *= 1 + rng.normal(0, 0.003)
    out[2:4] += rng.normal(0, 6 * width / 4032, 2)
    return out


def phone(setting, rng, width):
    """A phone as a Setting wants it: its true lens, CameraIdentity, and its profiles where it has any."""
    lens, height = scaled_lens(width), width * 3 // 4
    if not setting.profile:
        lens[0] *= 1 + rng.normal(0, 0.02)
        lens[2:4] += rng.normal(0, 0.006 * width, 2)
        lens[4:] *= rng.uniform(0.3, 1.2)
    focal35 = scaled_lens(width)[0] / np.hypot(width, height) * 43.2666
    identity = CameraIdentity("Plover", "P9", "", None, focal35, 1.0, width, height)
    profiles = []
    if setting.profile:
        views = _views(rng, lens, width, setting.moving)
        found = calibrate(views, width, height, lens[0])
        profiles = [CameraProfile(identity, found.lens, found.covariance, found.shift_sigma, found.floor_px,
                                  len(views), found.rms_px, found.variance_factor, 0.1, 0.1, "")]
    return lens, identity, profiles


def make_scene(setting, seed, width=2016, far=1.0, noises=NOISES):
    """Photos of one scene and its truth.  far: times the usual distance; noises: of full scale at white, limits.

    Returns (photos: list of Photo, profiles, truth: marker id -> Pose, card pose).
    """
    rng = np.random.default_rng([seed, 5])
    height = width * 3 // 4
    lens, identity, profiles = phone(setting, rng, width)
    tags, card = corner(rng)
    # the print is a little larger or smaller than the rule says
    size = 1 + rng.normal(0, CHECK.u_mm / 150.0)
    photos = []
    for k in range(setting.photos):
        angle = rng.uniform(-0.6, 0.6) if setting.photos < 3 else np.linspace(-0.6, 0.6, setting.photos)[k]
        distance = far * rng.uniform(950, 1250)
        target = np.array([-120 + rng.uniform(-60, 60), 60, 360 + rng.uniform(-40, 40)])
        position = target + distance * np.array([np.sin(angle), -np.cos(angle), rng.uniform(-0.25, 0.35)])
        camera = look_at(position, target, rng.normal(0, 0.06))
        flats = [card_flat(card, size=size)] + [
            tag_flat(i, 30.0 * size, p, rng=rng, dirt=0.03 if rng.random() < 0.3 else 0)
            for i, p in tags.items()
        ]
        style = Camera("phone" if setting.phone else "srgb", rng.uniform(0.5, 0.9),
                       noise=rng.uniform(*noises), light_tilt=rng.uniform(-0.3, 0.3), jpeg=93)
        grey = shoot(flats, camera, _moved(rng, lens, width, setting.moving), width, height, style, rng, 4)
        photos.append(Photo(f"p{k}", grey, 1, identity, ""))
    return photos, profiles, tags, card


def measure_scene(photos, profiles, planar=False):
    """Sight and solve; returns (scene, points, figures) or None."""
    lens = profiles[0].lens if profiles else None
    sightings = [detect_photo(p, KIT, lens, p.path)[0] for p in photos]
    knowledge, _ = lens_knowledge(photos[0].camera, profiles, sightings, KIT, CHECK, "")
    grey = {p.path: p.grey for p in photos}
    scene = solve_scene(sightings, KIT, knowledge, "",
                        lambda s, used: search_again(s, used, KIT, grey.__getitem__))
    if isinstance(scene, Refusal):
        return None
    scale, scale_u, _, _ = print_scale(CHECK)
    points, _ = joint_points(scene, KIT, ON_MARKERS, Level(), scale, scale_u)
    up, _ = gravity(points, scene, Level())
    lateral = level_axes(points, up) if up else None
    state = StateResult(None, None, None, scene, points, up, lateral=lateral)
    return scene, points, measured(state).figures(None, None)


def true_figures(tags, points):
    """Exact values of the figures whose definition needs nothing that is assumed."""
    role = {i: KIT.slot(i).role.key for i in tags}
    at = {role[i]: p.translation_mm for i, p in tags.items()}
    up = np.array([0, 0, 1.0])
    pivot = np.mean([at[n] for n in ("arm_pivot_front", "arm_pivot_rear") if n in points] or [np.zeros(3)], 0)
    lines = {"bar_arm": at["bar_eye"] - at["bar_bush"], "link": at["bar_eye"] - at["link_foot"],
             "control_arm": at["arm_ball_joint"] - pivot}
    out = {}
    for name, line in lines.items():
        out[f"{name}_elevation"] = np.degrees(np.arcsin(line @ up / np.linalg.norm(line)))
        out[f"{name}_length"] = np.linalg.norm(line)
    if "arm_pivot_front" in points and "arm_pivot_rear" in points:
        axis = at["arm_pivot_front"] - at["arm_pivot_rear"]
        axis = axis / np.linalg.norm(axis)
        rise = up - axis * (up @ axis)
        rise /= np.linalg.norm(rise)
        arm = lines["control_arm"]
        out["control_arm_angle"] = np.degrees(np.arctan2(arm @ rise, abs(arm @ np.cross(axis, rise))))
    sill = at["sill_front"] - at["sill_rear"]
    out["sill_slope"] = np.degrees(np.arcsin(sill @ up / np.linalg.norm(sill)))
    out["bar_to_link_angle"] = np.degrees(np.arccos(
        lines["bar_arm"] @ lines["link"] / np.linalg.norm(lines["bar_arm"]) / np.linalg.norm(lines["link"])))
    out["hub_to_arch"] = (at["arch_lip"] - at["hub"]) @ up
    return out


def run(count, seed=1, width=2016, echo=None, far=1.0, noises=NOISES, chosen=None):
    """Measure ``count`` scenes.  far, noises: as for `make_scene`; chosen: one Setting for all of them.

    Returns rows (scene number, groups, figure name, error, u, inside) and pose rows (number, groups, chi2 /
    6).
    """
    rows, poses = [], []
    for number, setting in enumerate([chosen] * count if chosen else settings(count, seed)):
        photos, profiles, tags, card = make_scene(setting, 1000 * seed + number, width, far, noises)
        found = measure_scene(photos, profiles)
        groups = tuple(setting.groups)
        if found is None:
            if echo:
                echo(f"scene {number}: refused")
            continue
        scene, points, figures = found
        truth = true_figures(tags, points)
        for f in figures:
            if f.name in truth and f.datum in (None, "gravity"):
                error = f.value - truth[f.name]
                rows.append((number, groups, f.name, error, f.u, f.low95 <= truth[f.name] <= f.high95))
        back = card.inverse()
        for k, marker in enumerate(scene.order):
            if k == 0 or not isinstance(marker, int) or marker not in tags:
                continue
            pose = back @ tags[marker]
            v = np.r_[vector_from_rotation(scene.markers[marker].rotation @ pose.rotation.T),
                      scene.markers[marker].translation_mm - pose.translation_mm]
            where = scene.solution.bundle.body_slice_of(k)
            c = scene.covariance[where, where].copy()
            at = scene.markers[marker].translation_mm
            c[3:, 3:] += np.outer(at, at) * (CHECK.u_mm / 150) ** 2
            poses.append((number, groups, float(v @ np.linalg.solve(c, v)) / 6, marker
                          in scene.ambiguous, marker))
        if echo and number % 10 == 9:
            echo(f"{number + 1} scenes")
    return rows, poses


def _share(pairs):
    """Share of (scene, whether inside) pairs that are, and its standard error clustered by scene."""
    by_scene = defaultdict(list)
    for scene, inside in pairs:
        by_scene[scene].append(inside)
    return np.mean([inside for _, inside in pairs
                    ]), np.std([np.mean(v) for v in by_scene.values()]) / np.sqrt(len(by_scene))


def summary(rows, poses):
    """Lines: coverage with its clustered standard error, ratio of u to actual error, by group and figure."""
    lines = []

    def line(title, chosen):
        if not chosen:
            return
        share, spread = _share([(r[0], r[5]) for r in chosen])
        # like with like: a marker seen once errs a hundred times as much as one seen four times, and says so
        cells = defaultdict(list)
        for r in chosen:
            cells[r[2], int(np.floor(np.log2(r[4])))].append(r)
        ratios = [np.median([r[4] for r in c]) / np.sqrt(np.mean([r[3] ** 2 for r in c]))
                  for c in cells.values() if len(c) >= 8]
        z = np.array([r[3] / r[4] for r in chosen])
        lines.append(
            f"{title:24s} {100 * share:5.1f} % +- {100 * spread:.1f} of {len(chosen):5d} inside,"
            f" median u / RMS error {np.median(ratios) if ratios else np.nan:.2f}, RMS z"
            f" {np.sqrt((z**2).mean()):.2f},"
            f" median |z| {np.median(np.abs(z)):.2f} (0.67)"
        )

    line("all", rows)
    for group in GROUPS:
        line(group, [r for r in rows if group in r[1]])
    for name in sorted({r[2] for r in rows}):
        line(name, [r for r in rows if r[2] == name])
    most = chi2.ppf(0.95, 6)
    for group in ("all", *GROUPS):
        chosen = [p for p in poses if not p[3] and (group == "all" or group in p[1])]
        if chosen:
            share, spread = _share([(p[0], 6 * p[2] < most) for p in chosen])
            lines.append(
                f"poses, {group:17s} {100 * share:5.1f} % +- {100 * spread:.1f} of {len(chosen):5d} inside"
                f" their 95 %"
                f" ellipsoid, median chi2/6 {np.median([p[2] for p in chosen]):.2f} (0.89)"
            )
    return lines


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--width", type=int, default=2016)
    parser.add_argument("--compare", action="store_true", help="pairs: changes between two states")
    parser.add_argument("--omit", action="store_true", help="half of what could be told is left out")
    parser.add_argument("--null", action="store_true", help="pairs: the same state photographed twice")
    parser.add_argument("--far", type=float, default=1.0, help="times the usual distance")
    parser.add_argument("--noise", type=float, nargs=2, default=NOISES, help="of full scale at white, limits")
    parser.add_argument("--noisy-phone", action="store_true", help="a phone that denoises and moves its focus, each time")
    arguments = parser.parse_args()
    if arguments.omit:
        from tests.figures import told_half

        print("\n".join(told_half.summary(told_half.run(arguments.scenes, arguments.seed))))
        return
    if arguments.compare or arguments.null:
        from tests.coverage_compare import pair_summary, run_pairs

        rows, found = run_pairs(arguments.scenes, arguments.seed, arguments.null, print, arguments.width)
        for text in summary(rows, []) + pair_summary(rows, found):
            print(text)
        return
    chosen = Setting(4, True, True, True) if arguments.noisy_phone else None
    for text in summary(*run(arguments.scenes, arguments.seed, arguments.width, print, arguments.far, arguments.noise,
                             chosen)):
        print(text)


if __name__ == "__main__":
    main()
