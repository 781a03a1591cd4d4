"""From markers to joints: points with their covariance, kept apart by where it comes from.

A marker's centre is not the joint's centre.  The joint lies at a place in the marker's frame: the
plate form's cross, a stand-off along the marker's normal, or an offset in three
dimensions, each with its own uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.poses import hat
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.reconstruction.scene import scene_sources

ROOT3 = math.sqrt(3)
# A plumb marker on a string: how far from the string's middle it was stuck, and its stand-off's error.
_ON_STRING_MM, _STRING_STANDOFF_MM = 0.3, 0.3
# Roles that mark a joint: without a stand-off the marker's centre stands for it, and that is said.
_JOINTS = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_pivot_rear", "arm_ball_joint")
STRIP_MM = 200.0
_STRIP_TILT_DEG, _STRIP_TURN_DEG = 6.0, 1.5


@dataclass(frozen=True)
class Points:
    """Named points of one scene.

    positions_mm (n, 3) in the scene's world frame; sources: name -> covariance (3 n, 3 n) mm^2, which add up;
    marker: name -> the marker it came from; bare: joints for which the marker's centre stands; by_unknown (3 n, size):
    derivatives by the scene's unknowns; placing: name -> (in-plane sigma, sigma along the normal), mm; both are None
    where the points are not markers; scale_u: of the print.
    """

    names: tuple
    positions_mm: np.ndarray
    sources: dict
    marker: dict
    bare: tuple = ()
    strip: bool = False
    by_unknown: np.ndarray | None = None
    placing: dict | None = None
    scale_u: float = 0.0

    def index(self, name):
        return self.names.index(name)

    def __contains__(self, name):
        return name in self.names

    def __getitem__(self, name):
        return self.positions_mm[self.index(name)]

    def covariance(self):
        """Sum over the sources, (3 n, 3 n) mm^2."""
        return sum(self.sources.values())


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
    names = tuple(sorted(chosen))
    count = len(names)
    positions = np.zeros((count, 3))
    by_unknown = np.zeros((3 * count, scene.solution.bundle.size))
    stuck, standoff, string = (np.zeros((3 * count, 3 * count)) for _ in range(3))
    bare, markers, placing = [], {}, {}
    is_strip = _is_strip(scene, kit, chosen)
    for k, name in enumerate(names):
        marker_id = chosen[name][1]
        pose = scene.markers[marker_id]
        markers[name] = marker_id
        at = slice(3 * k, 3 * k + 3)
        if name in ("plumb_top", "plumb_bottom"):
            offset, in_plane, along, given = (
                (np.zeros(3), 0.0, 0.0, True) if is_strip else
                (np.array([0, 0, level.plumb_standoff_mm]), _ON_STRING_MM, _STRING_STANDOFF_MM, True))
            target = string
            string_in_plane, string_along = in_plane, along
        else:
            offset, in_plane, along, given = marker_offset(kit, marker_id, name, corner)
            target = None
        if name in _JOINTS and not given:
            bare.append(name)
        placing[name] = (in_plane, along)
        arm = pose.rotation @ offset
        positions[k] = scale * pose.translation_mm + arm
        body = scene.order.index(marker_id)
        if body > 0:
            where = scene.solution.bundle.body_slice_of(body)
            by_unknown[at, where] = np.concatenate([-hat(arm), np.eye(3)], 1)
        flat, normal = pose.rotation[:, :2], pose.rotation[:, 2:]
        if target is string:
            string[at, at] = (flat @ flat.T * string_in_plane**2 + normal @ normal.T * string_along**2)
        else:
            stuck[at, at] = flat @ flat.T * in_plane**2
            standoff[at, at] = normal @ normal.T * along**2
    sources = {name: by_unknown @ part @ by_unknown.T
               for name, part in scene_sources(scene).items()} if count else {}
    if count:
        sources |= {"sticking": stuck, "stand-off": standoff, "plumb": string}
        spread = (positions - positions.mean(0)).reshape(-1, 1)
        sources["print"] = sources["print"] + scale_u**2 * (spread @ spread.T)
    findings = []
    if bare:
        titles = ", ".join(kit.slot(markers[n]).role.title for n in bare)
        findings.append(Finding(
            ATTENTION, "", f"no stand-off is given for {titles}: the marker's centre stands for the joint",
            "measure from the marker's face back to the joint's middle and write it under"
            " [corner.standoff], or use the plate form"))
    if any(n.startswith("hose") for n in names) and not corner.radius_mm.get("hose"):
        findings.append(Finding(
            NOTE, "", "the hose's radius is not given: gaps are from the joint's middle to the face of the hose marker",
            "write hose = \"5 mm\" and bar_eye = \"14 mm\" under [corner.radius]"))
    return Points(names, positions, sources, markers, tuple(bare), is_strip, by_unknown, placing,
                  scale_u), findings


def _is_strip(scene, kit, chosen):
    """Whether the two plumb markers are the rigid printed strip: flat, in line, 200 mm apart."""
    if "plumb_top" not in chosen or "plumb_bottom" not in chosen:
        return False
    top, bottom = (scene.markers[chosen[k][1]] for k in ("plumb_top", "plumb_bottom"))
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
