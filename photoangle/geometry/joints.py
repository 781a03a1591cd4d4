"""From markers to joints: points with their covariance, kept apart by where it comes from.

A marker's centre is not the joint's centre.  The joint lies at a place in the marker's frame: the
plate form's cross, a stand-off along the marker's normal, or an offset in three
dimensions, each with its own uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from calib.poses import hat
from photoangle.core.assumed import ON_STRING_MM, STRING_STANDOFF_MM
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.origin import Origin
from photoangle.core.roles import JOINTS, PLUMB, PLUMB_BOTTOM, PLUMB_TOP

ROOT3 = math.sqrt(3)
STRIP_MM = 200.0
_STRIP_TILT_DEG, _STRIP_TURN_DEG = 6.0, 1.5


@dataclass(frozen=True)
class Points:
    """Named points of one scene.

    names: n; estimate: of their 3 n coordinates, mm, in the scene's world frame, named "NAME x", "NAME y",
    "NAME z"; marker: name -> the marker it came from, None for a dot; bare: joints for which the marker's
    centre stands; strip: whether the plumb markers are the rigid strip; centre_mm (3,): about which the
    print's scale acts; origin: whose errors these are; places: marker -> key of its place, where another
    state shows that it was not moved since.
    """

    names: tuple
    estimate: Estimate
    marker: dict
    bare: tuple = ()
    strip: bool = False
    centre_mm: np.ndarray = field(default_factory=lambda: np.zeros(3))
    origin: Origin = Origin()
    places: dict = field(default_factory=dict)

    @property
    def positions_mm(self) -> np.ndarray:
        """(n, 3)."""
        return self.estimate.values.reshape(-1, 3)

    def index(self, name):
        return self.names.index(name)

    def __contains__(self, name):
        return name in self.names

    def __getitem__(self, name):
        return self.positions_mm[self.index(name)]

    def place(self, name):
        """The key of a point's place on its part: its marker's, or the dot's own."""
        marker = self.marker[name]
        return self.places.get(marker, self.origin.place(name if marker is None else marker))


def coordinates(names):
    """Names of the coordinates of named points."""
    return tuple(f"{name} {axis}" for name in names for axis in "xyz")


def marker_offset(kit, marker_id, role, corner):
    """Where the joint lies in a marker's frame, and how well that is known.

    Returns (offset (3,) mm, in-plane sigma mm, normal sigma mm, given: whether anything was given).
    """
    slot = kit.slot(marker_id)
    x, y = slot.joint_xy_mm
    offset = np.array([x, y, 0.0])
    # a stud through the punched cross centres the plate better than an eye centres a square
    stuck = corner.stuck_within_mm / ROOT3 * (0.5 if slot.form == "plate" else 1.0)
    given = slot.form == "plate" or (x, y) != (0, 0)
    along = 0.0
    if role in corner.offset_mm:
        offset = np.array(corner.offset_mm[role], float)
        along, given = 0.5 * math.sqrt(2 / 3), True
    elif role.startswith("hose") and role not in corner.standoff_mm and corner.radius_mm.get("hose"):
        # a wrap lies on the hose: its middle is one radius below the print
        offset[2], along, given = corner.radius_mm["hose"], 0.5 / ROOT3, True
    elif role in corner.standoff_mm:
        offset[2] = corner.standoff_mm[role]
        along, given = corner.standoff_u_mm[role], True
    return offset, stuck if given else 0.0, along, given


def joint_points(scene, kit, corner, level, scale=1.0, scale_u=0.0):
    """The points of a scene's roles.

    Parameters: scene; kit; corner: carfile's Corner; level: carfile's Level; scale: true size of
    the print over its nominal size, and scale_u, its standard uncertainty.
    Returns (Points, findings).
    """
    chosen = _chosen_markers(scene, kit, corner)
    names = tuple(sorted(chosen))
    strip = _is_strip(scene, kit, chosen)
    centre = np.mean([scene.markers[i].translation_mm
                      for i in chosen.values()], axis=0) if names else np.zeros(3)
    positions = np.zeros((len(names), 3))
    by_unknown = np.zeros((3 * len(names), scene.solution.bundle.size))
    by_scale = np.zeros((3 * len(names), 1))
    own, bare = [], []
    for k, name in enumerate(names):
        at = slice(3 * k, 3 * k + 3)
        pose = scene.markers[chosen[name]]
        if name in PLUMB:
            offset, sigmas, given = (np.zeros(3), (0.0, 0.0), True) if strip else (
                np.array([0, 0, level.plumb_standoff_mm]), (ON_STRING_MM, STRING_STANDOFF_MM), True)
        else:
            offset, *sigmas, given = marker_offset(kit, chosen[name], name, corner)
        if name in JOINTS and not given:
            bare.append(name)
        arm = pose.rotation @ offset
        positions[k] = scale * pose.translation_mm + arm
        # the print's scale stretches where the markers are, not what a rule said of their stand-offs
        by_scale[at, 0] = pose.translation_mm - centre
        rows = scene.rows_of(chosen[name])
        if len(rows):
            by_unknown[at, rows] = np.concatenate([-hat(arm), np.eye(3)], 1)
        own += [(at, source, way) for source, way in _placing(scene, chosen[name], name, sigmas, corner)]
    estimate = scene.errors.linear(by_unknown, coordinates(names), positions.ravel())
    if names:
        estimate = estimate.also(scale_source(scene.origin, scale_u), by_scale)
    for at, source, way in own:
        effect = np.zeros((3 * len(names), way.shape[1]))
        effect[at] = way
        estimate = estimate.also(source, effect)
    points = Points(names, estimate, {n: chosen[n] for n in names}, tuple(bare), strip, centre, scene.origin)
    return points, _joint_findings(points, kit, corner)


def _chosen_markers(scene, kit, corner):
    """Role -> the marker that stands for it: plates before large ones before small ones."""
    chosen = {}
    for marker_id in scene.markers:
        role = kit.slot(marker_id).role
        if role.number is None and role.key not in corner.offset_mm:
            continue
        rank = {"plate": 0, "large": 1, "small": 2}.get(kit.slot(marker_id).form, 1)
        # the left-hand set comes first; a loose marker last
        key = (marker_id in scene.loose, scene.sightings.get(marker_id, 0) < 2, rank, marker_id)
        if role.key not in chosen or key < chosen[role.key][0]:
            chosen[role.key] = (key, marker_id)
    return {name: marker for name, (_, marker) in chosen.items()}


def scale_source(origin, scale_u):
    """The print's size against its nominal size, of which all that was printed with it partakes."""
    return Source(("scale", origin.prints, scale_u), "print", np.array([[scale_u**2]]))


def _placing(scene, marker, name, sigmas, corner):
    """What is not known of a marker's place against its joint: (Source, its directions (3, k) in the world)
    each."""
    in_plane, along = sigmas
    rotation = scene.markers[marker].rotation
    plumb = name in PLUMB
    # a marker on a string may turn about it between photos: its error is the state's own
    place = ("plumb", scene.origin.state, name) if plumb else scene.origin.place(marker)
    for kind, sigma, way in (("sticking", in_plane, rotation[:, :2]), ("stand-off", along, rotation[:, 2:])):
        if sigma > 0:
            key = (kind, place, sigma, corner.standoff_mm.get(name), corner.offset_mm.get(name))
            yield Source(key, "level" if plumb else kind, np.eye(way.shape[1]) * sigma**2), way


def _joint_findings(points, kit, corner):
    findings = []
    if points.bare:
        titles = ", ".join(kit.slot(points.marker[n]).role.title for n in points.bare)
        findings.append(Finding(
            ATTENTION, "", f"no stand-off is given for {titles}: the marker's centre stands for the joint",
            "measure from the marker's face back to the joint's middle and write it under"
            " [corner.standoff], or use the plate form"))
    if any(n.startswith("hose") for n in points.names) and not corner.radius_mm.get("hose"):
        findings.append(
            Finding(
                NOTE,
                "",
                "the hose's radius is not given: gaps are from the joint's middle to the face of the hose"
                " marker",
                'write hose = "5 mm" and bar_eye = "14 mm" under [corner.radius]',
            )
        )
    return findings


def _is_strip(scene, kit, chosen):
    """Whether the two plumb markers are the rigid printed strip: flat, in line, 200 mm apart."""
    if PLUMB_TOP not in chosen or PLUMB_BOTTOM not in chosen:
        return False
    top, bottom = (scene.markers[chosen[k]] for k in PLUMB)
    between = bottom.translation_mm - top.translation_mm
    length = np.linalg.norm(between)
    normal, down = top.rotation[:, 2], top.rotation[:, 1]
    # a marker's turn in its own plane is sure, its tilt, of a strip that swings seen in one photo, is not
    out_of_plane = normal @ between
    flat = between - out_of_plane * normal
    return bool(abs(length - STRIP_MM) < 0.01 * STRIP_MM
                and normal @ bottom.rotation[:, 2] > np.cos(np.radians(_STRIP_TILT_DEG))
                and abs(out_of_plane) < length * np.sin(np.radians(_STRIP_TILT_DEG))
                and down @ flat > np.linalg.norm(flat) * np.cos(np.radians(_STRIP_TURN_DEG)))
