"""Link lengths for a wanted place of the bar: closed forms, no search."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from photoangle.core.arrays import Array, Floats
from photoangle.core.roles import BAR_BUSH, BAR_EYE, LINK_FOOT
from photoangle.linkage.kinematics.closure import branch_side
from photoangle.linkage.kinematics.knuckle import arm_angle_for_rise, knuckle_at
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.mechanism import (
    assembled_link_mm,
    bar_arm_angle,
    bar_turn_for,
    foot_at,
    turn_for_angle,
)
from photoangle.linkage.kinematics.turning import cross, dot, length, square_to, turned, unit, wrapped

# Link and bar arm nearer to one line than this are said: the bar can flip over beyond it (common practice, no
# source).
NEAR_LINE_DEG = 10.0


@dataclass(frozen=True)
class Wanted:
    """What is wanted at ride height: the bar arm at angle_deg against the chassis's level, or (square) the
    link square to the bar's lever; either within within_deg of the bar arm's angle."""

    angle_deg: float = 0.0
    within_deg: float = 3.0
    square: bool = False


@dataclass(frozen=True)
class Lengths:
    """Arrays (...): present_mm, wanted_mm, low_mm and high_mm (the band's ends, ordered), angle_deg and
    angle_wanted_deg of the bar arm at ride height; NaN where the bar cannot stand so on this branch."""

    present_mm: Array
    wanted_mm: Array
    low_mm: Array
    high_mm: Array
    angle_deg: Array
    angle_wanted_deg: Array


def other_hole(layout: Layout, hole_mm: float) -> Layout:
    """The layout with the eye in another hole, hole_mm nearer to the bar's axis along the lever.

    The present link then does not belong to it: give lengths explicitly.
    """
    eye = layout.at[BAR_EYE]
    lever = square_to(eye - layout.at[BAR_BUSH], layout.bar_axis)
    return layout.with_points(bar_eye=eye - unit(lever) * hole_mm)


def square_turn(layout: Layout, foot: Array) -> Array:
    """The bar's turn at which the link to a foot (..., 3) is square to the lever, rad.

    (e - foot) . lever = 0 reads A cos b + B sin b = lever^2: the tangents from a point to a circle.  The root
    on the assembled branch; NaN where the foot lies within the eye's circle.
    """
    bush, axis, eye = layout.at[BAR_BUSH], layout.bar_axis, layout.at[BAR_EYE]
    u = square_to(eye - bush, axis)
    g = square_to(foot - bush, axis)
    a, b, c = dot(u, g), dot(cross(axis, u), g), dot(u, u)
    with np.errstate(invalid="ignore"):
        half = np.arctan2(np.sqrt(a * a + b * b - c * c), c)
    return wrapped(np.arctan2(b, a) + branch_side(eye, bush, axis, layout.at[LINK_FOOT]) * half)


def length_at_turn(layout: Layout, foot: Array, turn: Array) -> Array:
    """The link's length (...) with the bar turned by ``turn`` (...), NaN past the toggle position."""
    bush, axis, eye = layout.at[BAR_BUSH], layout.bar_axis, layout.at[BAR_EYE]
    there = turned(eye, bush, axis, turn)
    same = branch_side(there, bush, axis, foot) == branch_side(eye, bush, axis, layout.at[LINK_FOOT])
    return np.where(same, length(there - foot), np.nan)


def lengths(layout: Layout, rise_mm: Floats, wanted: Wanted, hole_mm: float = 0.0,
            apart_deg: Floats = 0.0) -> Lengths:
    """Lengths for ``wanted`` with the hub risen by rise_mm (...) to ride height.

    hole_mm: another eye hole, see `other_hole`; the bar arm's angle is the same for every hole of a straight
    arm.  apart_deg (...): by how much more than wanted.angle_deg the arm is to stand at.  Returns Lengths.
    """
    present = assembled_link_mm(layout)
    arm = arm_angle_for_rise(layout, rise_mm)
    foot = foot_at(layout, arm, knuckle_at(layout, arm))
    now = bar_arm_angle(layout, bar_turn_for(layout, foot, present).turn)
    at_hole = other_hole(layout, hole_mm) if hole_mm else layout
    tolerance = np.radians(wanted.within_deg)
    goal = (bar_arm_angle(layout, square_turn(at_hole, foot)) if wanted.square
            else np.full_like(now, np.radians(wanted.angle_deg + apart_deg)))
    at, *edges = (turn_for_angle(layout, goal + s) for s in (0.0, -tolerance, tolerance))
    ends = [length_at_turn(at_hole, foot, kept_off_line(at_hole, foot, edge, at)) for edge in edges]
    return Lengths(np.broadcast_to(present, now.shape), length_at_turn(at_hole, foot, at), np.minimum(*ends),
                   np.maximum(*ends), np.degrees(now), np.degrees(goal))


def kept_off_line(layout: Layout, foot: Array, turn: Array, start: Array) -> Array:
    """A bar's turn (...), or where it first comes within NEAR_LINE_DEG of one line with the link on its way
    from ``start`` (...): past the toggle position no length holds the bar there.

    In the triangle of bush, eye and foot, seen along the bar's axis, that is where the angle at the eye is
    NEAR_LINE_DEG or its supplement; the law of sines gives the angle at the bush.
    """
    bush, axis, eye = layout.at[BAR_BUSH], layout.bar_axis, layout.at[BAR_EYE]
    side = branch_side(eye, bush, axis, layout.at[LINK_FOOT])
    u, g = square_to(eye - bush, axis), square_to(foot - bush, axis)
    near = np.radians(NEAR_LINE_DEG)
    with np.errstate(invalid="ignore", divide="ignore"):
        at_foot = np.arcsin(length(u) / length(g) * np.sin(near))
    # the bar's turn from the toggle position where the eye is nearest to the foot: 0 there, pi at the other
    from_toggle = side * wrapped(start - np.arctan2(dot(cross(axis, u), g), dot(u, g)))
    wanted = from_toggle + side * (turn - start)
    least = np.minimum(np.abs(near - at_foot), from_toggle)
    most = np.maximum(math.pi - near - at_foot, from_toggle)
    kept = np.clip(wanted, least, most)
    return np.where(kept == wanted, turn, start + side * (kept - from_toggle))
