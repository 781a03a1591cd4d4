"""Do intervals hold with phones as they are, with a learnt lens and without?

    python -m tests.phones.coverage --scenes 100 --seed 5

Poses of markers against the card, angles between marker normals and of lines between markers, by number of
photos; sightings that were left out, and what was said.  Sightings are projected (`sightings`), not rendered.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import replace

import numpy as np
from scipy.stats import chi2

from calib.poses import vector_from_rotation
from photoangle.carfile.car import PrintCheck
from photoangle.core.findings import ATTENTION, Refusal
from photoangle.core.origin import Origin
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.solve import SceneOptions, solve_scene
from tests.phones.sightings import phone, photographed, profile_of
from tests.scenes import KIT

EXACT = PrintCheck(200.0, 150.0, 0.01)
_LENS = {False: "no lens", True: "lens", "job": "job"}
_LINES = ((100, 101), (103, 105), (101, 102), (108, 109), (110, 111))
_NORMALS = ((100, 105), (101, 109), (106, 107))


def run(scenes, seed, photos=(1, 2, 3, 8), profiles=(False, True), curl_mm=0.0, far=1.0):
    """group (photos, lens) -> dict of what -> list.  what: "pose" (chi2 of 6), "line", "normal" (error over
    u), "left out", "said", "line deg" (error) and "line u".  profiles: False, True, or "job" for a lens that
    two other states' photos, four each, have shown."""
    out = defaultdict(lambda: defaultdict(list))
    for k in range(scenes):
        for count in photos:
            for known in profiles:
                rng = np.random.default_rng([seed, k, count])
                used = phone(rng)
                own = [profile_of(used, rng)] if known is True else []
                sightings, tags, card = photographed(rng, used, count, curl_mm, far)
                shown = shown_by_others(rng, used, curl_mm, far) if known == "job" else ()
                _one(out[count, _LENS[known]], sightings, tags, card, own, used, shown)
    return out


def shown_by_others(rng, used, curl_mm=0.0, far=1.0, states=2, photos=4):
    """LensShown of other states' photos by the same phone."""
    out = []
    for k in range(states):
        sightings, _, _ = photographed(rng, used, photos, curl_mm, far)
        knowledge, _ = lens_knowledge(used.identity, [], sightings, KIT, EXACT, "")
        scene = solve_scene(sightings, KIT, knowledge, "", options=SceneOptions(origin=Origin(f"state {k}")))
        if not isinstance(scene, Refusal) and scene.lens_shown is not None:
            out.append(replace(scene.lens_shown, photos=tuple(f"{k}-{i}" for i in range(photos))))
    return out


def _one(rows, sightings, tags, card, profiles, used, shown=()):
    knowledge, _ = lens_knowledge(used.identity, profiles, sightings, KIT, EXACT, "", shown)
    scene = solve_scene(sightings, KIT, knowledge, "")
    if isinstance(scene, Refusal):
        rows["refused"].append(1)
        return
    rows["left out"].append(len(scene.left_out))
    rows["said"].append(sum(f.level == ATTENTION and "two tilts" not in f.what for f in scene.findings))
    back = card.inverse()
    for marker, pose in scene.markers.items():
        true = back @ tags[marker]
        v = np.r_[vector_from_rotation(pose.rotation @ true.rotation.T), pose.translation_mm - true.translation_mm]
        at = scene.rows_of(marker)
        rows["pose"].append(float(v @ np.linalg.solve(scene.covariance[np.ix_(at, at)], v)))
    for what, pairs in (("line", _LINES), ("normal", _NORMALS)):
        for a, b in pairs:
            if a in scene.markers and b in scene.markers:
                error, u = _apart(scene, tags, back, a, b, what)
                rows[what].append(error / u)
                rows[f"{what} deg"].append(np.degrees(error))
                rows[f"{what} u"].append(np.degrees(u))


def _apart(scene, tags, back, a, b, what):
    """Error (rad) of a line's or an angle's, against the card's own x, and its u."""
    def angle(pose_a, pose_b):
        if what == "line":
            line = pose_b[1] - pose_a[1]
            return np.arcsin(line[1] / np.linalg.norm(line))
        return np.arccos(np.clip(pose_a[0][:, 2] @ pose_b[0][:, 2], -1, 1))

    def of(pose):
        return pose.rotation, pose.translation_mm

    from calib.poses import rotation_from_vector

    here = [of(scene.markers[i]) for i in (a, b)]
    rows = np.r_[scene.rows_of(a), scene.rows_of(b)]
    slope = np.zeros(12)
    for j in range(12):
        step = np.zeros(12)
        step[j] = 1e-5 if j % 6 < 3 else 1e-3
        ends = []
        for sign in (1, -1):
            moved = [(rotation_from_vector(sign * step[6 * i:6 * i + 3]) @ r, t + sign * step[6 * i + 3:6 * i + 6])
                     for i, (r, t) in enumerate(here)]
            ends.append(angle(*moved))
        slope[j] = (ends[0] - ends[1]) / 2 / step.sum()
    u = np.sqrt(slope @ scene.covariance[np.ix_(rows, rows)] @ slope)
    return angle(*here) - angle(*(of(back @ tags[i]) for i in (a, b))), u


def table(out):
    """Lines of the shares that hold, group by group."""
    lines = [f"{'':18s} poses   lines  u/RMS  RMS deg   normals  u/RMS    left out   said"]
    for (count, lens), rows in sorted(out.items(), key=lambda p: (p[0][1], p[0][0])):
        pose = np.mean(np.array(rows["pose"]) <= chi2.ppf(0.95, 6))
        parts = []
        for what in ("line", "normal"):
            z = np.array(rows[what])
            parts.append(f"{100 * np.mean(np.abs(z) <= 1.96):6.1f} {1 / np.sqrt(np.mean(np.clip(z, -9, 9)**2)):6.2f}"
                         + (f"  {np.sqrt(np.mean(np.square(rows['line deg']))):7.4f} " if what == "line" else ""))
        lines.append(f"{count} photos, {lens:8s} {100 * pose:5.1f}  {parts[0]}  {parts[1]}"
                     f"   {np.mean(rows['left out']):6.2f}   {np.mean(rows['said']):5.2f}")
    return lines


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=40)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--curl", type=float, default=0.0, help="mm that paper is off flat, RMS")
    parser.add_argument("--far", type=float, default=1.0, help="times the usual distance")
    parser.add_argument("--lens", nargs="+", choices=list(_LENS.values()), default=["no lens", "lens"])
    parser.add_argument("--photos", nargs="+", type=int, default=[1, 2, 3, 8])
    given = parser.parse_args()
    lenses = [k for k, name in _LENS.items() if name in given.lens]
    print("\n".join(table(run(given.scenes, given.seed, given.photos, lenses, given.curl, given.far))))


if __name__ == "__main__":
    main()
