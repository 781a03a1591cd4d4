"""What was pointed at on a part: from lines of sight to the joint behind the face, with its errors by source.

Every other photo is matched with the one that was pointed at, so that a slip of the finger moves all of them
alike: the place slides in its face by where the line of sight meets it.  From the face the joint lies along
the axis of its bolt.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.differences import jacobian
from photoangle.core.assumed import BOLT_PLAY_MM, JOINT_AXIS_DEG, Assumed
from photoangle.core.estimate import Source
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.roles import HUB, JOINTS, ON_BODY, ROLE_BY_KEY
from photoangle.detection.pointing.align import tangents
from photoangle.detection.pointing.point import sightings
from photoangle.detection.pointing.refine import BOLT, HOLE, STUD
from photoangle.detection.pointing.search import PLAIN, SEVERAL
from photoangle.geometry.datums import flat_axes
from photoangle.geometry.joints import NOT_GIVEN, ROOT3, coordinates, depth_behind, place_source, scale_source
from photoangle.geometry.lines_of_sight import met, ray

TAP, MATCH, AXIS = "tap", "photos matched", "bolt's axis"
# Faces that lie square to their joint's axis.
_SQUARE = (BOLT, STUD, HOLE)
# A face whose slope and the car's build are so many standard uncertainties apart is no bolt's of that joint.
_MOST_APART = 3.5
_ONE_MORE = "point at it in one more photo, taken from another side"


@dataclass(frozen=True, eq=False)
class PointedPlace:
    """What came of one place that was pointed at.

    role; what; first: name of the photo it was pointed at in; sigma_px: of the place meant; outline:
    whether one showed it; found: names of the photos that it rests on; unseen: names of those where
    it was not found; u_mm (3,): standard uncertainty of the face's place across, up and along the first
    photo's sight.
    """

    role: str
    what: str
    first: str
    sigma_px: float
    outline: bool
    found: tuple
    unseen: tuple
    u_mm: tuple


def with_pointed(points, scene, views, pointed, corner, up=None, scale=(1.0, 0.0), where=""):
    """The points of a scene with those that were pointed at.

    Parameters: points: joints.Points; scene; views: detection's View for each of the scene's photos; pointed:
    role key -> Tap each; corner: carfile's CornerNotes; up: datums.Direction or None; scale: true size of the
    print over its nominal size, and its standard uncertainty; where: for messages.
    Returns (Points, findings, PointedPlace each).
    """
    findings, places = [], []
    # the sill first: it tells which way the others' bolts lie
    for roles in (ON_BODY, set(pointed) - set(ON_BODY)):
        axes = flat_axes(points, up) if up is not None else None
        lateral = None if axes is None else axes.axes[:, 1]
        mine = {role: taps for role, taps in sorted(pointed.items()) if role in roles}
        new, told, found = _placed(points, scene, views, mine, corner, lateral, where)
        points = _joined(points, new, scale, scene) if new else points
        findings += told
        places += found
    return points, findings, tuple(places)


def _placed(points, scene, views, pointed, corner, lateral, where):
    """(role -> _Joint, findings, PointedPlace each) of what was pointed at."""
    new, findings, places = {}, [], []
    for role, taps in pointed.items():
        title = f"what was pointed at for {ROLE_BY_KEY[role].title}"
        if role in points:
            findings.append(Finding(NOTE, where, f"{title} was left out: a marker stands for it",
                                    "dismiss the marker in all photos to have it count"))
            continue
        depths, normals = _around(scene, views)
        shown = sightings(views, taps, depths, normals)
        findings += _told(shown, scene, title, where)
        if len(shown.seen) < 2:
            continue
        place, told = met(scene, shown.seen, title, where)
        findings += told
        if place is None:
            continue
        made, told = _behind(scene, shown, place, role, taps[0].what, corner, lateral, where)
        findings += told
        new[role] = made
        places.append(_place_of(scene, shown, place, role, taps[0].what, made.across_face))
    return new, findings, places


def _around(scene, views):
    """Where to look along a line of sight: (nearest, farthest) mm, and normals that faces may have, from the
    markers."""
    at = np.array([p.translation_mm for p in scene.markers.values()] or [np.zeros(3)])
    depth = np.concatenate([v.camera.apply(at)[:, 2] for v in views])
    depth = depth[depth > 0]
    facing = -np.mean([p.rotation[:, 2] for p in scene.markers.values()] or [np.array([0, 0, 1.0])], axis=0)
    size = np.linalg.norm(facing)
    return (0.65 * depth.min(), 1.45 * depth.max()), [facing / size] if size > 0.3 else []


def _told(shown, scene, title, where):
    names, first = scene.photos, scene.photos[shown.tapped]
    if shown.why == SEVERAL:
        both = " or ".join("; ".join(f"{names[k].rpartition('/')[2]} at {at[0]:.0f},{at[1]:.0f}"
                                     for k, at in sorted(r.items())) for r in shown.rivals)
        return [Finding(ATTENTION, where, f"{title} fits two places, and was not guessed: {both}", _ONE_MORE)]
    if not shown.seen:
        why = ("there is nothing about it to know it again by" if shown.why == PLAIN else
               "no other photo was found to show it")
        return [Finding(ATTENTION, first, f"{title} was left out: {why}, and one photo does not tell how far"
                        " away it is", _ONE_MORE)]
    return []


@dataclass(frozen=True, eq=False)
class _Joint:
    """face (3,); behind (3,), from it to the joint; by_unknown (3, size); own: (Source, effect
    (3, k)) each; across_face (3, 3): covariance of the face's place without the scene's part."""

    face: np.ndarray
    behind: np.ndarray
    by_unknown: np.ndarray
    own: tuple
    across_face: np.ndarray


def _behind(scene, shown, place, role, what, corner, lateral, where):
    """(_Joint behind a Met place, findings)."""
    state, findings, own = scene.origin.state, [], []
    own.append((Source(("pointed", state, role), MATCH, place.covariance), np.eye(3)))
    towards = ray(scene, shown.first, shown.pointed.at)[0] - place.place
    towards /= np.linalg.norm(towards)
    face = towards if shown.aligned is None else shown.aligned.normal
    if shown.along:
        slide = _slide(scene, shown, place.place, face)
        own.append((Source(("tap", state, role), TAP, np.eye(2) * shown.pointed.sigma_px**2), slide))
    seen = sum(e @ s.covariance @ e.T for s, e in own)
    if role in (*JOINTS, HUB):
        flat = np.eye(3) - np.outer(towards, towards)
        own.append((Source(("play", scene.origin.place(role)), "bolt's play",
                           np.eye(3) * (BOLT_PLAY_MM / ROOT3) ** 2, assumed=Assumed("BOLT_PLAY_MM")), flat))
    depth = depth_behind(role, corner)
    if role in ON_BODY or not (depth.mm or depth.u_mm):
        return _Joint(place.place, np.zeros(3), place.by_unknown, tuple(own), seen), findings
    axis, spread, assumed, told = _axis(shown, what, lateral, towards, where, role)
    findings += [*told, _depth_told(role, depth, where)]
    # the slope acts on a depth that is itself not known: its mean square
    arm = np.hypot(depth.mm, depth.u_mm)
    own.append((Source(("axis", scene.origin.place(role)), AXIS, spread, assumed=assumed),
                -arm * tangents(axis).T))
    own.append((place_source("stand-off" if depth.stated else NOT_GIVEN, role, scene.origin.place(role),
                             depth.u_mm, 1, corner), -axis[:, None]))
    return _Joint(place.place, -depth.mm * axis, place.by_unknown, tuple(own), seen), findings


def _depth_told(role, depth, where):
    """What is taken for how far the joint lies behind its face."""
    face = f"what was pointed at for {ROLE_BY_KEY[role].title}"
    if depth.stated:
        return Finding(NOTE, where, f"its stand-off, {depth.mm:g} mm, counts from {face}")
    low, high = (abs(round(depth.mm + sign * ROOT3 * depth.u_mm, 3)) for sign in (-1, 1))
    return Finding(NOTE, where, f"the joint is taken to lie anywhere from {low:g} to {high:g} mm behind"
                   f" {face}", "measure from that face straight back to the joint's middle and write it under"
                   " [corner.standoff]")


def _slide(scene, shown, place, face):
    """How the place slides in its face with the pixel that was pointed at, (3, 2) mm / px."""
    def at(pixel):
        origin, way = ray(scene, shown.first, pixel)
        return origin + way * (face @ (place - origin)) / (face @ way)

    return jacobian(at, shown.pointed.at, 0.5)


def _axis(shown, what, lateral, towards, where, role):
    """Which way a joint's bolt points, out of its face: (unit vector (3,), covariance (2, 2) rad^2 about its
    `tangents`, Assumed or None, findings)."""
    wide = np.eye(2) * np.radians(JOINT_AXIS_DEG) ** 2
    of = Assumed("JOINT_AXIS_DEG", role.replace("_", " "))
    own = shown.aligned if what in _SQUARE else None
    if lateral is not None:
        lateral = lateral * np.sign(lateral @ towards or 1.0)
    if own is None:
        # nobody knows which way the car points: the photos look across it, roughly
        return (lateral, wide, of, []) if lateral is not None else (towards, 4 * wide, of, [])
    turn = own.across @ tangents(own.normal).T
    slope = turn.T @ own.normal_covariance @ turn
    if lateral is None:
        return own.normal, slope, None, []
    way = tangents(own.normal)
    off = way @ (lateral - own.normal * (lateral @ own.normal))
    both = slope + wide
    if lateral @ own.normal < 0.3 or off @ np.linalg.solve(both, off) > _MOST_APART**2:
        return own.normal, slope, None, [Finding(
            NOTE, where, f"the face pointed at for {ROLE_BY_KEY[role].title} does not lie across the car: its"
            " own slope was used", "point at the bolt's or the stud's end of the joint itself")]
    gain = slope @ np.linalg.inv(both)
    axis = own.normal + (gain @ off) @ way
    return axis / np.linalg.norm(axis), slope - gain @ slope, None, []


def _place_of(scene, shown, place, role, what, seen):
    names, camera = scene.photos, scene.cameras[shown.first].rotation
    covariance = seen + place.by_unknown @ scene.covariance @ place.by_unknown.T
    u = np.sqrt((camera @ covariance @ camera.T).diagonal())
    return PointedPlace(role, what, names[shown.tapped], shown.pointed.sigma_px, shown.pointed.radius_px > 0,
                        tuple(names[k] for k in place.photos), tuple(names[k] for k in shown.unseen),
                        tuple(u.tolist()))


def _joined(points, new, scale, scene):
    """Points with new ones, in the order of their names."""
    names = tuple(sorted(new))
    faces, behind = (np.array([getattr(new[n], k) for n in names]) for k in ("face", "behind"))
    made = scene.errors.linear(np.concatenate([new[n].by_unknown for n in names]), coordinates(names),
                               (scale[0] * faces + behind).ravel())
    made = made.also(scale_source(scene.origin, scale[1]), (faces - points.centre_mm).reshape(-1, 1))
    for k, name in enumerate(names):
        for source, way in new[name].own:
            effect = np.zeros((3 * len(names), way.shape[1]))
            effect[3 * k:3 * k + 3] = way
            made = made.also(source, effect)
    every = tuple(sorted((*points.names, *names)))
    return replace(points, names=every, estimate=points.estimate.join(made).pick(coordinates(every)),
                   marker=points.marker | dict.fromkeys(names))
