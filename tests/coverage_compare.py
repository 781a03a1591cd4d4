"""Pairs of random scenes: are the intervals of changes true, and is no change called no change?

Each pair is an invented corner photographed twice, by the same phone with one lens profile or none: once
hanging, once jacked (bar and control arm turned, the car pitched, card and plumb strip put up anew), or, for
the null, twice as it stood.  Every joint lies a stand-off behind its marker, missed by a sticking error that
both share unless the marker was stuck anew in between.
"""

from __future__ import annotations

from collections import Counter

import numpy as np

from calib.images.photo import Photo
from calib.poses import Pose, rotation_from_vector
from photoangle.carfile.car import CarFile, Level
from photoangle.carfile.corner import CornerNotes
from photoangle.carfile.lengths import Reading
from photoangle.carfile.print_check import print_scale
from photoangle.comparison.compare import DOUBTFUL, NONE, REAL, Side, compare_sides
from photoangle.core.findings import Refusal
from photoangle.core.origin import Origin
from photoangle.core.outcome import Report
from photoangle.detection.detect_photo import detect_photo
from photoangle.figures.measure import measured
from photoangle.geometry.datums import gravity
from photoangle.geometry.joints import joint_points
from photoangle.geometry.states import StateResult, tie_states
from photoangle.reconstruction.guided_search import search_again
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.solve import SceneOptions, solve_scene
from tests.coverage import CHECK, Setting, _moved, corner, phone, settings, true_figures
from tests.scenes import KIT, Camera, card_flat, facing, look_at, shoot, tag_flat

STANDOFF_MM, STUCK_MM = 20.0, 1.0
_BODY = {i: KIT.slot(i).role.body for i in (*range(100, 120),)}
_JOINTS = (100, 101, 102, 103, 104, 105, 106, 107, 108, 109)


def joints_of(tags, offsets):
    """Marker id -> Pose at the true joint (turned as the marker)."""
    return {i: Pose(p.rotation, p.translation_mm + p.rotation @ offsets[i]) if i in offsets else p
            for i, p in tags.items()}


def _offset(rng):
    # a rule is read at both ends: the difference of two readings, each within half a millimetre
    return np.r_[rng.uniform(-STUCK_MM, STUCK_MM, 2), STANDOFF_MM + rng.uniform(-0.5, 0.5, 2).sum()]


def _strip(tags, rng):
    """The plumb strip hung anew, the card put up anew."""
    spin = facing([rng.normal(0, 0.2), -1, 0.0])
    top = np.array([230.0, -30, 560]) + rng.normal(0, 20, 3)
    hang = rotation_from_vector(rng.normal(0, np.radians(0.05), 3) * [1, 1, 0])
    tags[110], tags[111] = Pose(hang @ spin, top), Pose(hang @ spin, top + hang @ [0, 0, -200.0])
    card = Pose(facing([rng.normal(0, 0.3), -1, rng.uniform(-0.2, 0.5)], rng.normal(0, 0.1)),
                np.array([-250.0, -80, 200]) + rng.normal(0, 30, 3))
    return card


def make_pair(setting, seed, null, width=2016):
    """Two sets of photos with truth: [(photos, tags, joints), ...], profiles, whether the eye's marker was
    stuck anew."""
    rng = np.random.default_rng([seed, 11])
    lens, identity, profiles = phone(setting, rng, width)
    tags, card = corner(rng)

    def extra(i, x, y, z):
        normal = np.array([rng.normal(0, 0.3), -1, rng.normal(0, 0.3)])
        tags[i] = Pose(facing(normal, rng.uniform(-0.5, 0.5)), np.array([x, y, z]) + rng.normal(0, 8, 3))

    extra(115, 50, 130, 430)
    extra(117, 30, 90, 120)
    extra(119, 200, 190, 180)
    offsets = {i: _offset(rng) for i in _JOINTS}
    size = 1 + rng.normal(0, CHECK.u_mm / 150.0)
    later, restuck, new_offsets = dict(tags), False, dict(offsets)
    if not null:
        restuck = rng.random() < 0.3
        if restuck:  # another place on the bar's arm, and another sticking error: the joint stays
            at = joints_of(tags, offsets)[101].translation_mm
            new_offsets[101] = _offset(rng)
            turn = tags[101].rotation @ rotation_from_vector(rng.normal(0, 0.05, 3))
            later[101] = Pose(turn, at - turn @ new_offsets[101])
        later = _jacked(later, offsets, rng)
    new_card = _strip(later, rng)
    sides = []
    for these, those, put in ((tags, offsets, card), (later, new_offsets, new_card)):
        photos = _photos(setting, these, put, lens, size, identity, width, rng)
        sides.append((photos, these, joints_of(these, those)))
    return sides, profiles, restuck


def _jacked(tags, offsets, rng):
    """The wheel pushed up: bar, arm, link and knuckle moved, and the whole car pitched."""
    joints = joints_of(tags, offsets)
    pivot = (joints[103].translation_mm + joints[104].translation_mm) / 2
    turn = {"bar": (joints[100].translation_mm, rotation_from_vector([0, rng.uniform(-0.2, 0.2), 0.0])),
            "arm": (pivot, rotation_from_vector([rng.uniform(-0.15, 0.15), 0, 0.0]))}
    knuckle = np.array([0, 0, rng.uniform(-60, 60)])
    pitch = rotation_from_vector(np.radians(rng.normal(0, 1.0, 3)) * [1, 1, 0.2])
    out = {}
    for i, pose in tags.items():
        if _BODY[i] in turn:
            centre, by = turn[_BODY[i]]
            pose = Pose(by @ pose.rotation, centre + by @ (pose.translation_mm - centre))
        elif _BODY[i] == "knuckle":
            pose = Pose(pose.rotation, pose.translation_mm + knuckle)
        out[i] = Pose(pitch @ pose.rotation, pitch @ pose.translation_mm)
    return out


def _photos(setting, tags, card, lens, size, identity, width, rng):
    photos = []
    for k in range(setting.photos):
        angle = rng.uniform(-0.6, 0.6) if setting.photos < 3 else np.linspace(-0.6, 0.6, setting.photos)[k]
        target = np.array([-120 + rng.uniform(-60, 60), 60, 360 + rng.uniform(-40, 40)])
        position = target + rng.uniform(950, 1250) * np.array(
            [np.sin(angle), -np.cos(angle), rng.uniform(-0.25, 0.35)])
        camera = look_at(position, target, rng.normal(0, 0.06))
        flats = [card_flat(card, size=size)] + [tag_flat(i, 30.0 * size, p) for i, p in tags.items()]
        style = Camera("phone" if setting.phone else "srgb",
                       rng.uniform(0.5, 0.9),
                       noise=rng.uniform(0.004, 0.012),
                       light_tilt=rng.uniform(-0.3, 0.3),
                       jpeg=93)
        grey = shoot(flats, camera, _moved(rng, lens, width, setting.moving), width, width * 3 // 4, style,
                     rng, 4)
        photos.append(Photo(f"p{k}", grey, 1, identity, ""))
    return photos


NOTES = CornerNotes(stuck_within_mm=STUCK_MM, standoff={
    KIT.slot(i).role.key: Reading(STANDOFF_MM, 0.5 * np.sqrt(2 / 3)) for i in _JOINTS})


def solved_state(photos, profiles, state):
    """StateResult of one set of photos, or None."""
    lens = profiles[0].lens if profiles else None
    sightings = [detect_photo(p, KIT, lens, p.path)[0] for p in photos]
    knowledge, _ = lens_knowledge(photos[0].camera, profiles, sightings, KIT, CHECK, "")
    grey = {p.path: p.grey for p in photos}
    scene = solve_scene(sightings, KIT, knowledge, "",
                        lambda s, used: search_again(s, used, KIT, grey.__getitem__),
                        SceneOptions(origin=Origin(state, "car front-left", "car", ("car", str(CHECK)))))
    if isinstance(scene, Refusal):
        return None
    scale, scale_u, _, _ = print_scale(CHECK)
    points, _ = joint_points(scene, KIT, NOTES, Level(), scale, scale_u)
    up, _ = gravity(points, scene, Level())
    return StateResult("front-left", state, None, scene, points, up, sightings=sightings, notes=NOTES)


def compare_pair(pair, profiles):
    """Comparison of a pair, or None where one could not be measured."""
    results = [
        solved_state(photos, profiles, name)
        for (photos, *_), name in zip(pair, ("droop", "set"), strict=False)
    ]
    if None in results:
        return None
    tie_states(results, KIT, CarFile(), Report())
    for r in results:
        r.measured = measured(r)
    sides = [Side(r, r.state) for r in results]
    return compare_sides(*sides, KIT)


def run_pairs(count, seed=1, null=False, echo=None, width=2016):
    """Rows (pair, groups, figure, error, u, inside, apart_u, verdict, doubtful) of ``count`` pairs, and how
    often a marker stuck anew was found: (found, of)."""
    rows, found, of = [], 0, 0
    for number, setting in enumerate(settings(count, seed)):
        if null:
            setting = Setting(4, True, setting.moving, setting.phone)
        pair, profiles, restuck = make_pair(setting, 1000 * seed + number, null, width)
        comparison = compare_pair(pair, profiles)
        if comparison is None:
            if echo:
                echo(f"pair {number}: refused")
            continue
        of += restuck
        found += restuck and 101 in comparison.places.moved
        first, second = comparison.before.result, comparison.after.result
        truth = [
            true_figures(joints, r.points) for (_, _, joints), r in zip(pair, (first, second), strict=False)
        ]
        for c in comparison.changes:
            name = c.figure.name[7:]
            if name in truth[0] and name in truth[1]:
                real = truth[1][name] - truth[0][name]
                rows.append((number, tuple(setting.groups), name, c.figure.value - real, c.figure.u,
                             c.figure.low95 <= real <= c.figure.high95, c.apart_u, c.verdict,
                             c.why == DOUBTFUL))
        if echo and number % 10 == 9:
            echo(f"{number + 1} pairs")
    return rows, (found, of)


def pair_summary(rows, found):
    """Lines beyond those of `coverage.summary`: how much sharing narrows, verdicts, markers stuck anew."""
    narrower = np.median([r[4] / r[6] for r in rows])
    verdict = Counter(r[7] for r in rows)
    pairs = sorted({r[0] for r in rows})
    alarmed = sum(any(r[0] == p and r[7] == REAL for r in rows) for p in pairs)
    sure = [r for r in rows if not r[8]]
    return [
        f"without doubtful tilts: {100 * np.mean([r[5] for r in sure]):.1f} % of {len(sure)} inside, RMS z"
        f" {np.sqrt(np.mean([(r[3] / r[4]) ** 2 for r in sure])):.2f}",
        f"a change's u over the two in quadrature: median {narrower:.2f}, widest"
        f" {max(r[4] / r[6] for r in rows):.2f}",
        ", ".join(f"{name} {100 * n / len(rows):.1f} %" for name, n in verdict.most_common())
        + " of the figures",
        f"pairs with no figure called changed: {len(pairs) - alarmed} of {len(pairs)}; pairs with every"
        f" figure called"
        f" '{NONE}': {sum(all(r[7] == NONE for r in rows if r[0] == p) for p in pairs)}",
        f"eye markers stuck anew: {found[1]}, found {found[0]}",
    ]
