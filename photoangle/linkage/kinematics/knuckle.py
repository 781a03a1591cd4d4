"""The knuckle: what the hub and everything else on it does while the control arm turns.

The lower ball joint runs on the arm's circle.  Where the knuckle's top is known the knuckle is carried
exactly:

* upper arm: the upper ball joint turns about the upper arm's axis and keeps its distance from the lower one
  (the same closure as the link's);
* strut: the knuckle slides on a line that is fixed to it and passes through the strut's top.

Both say which vector on the knuckle lies along which line of the chassis; what is left is the turn about
that line, the steering.  A tie rod fixes it by its length (again the same closure); without one the knuckle's
heading is held, its y axis square to the chassis's x, but for what ``steer_rate`` turns it by.

Where the top is not known the knuckle turns as ``knuckle_turn`` says, which stands for what is not known of
it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.arrays import Array, Floats
from photoangle.core.roles import ARM_BALL_JOINT, HUB
from photoangle.linkage.kinematics.closure import branch_side, close_link, solve_swing
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.turning import (
    applied,
    cross,
    dot,
    length,
    smallest_turn,
    swung,
    turned,
    unit,
)

_AHEAD, _ACROSS, _UP = np.eye(3)
_ITERATIONS = 12
_GOOD_RAD, _GOOD_MM = 1e-12, 1e-10


@dataclass(frozen=True)
class Knuckle:
    """Where the knuckle is: its ball joint now and as assembled (..., 3), and its turn as a rotation
    (..., 3, 3) or as a rotation vector (..., 3), rad."""

    ball: Array
    ball_before: Array
    rotation: Array | None = None
    vector: Array | None = None

    def carried(self, point: Array) -> Array:
        """A point of the knuckle (..., 3), given as assembled, where it is now."""
        return self.ball + self.turned(point - self.ball_before)

    def returned(self, point: Array) -> Array:
        """Where a point (..., 3) that goes with the knuckle, given now, was as assembled."""
        return self.ball_before + self._turned(point - self.ball, back=True)

    def turned(self, direction: Array) -> Array:
        """A direction of the knuckle (..., 3), now."""
        return self._turned(direction)

    def _turned(self, direction: Array, back: bool = False) -> Array:
        if self.rotation is not None:
            return applied(np.swapaxes(self.rotation, -1, -2) if back else self.rotation, direction)
        if self.vector is None:
            return direction
        return direction + swung(-self.vector if back else self.vector, direction)


def knuckle_at(layout: Layout, arm_angle: Floats) -> Knuckle:
    """The knuckle at control-arm angles (...) from the reference state, rad.

    NaN where the knuckle cannot be assembled.  Returns Knuckle.
    """
    before = layout.at[ARM_BALL_JOINT]
    ball = turned(before, layout.arm_origin, layout.arm_axis, arm_angle)
    by = layout.knuckle_by
    if by is None:
        turn = layout.knuckle_turn
        return Knuckle(ball, before, vector=None if turn is None else turn.at((ball - before)[..., 2]))
    own, line = _upper_arm(layout, ball) if by == "upper arm" else _strut(layout, ball)
    line_before = own if by == "upper arm" else layout.at["strut_top"] - before
    tilt = smallest_turn(unit(own), unit(line))
    axis = unit(line)
    if "tie_rod_outer" in layout.at and "tie_rod_inner" in layout.at:
        spin = _tie_rod(layout, ball, tilt, axis, before, unit(line_before))
    else:
        spin = _held(tilt, axis) + layout.steer_rate * (ball - before)[..., 2]
    return Knuckle(ball, before, rotation_from_vector(axis * spin[..., None]) @ tilt)


def _upper_arm(layout: Layout, ball: Array) -> tuple[Array, Array]:
    top, pivot, axis = layout.at["upper_ball_joint"], layout.at["upper_pivot_front"], layout.upper_pivots
    before = layout.at[ARM_BALL_JOINT]
    side = branch_side(top, pivot, axis, before)
    turn = close_link(top, pivot, axis, ball, length(top - before), side).turn
    return top - before, turned(top, pivot, axis, turn) - ball


def _strut(layout: Layout, ball: Array) -> tuple[Array, Array]:
    top, before = layout.at["strut_top"], layout.at[ARM_BALL_JOINT]
    line = top - ball
    low = layout.at.get("strut_low", before)
    slide = unit(top - low)
    reach = top - before
    beside = reach - slide * dot(reach, slide)[..., None]
    with np.errstate(invalid="ignore"):
        along = np.sqrt(dot(line, line) - dot(beside, beside))
    return beside + slide * along[..., None], line


def _tie_rod(layout: Layout, ball: Array, tilt: Array, axis: Array, before: Array,
             axis_before: Array) -> Array:
    outer, inner = layout.at["tie_rod_outer"], layout.at["tie_rod_inner"]
    side = branch_side(outer, before, axis_before, inner)
    start = ball + applied(tilt, outer - before)
    return close_link(start, ball, axis, inner, length(outer - inner), side).turn


def _held(tilt: Array, axis: Array) -> Array:
    across = applied(tilt, _ACROSS)
    along = axis * dot(across, axis)[..., None]
    flat = across - along
    roots = solve_swing(dot(flat, _AHEAD), dot(cross(axis, flat), _AHEAD), -dot(along, _AHEAD))
    return _nearest_zero(roots)


def _nearest_zero(roots: Array) -> Array:
    out: Array = np.where(np.abs(roots[0]) < np.abs(roots[1]), roots[0], roots[1])
    return out


def arm_angle_for_ball_rise(layout: Layout, rise_mm: Floats) -> Array:
    """Control-arm angle at which the lower ball joint has risen by rise_mm (...), rad; NaN where it cannot.

    Exact: the height of a point on a circle is constant + P cos a + Q sin a.
    """
    reach = layout.at[ARM_BALL_JOINT] - layout.arm_origin
    flat = reach - layout.arm_axis * dot(reach, layout.arm_axis)[..., None]
    p, q = flat[..., 2], cross(layout.arm_axis, flat)[..., 2]
    return _nearest_zero(solve_swing(p, q, p + rise_mm))


def arm_angle_for_rise(layout: Layout, rise_mm: Floats) -> Array:
    """Control-arm angle at which the hub has risen by rise_mm (...) along the chassis's vertical, rad.

    Hub to arch falls by just this.  Where the knuckle turns by the ball joint's rise alone that rise is found
    first and the arm's angle is a closed form; else by the secant method, started from the ball joint's rise
    and stopped at 1e-12 rad.  NaN where the hub cannot get there.
    """
    rise_mm = np.asarray(rise_mm, float)
    if layout.knuckle_by is None:
        return arm_angle_for_ball_rise(layout, _ball_rise(layout, rise_mm))
    hub = layout.at.get(HUB, layout.at[ARM_BALL_JOINT])

    def excess(angle: Array) -> Array:
        return knuckle_at(layout, angle).carried(hub)[..., 2] - hub[..., 2] - rise_mm

    old = arm_angle_for_ball_rise(layout, rise_mm)
    new = old + 1e-3
    at_old, at_new = excess(old), excess(new)
    for _ in range(_ITERATIONS):
        step = at_new - at_old
        flat = step == 0
        move = np.where(flat, 0.0, -at_new * (new - old) / np.where(flat, 1.0, step))
        old, at_old = new, at_new
        new = new + move
        if np.nanmax(np.abs(move), initial=0.0) < _GOOD_RAD:
            break
        at_new = excess(new)
    # a point beyond the end of the hub's path makes the secant wander: hold it to what it claims
    return np.where(np.abs(excess(new)) < 1e-6, new, np.nan)


def _ball_rise(layout: Layout, rise_mm: Array) -> Array:
    """The ball joint's rise (...), mm, where the hub has risen by rise_mm (...) and turns with it."""
    turn = layout.knuckle_turn
    if turn is None or HUB not in layout.at:
        return rise_mm
    reach = layout.at[HUB] - layout.at[ARM_BALL_JOINT]
    ball = rise_mm / (1 + dot(cross(turn.rate, reach), _UP))
    for _ in range(_ITERATIONS):
        vector = turn.at(ball)
        slope = 1 + dot(cross(turn.rate + turn.bend[..., None] * ball[..., None] * _AHEAD, reach), _UP)
        move = (rise_mm - ball - swung(vector, reach)[..., 2]) / slope
        ball = ball + move
        if np.nanmax(np.abs(move), initial=0.0) < _GOOD_MM:
            break
    return ball
