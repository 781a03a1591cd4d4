"""From markers to joints: points with their covariance, kept apart by where it comes from.

A marker's centre is not the joint's centre.  The joint lies at a place in the marker's frame: the
plate form's cross, a stand-off along the marker's normal, or an offset in three
dimensions, each with its own uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from calib.poses import hat
from photoangle.core.assumed import (
    EYE_RADIUS_MM,
    HOSE_RADIUS_MM,
    ON_STRING_MM,
    PRINT_SCALE_U,
    STANDOFF_MM,
    STRING_STANDOFF_MM,
    STUCK_WITHIN_MM,
    Assumed,
)
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.origin import Origin
from photoangle.core.roles import BAR_EYE, HOSES, HUB, JOINTS, ON_BODY, PLUMB, PLUMB_BOTTOM, PLUMB_TOP

ROOT3 = math.sqrt(3)
STRIP_MM = 200.0
# The budget's line for depths that nobody measured.
NOT_GIVEN = "stand-off not given"
_STRIP_TILT_DEG, _STRIP_TURN_DEG = 6.0, 1.5


@dataclass(frozen=True)
class Points:
    """Named points of one scene.

    names: n; estimate: of their 3 n coordinates, mm, in the scene's world frame, named "NAME x", "NAME y",
    "NAME z"; marker: name -> the marker it came from, None for a dot; unstated: points whose depth behind
    their marker was not given; strip: whether the plumb markers are the rigid strip; centre_mm (3,): about
    which the print's scale acts; origin: whose errors these are; places: marker -> key of its place, where
    another state shows that it was not moved since.
    """

    names: tuple
    estimate: Estimate
    marker: dict
    unstated: tuple = ()
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

    def without(self, gone):
        """The same without the named points."""
        names = tuple(n for n in self.names if n not in gone)
        return replace(self, names=names, estimate=self.estimate.pick(coordinates(names)),
                       marker={n: m for n, m in self.marker.items() if n not in gone},
                       unstated=tuple(n for n in self.unstated if n not in gone))

    def place(self, name):
        """The key of a point's place on its part: its marker's, or the dot's own."""
        marker = self.marker[name]
        return self.places.get(marker, self.origin.place(name if marker is None else marker))


def coordinates(names):
    """Names of the coordinates of named points."""
    return tuple(f"{name} {axis}" for name in names for axis in "xyz")


@dataclass(frozen=True)
class Placement:
    """Where a joint lies in its marker's frame: offset_mm (3,); in_plane_mm and along_mm: standard
    uncertainties in the marker's plane and along its normal; stated: whether the depth was given, or is a
    prior."""

    offset_mm: np.ndarray
    in_plane_mm: float
    along_mm: float
    stated: bool


def marker_offset(kit, marker_id, role, corner):
    """Where the joint that a marker stands for lies, and how well that is known.

    What was not given is an unknown, never a zero: a joint lies somewhere behind its marker (or its plate,
    along the stud), a hose's middle one radius behind its wrap.  Returns Placement.
    """
    slot = kit.slot(marker_id)
    offset = np.array([*slot.joint_xy_mm, 0.0])
    # a stud through the punched cross centres the plate better than an eye centres a square
    stuck = corner.stuck_within_mm / ROOT3 * (0.5 if slot.form == "plate" else 1.0)
    if role in corner.offset_mm:
        return Placement(np.array(corner.offset_mm[role], float), stuck, 0.5 * math.sqrt(2 / 3), True)
    depth = depth_behind(role, corner)
    offset[2] += depth.mm
    # of a marker that stands for no joint and marks no place of the body only its own place counts
    counts = role in ON_BODY or depth.u_mm > 0 or role in corner.standoff_mm
    return Placement(offset, stuck if counts else 0.0, depth.u_mm, depth.stated)


class Depth(NamedTuple):
    """How far a joint lies behind the face that stands for it, mm; its standard uncertainty; whether it was
    given, or is a prior."""

    mm: float
    u_mm: float
    stated: bool


def depth_behind(role, corner):
    """The Depth of a role's joint behind its marker's, or its bolt's, face."""
    if role in corner.standoff_mm:
        return Depth(corner.standoff_mm[role], corner.standoff_u_mm[role], True)
    if role in HOSES:
        radius = corner.radius_mm.get("hose")
        return Depth(radius, 0.5 / ROOT3, True) if radius else _anywhere(HOSE_RADIUS_MM)
    if role in (*JOINTS, HUB, *corner.stands_for):
        return _anywhere(STANDOFF_MM)
    # on the sill and the arch's lip the face itself marks the place
    return Depth(0.0, 0.0, True)


def _anywhere(between_mm):
    """A depth anywhere between two, with the same chance everywhere (rectangular)."""
    low, high = between_mm
    return Depth((low + high) / 2, (high - low) / 2 / ROOT3, False)


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
    own, unstated = [], []
    for k, name in enumerate(names):
        at = slice(3 * k, 3 * k + 3)
        pose = scene.markers[chosen[name]]
        if name in PLUMB:
            placed = (Placement(np.zeros(3), 0.0, 0.0, True) if strip else Placement(
                np.array([0, 0, level.plumb_standoff_mm]), ON_STRING_MM, STRING_STANDOFF_MM, True))
        else:
            placed = marker_offset(kit, chosen[name], name, corner)
        if not placed.stated:
            unstated.append(name)
        arm = pose.rotation @ placed.offset_mm
        positions[k] = scale * pose.translation_mm + arm
        # the print's scale stretches where the markers are, not what a rule said of their stand-offs
        by_scale[at, 0] = pose.translation_mm - centre
        rows = scene.rows_of(chosen[name])
        if len(rows):
            by_unknown[at, rows] = np.concatenate([-hat(arm), np.eye(3)], 1)
        own += [(at, source, way) for source, way in _placing(scene, chosen[name], name, placed, corner)]
    estimate = scene.errors.linear(by_unknown, coordinates(names), positions.ravel())
    if names:
        estimate = estimate.also(scale_source(scene.origin, scale_u), by_scale)
    for at, source, way in own:
        effect = np.zeros((3 * len(names), way.shape[1]))
        effect[at] = way
        estimate = estimate.also(source, effect)
    points = Points(names, estimate, {n: chosen[n]
                                      for n in names}, tuple(unstated), strip, centre, scene.origin)
    return points, _joint_findings(points, kit, corner)


def _chosen_markers(scene, kit, corner):
    """Role -> the marker that stands for it: plates before large ones before small ones."""
    chosen = {}
    for marker_id in scene.markers:
        role = kit.slot(marker_id).role
        if role.number is None and role.key not in corner.offset_mm:
            continue
        rank = {"plate": 0, "large": 1, "small": 2}.get(kit.slot(marker_id).form, 1)
        # the left-hand set comes first; one of ambiguous tilt last
        key = (marker_id in scene.ambiguous, scene.sightings.get(marker_id, 0) < 2, rank, marker_id)
        if role.key not in chosen or key < chosen[role.key][0]:
            chosen[role.key] = (key, marker_id)
    return {name: marker for name, (_, marker) in chosen.items()}


def scale_source(origin, scale_u):
    """The print's size against its nominal size, of which all that was printed with it partakes."""
    # no rule reads as badly as what is taken where none was laid on
    assumed = Assumed("PRINT_SCALE_U") if scale_u >= PRINT_SCALE_U else None
    return Source(("scale", origin.prints, scale_u), "print", np.array([[scale_u**2]]), assumed=assumed)


def _placing(scene, marker, name, placed, corner):
    """What is not known of a marker's place against its joint: (Source, its directions (3, k) in the world)
    each."""
    rotation = scene.markers[marker].rotation
    plumb = name in PLUMB
    # a marker on a string may turn about it between photos: its error is the state's own
    place = ("plumb", scene.origin.state, name) if plumb else scene.origin.place(marker)
    depth = "stand-off" if placed.stated else NOT_GIVEN
    for kind, sigma, way in (("sticking", placed.in_plane_mm, rotation[:, :2]),
                             (depth, placed.along_mm, rotation[:, 2:])):
        if sigma > 0:
            yield place_source(kind, name, place, sigma, way.shape[1], corner), way


def place_source(kind, name, place, sigma_mm, size, corner):
    """The Source of what is not known of a joint's place against the face that stands for it.

    kind: "sticking", "stand-off" or NOT_GIVEN; name: the role; place: the key of the face's place; sigma_mm:
    standard uncertainty each way; size: in how many.
    """
    key = (kind, place, sigma_mm, corner.standoff_mm.get(name), corner.offset_mm.get(name))
    return Source(key, "level" if name in PLUMB else kind, np.eye(size) * sigma_mm**2,
                  assumed=_assumed(kind, name, corner))


def _assumed(kind, name, corner):
    """Which default stands for a part of a face's place against its joint: Assumed, or None."""
    if name in PLUMB:
        return Assumed("ON_STRING_MM" if kind == "sticking" else "STRING_STANDOFF_MM")
    if kind == "sticking":
        return Assumed("STUCK_WITHIN_MM") if corner.stuck_within_mm == STUCK_WITHIN_MM else None
    if kind != NOT_GIVEN:
        return None
    return Assumed("HOSE_RADIUS_MM" if name in HOSES else "STANDOFF_MM", name.replace("_", " "))


def _joint_findings(points, kit, corner):
    findings = []
    unstated = [n for n in points.unstated if n not in HOSES]
    if unstated:
        titles = ", ".join(kit.slot(points.marker[n]).role.title for n in unstated)
        low, high = STANDOFF_MM
        findings.append(
            Finding(
                ATTENTION, "",
                f"no stand-off is given for {titles}: each joint is taken to lie anywhere from {low:g} to"
                f" {high:g} mm behind its marker, and the plus-or-minus is that much wider",
                "measure from the marker's face straight back to the joint's middle and write it under"
                " [corner.standoff]"))
    if set(HOSES) & set(points.names) and not {"hose", BAR_EYE} <= set(corner.radius_mm):
        findings.append(
            Finding(
                NOTE, "",
                "not all radii are given: a hose is taken as {:g} to {:g} mm, the bar's end as {:g} to {:g}"
                " mm"
                .format(*HOSE_RADIUS_MM,
                        *EYE_RADIUS_MM), 'write hose = "5 mm" and bar_eye = "14 mm" under [corner.radius]'))
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
