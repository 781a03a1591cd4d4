"""The whole corner at a given wheel travel: arm, knuckle, foot, bar and link together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photoangle.core.arrays import Array, Floats
from photoangle.core.roles import ARM_BALL_JOINT, BAR_BUSH, BAR_EYE, HUB, LINK_FOOT
from photoangle.linkage.kinematics.closure import Closure, branch_side, close_link
from photoangle.linkage.kinematics.knuckle import Knuckle, arm_angle_for_rise, knuckle_at
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.turning import (
    angle_between,
    cross,
    dot,
    length,
    square_to,
    turned,
    unit,
    wrapped,
)

_UP, _AHEAD = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
# Half the step of the central difference for the motion ratio: error about step^2, 1e-7 relative.
_STEP_RAD = 5e-4


@dataclass(frozen=True)
class Position:
    """The corner at some travel.  Arrays (...), points (..., 3), mm and rad, chassis frame; NaN where the
    link does not close or the arm cannot get there.

    arm_turn, bar_turn: from the reference state; margin: the link's angle from the toggle position.
    """

    arm_turn: Array
    bar_turn: Array
    margin: Array
    eye: Array
    foot: Array
    hub: Array
    knuckle: Knuckle


def assembled_link_mm(layout: Layout) -> Array:
    """The present link's length, (...): taped where given, else the distance of its joints."""
    return length(layout.at[BAR_EYE] - layout.at[LINK_FOOT]) if layout.link_mm is None else layout.link_mm


def foot_at(layout: Layout, arm_turn: Floats, knuckle: Knuckle) -> Array:
    """Where the link's foot is, (..., 3), on whichever part carries it."""
    if layout.foot_on == "control arm":
        return turned(layout.at[LINK_FOOT], layout.arm_origin, layout.arm_axis, arm_turn)
    return knuckle.carried(layout.at[LINK_FOOT])


def bar_turn_for(layout: Layout, foot: Array, link_mm: Floats) -> Closure:
    """Closure of the bar for a foot (..., 3) and a link's length (...)."""
    eye, bush, axis = layout.at[BAR_EYE], layout.at[BAR_BUSH], layout.bar_axis
    side = branch_side(eye, bush, axis, layout.at[LINK_FOOT])
    return close_link(eye, bush, axis, foot, link_mm, side)


def position(layout: Layout, rise_mm: Floats, link_mm: Floats | None = None) -> Position:
    """The corner with the hub risen by rise_mm (...) from the reference state.

    link_mm: (...) or None for the present link.  The leading axes broadcast.  Returns Position.
    """
    return position_at_arm(layout, arm_angle_for_rise(layout, rise_mm), link_mm)


def position_at_arm(layout: Layout, arm_turn: Floats, link_mm: Floats | None = None) -> Position:
    """As `position`, for a control-arm angle (...) from the reference state, rad."""
    link_mm = assembled_link_mm(layout) if link_mm is None else link_mm
    knuckle = knuckle_at(layout, arm_turn)
    foot = foot_at(layout, arm_turn, knuckle)
    closed = bar_turn_for(layout, foot, link_mm)
    eye = turned(layout.at[BAR_EYE], layout.at[BAR_BUSH], layout.bar_axis, closed.turn)
    hub = knuckle.carried(layout.at.get(HUB, layout.at[ARM_BALL_JOINT]))
    return Position(np.asarray(arm_turn), closed.turn, closed.margin, eye, foot, hub, knuckle)


def motion_ratio(layout: Layout, arm_turn: Floats, link_mm: Floats | None = None) -> Array:
    """Bar eye's rise over wheel's rise at control-arm angles (...), by central differences in the arm's
    angle."""
    return rates(layout, arm_turn, link_mm)[0]


def rates(layout: Layout, arm_turn: Floats, link_mm: Floats | None = None) -> tuple[Array, Array]:
    """(bar eye's rise over wheel's rise, bar's turn over wheel's rise in rad/mm) at control-arm angles (...),
    by central differences in the arm's angle.

    By virtual work the bar's stiffness at the wheel goes with the square of its turn over the wheel's rise.
    """
    low, high = (position_at_arm(layout, arm_turn + s, link_mm) for s in (-_STEP_RAD, _STEP_RAD))
    rise = high.hub[..., 2] - low.hub[..., 2]
    return (high.eye[..., 2] - low.eye[..., 2]) / rise, wrapped(high.bar_turn - low.bar_turn) / rise


def angle_of(line: Array, axis: Array, line_before: Array | None = None) -> Array:
    """Angle of a line against level in the plane square to ``axis``, rad, up positive.

    line, axis (..., 3).  Within +-pi/2 as a reading is given, unless line_before (..., 3) says on which side
    the line lay as assembled: then it may pass the vertical without folding back.
    """
    rise = unit(square_to(_UP, axis))
    level = cross(axis, rise)
    along = dot(line, level)
    side = along if line_before is None else dot(line_before, level)
    sign = np.where(side < 0, -1.0, 1.0)
    return np.arctan2(dot(line, rise), along * sign)


def bar_arm_angle(layout: Layout, bar_turn: Floats) -> Array:
    """The bar arm's angle against the chassis's level after a turn of the bar (...), rad."""
    bush, eye = layout.at[BAR_BUSH], layout.at[BAR_EYE]
    return angle_of(turned(eye, bush, layout.bar_axis, bar_turn) - bush, layout.bar_axis, eye - bush)


def turn_for_angle(layout: Layout, angle: Floats) -> Array:
    """The bar's turn that puts its arm at an angle (...) against the chassis's level, rad."""
    arm = layout.at[BAR_EYE] - layout.at[BAR_BUSH]
    rise = unit(square_to(_UP, layout.bar_axis))
    level = cross(layout.bar_axis, rise)
    # turning about the axis carries `rise` towards `-level x axis`: its sign is the arm's side
    side = np.where(dot(arm, level) < 0, -1.0, 1.0)
    return -side * (angle - angle_of(arm, layout.bar_axis, arm))


def control_arm_angle(layout: Layout, arm_turn: Floats) -> Array:
    """The control arm's angle against the chassis's level in the plane square to its axis, rad."""
    ball = turned(layout.at[ARM_BALL_JOINT], layout.arm_origin, layout.arm_axis, arm_turn)
    before = layout.at[ARM_BALL_JOINT] - layout.arm_origin
    return angle_of(ball - layout.arm_origin, layout.arm_axis, before)


def link_lean(place: Position) -> tuple[Array, Array]:
    """The link's lean against the chassis's vertical, rad: (seen from the side, forward positive;
    seen from the front, left positive), from foot to eye."""
    link = place.eye - place.foot
    return np.arctan2(link[..., 0], link[..., 2]), np.arctan2(link[..., 1], link[..., 2])


def bar_to_link(layout: Layout, place: Position) -> Array:
    """The angle at the eye between bar arm and link, rad, 0 to pi."""
    return angle_between(layout.at[BAR_BUSH] - place.eye, place.foot - place.eye)


def joint_tilt(layout: Layout, place: Position, joint: str) -> Array:
    """How far a joint of the link is tilted, rad.

    joint: "bar_eye" or "link_foot", whose stud the layout has.  The angle by which stud and link are not
    square to each other: a link end's housing is square to the link (common practice, no source); the turn
    about the stud and about the link's own length is free and left out.
    """
    stud = _with_part(layout, place, joint, layout.stud[joint])
    return np.abs(np.pi / 2 - angle_between(stud, place.eye - place.foot))


def _with_part(layout: Layout, place: Position, joint: str, direction: Array) -> Array:
    """A direction fixed to the bar or to the foot's carrier, moved with it from the reference state."""
    if joint == BAR_EYE:
        axis, turn = layout.bar_axis, place.bar_turn
    elif layout.foot_on == "control arm":
        axis, turn = layout.arm_axis, place.arm_turn
    else:
        return place.knuckle.turned(direction)
    return turned(direction, np.zeros(3), axis, turn)
