"""The photos' states of one corner, given to the linkage as markers that moved: joints by motion."""

from __future__ import annotations

import numpy as np

from calib.poses import Pose, hat
from photoangle.core.roles import (
    BAR_BUSH,
    BAR_EYE,
    JOINTS,
    LINK_FOOT,
)
from photoangle.core.states import has_new_link, in_order
from photoangle.geometry.joints import marker_offset
from photoangle.geometry.registration import stacked_covariance
from photoangle.linkage.motion.observed import Hints, MotionState, PointOnMarker, TapedLength
from photoangle.linkage.motion.solve import solve_motion

_BODIES = ("chassis", "bar", "link", "arm", "knuckle")
_TAPED = {"bar_arm_length": (BAR_BUSH, BAR_EYE), "link_length": (LINK_FOOT, BAR_EYE)}


def motion_states(states, kit, axes):
    """MotionStates in one frame: the chassis axes (3, 3) of the reference scene, its world's origin.

    states: StateResults tied to the reference (tie None: the reference itself). The covariance holds the
    pixels' and the tie's part; the axes' own is for the caller to add, since all states share it.
    """
    out = []
    for result in states:
        scene, tie = result.scene, result.tie
        ids = [
            i for i in sorted(scene.markers) if kit.slot(i).role.body in _BODIES and i not in scene.ambiguous
        ]
        there = tie.pose if tie is not None else Pose.identity()
        spin = axes.T @ there.rotation
        turn = np.kron(np.eye(2 * len(ids)), spin)
        covariance = turn @ stacked_covariance(scene, ids) @ turn.T
        lever, markers = np.zeros((6 * len(ids), 6)), {}
        for k, i in enumerate(ids):
            pose = there @ scene.markers[i]
            markers[i] = Pose(axes.T @ pose.rotation, axes.T @ pose.translation_mm)
            at = slice(6 * k, 6 * k + 3), slice(6 * k + 3, 6 * k + 6)
            lever[at[0], :3] = lever[at[1], 3:] = axes.T
            # the tie's turn acts about the reference world's origin
            lever[at[1], :3] = -axes.T @ hat(there.rotation @ scene.markers[i].translation_mm)
        if tie is not None:
            covariance = covariance + lever @ tie.covariance @ lever.T
        out.append(MotionState(result.state, markers, (covariance + covariance.T) / 2))
    return out


def points_on_markers(states, kit, notes):
    """What plates, stand-offs and offsets say of the joints: PointOnMarkers."""
    out = []
    for state in states:
        for i in state.markers:
            role = kit.slot(i).role.key
            if role not in JOINTS:
                continue
            placed = marker_offset(kit, i, role, notes)
            sigma = (placed.in_plane_mm, placed.in_plane_mm, placed.along_mm)
            out.append(PointOnMarker(i, role, tuple(placed.offset_mm), sigma, state.name))
    return tuple(out)


def joints_by_motion(states, kit, notes, axes, where):
    """Joints and axes from all states of a corner together.

    states: StateResults tied to one reference; notes: carfile Corner; axes (3, 3) of the reference scene.
    Returns Motion, Refusal (nothing moved enough), or None where fewer than two states show the parts.
    """
    moving = [
        s for s in in_order(states) if any(kit.slot(i).role.body in ("bar", "arm") for i in s.scene.markers)
    ]
    if len(moving) < 2:
        return None
    seen = motion_states(moving, kit, axes)
    bodies = {i: kit.slot(i).role.body for s in seen for i in s.markers}
    if notes.link_foot_on != "control arm":
        # the foot's own marker rides with the foot
        bodies |= {i: "knuckle" for i in bodies if kit.slot(i).role.key == LINK_FOOT}
    names = [s.name for s in seen]
    new_link = tuple(n for k, n in enumerate(names)
                     if has_new_link(n) and k and not has_new_link(names[k - 1]))
    tapes = ()
    if notes.use_tape:
        tapes = tuple(TapedLength(*_TAPED[name], r.value_mm, r.u_mm, s) for s in names
                      for name, r in sorted(notes.tape.get(s, {}).items()) if name in _TAPED)
    return solve_motion(seen, bodies, notes.link_foot_on,
                        hints=Hints(points_on_markers(seen, kit, notes), tapes=tapes, new_link_from=new_link),
                        where=where)
