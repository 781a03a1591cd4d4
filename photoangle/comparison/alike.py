"""What two states have in common beyond the sources of their errors: one chassis, and rigid parts.

Each function gives the two states anew, with something of one carried over to the other by markers that kept
their place on the same part, so that its error is one and the same on both sides.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.poses import hat
from photoangle.figures.measure import measured
from photoangle.geometry.datums import carried_axes
from photoangle.geometry.joints import coordinates
from photoangle.geometry.marker_stability import RIGID, body_of
from photoangle.geometry.registration import tie_bodies


def one_chassis(before, after, tie):
    """Both states with the chassis's axes of the one that knows them better.

    tie: registration.Tie of AFTER from BEFORE by the chassis's markers, or None.  Two readings of a level, or
    two unknown rolls on the stands, differ by what the markers on the chassis show to a hundredth of a
    degree.  Returns (before, after), or None where there is nothing to carry.
    """
    if tie is None or before.axes is None or after.axes is None:
        return None
    spread = [float(np.trace(s.axes.turn.covariance())) for s in (before, after)]
    if spread[1] <= spread[0]:
        return _with_axes(before, carried_axes(after.axes, tie, before.scene)), after
    back, _ = tie_bodies(after.scene, before.scene, tie.shared)
    return before, _with_axes(after, carried_axes(before.axes, back, after.scene))


def _with_axes(state, axes):
    return _anew(replace(state, axes=axes))


def _anew(state):
    return replace(state, measured=measured(state))


def one_part(before, after, kit, kept):
    """AFTER with the joints whose markers did not keep their place where the others on the same part have
    them.

    kept: ids of markers that kept their place.  A joint is fixed on its rigid part: where another marker of
    the part was not touched, it has carried the joint along from where it was before, and how the joint's
    own marker was stuck anew is not in it.  Returns (before, after), or None where there is nothing to carry.
    """
    estimate, names = after.points.estimate, after.points.names
    carried = {}
    for name in names:
        marker = after.points.marker[name]
        if marker is None or marker in kept or name not in before.points.names:
            continue
        body = body_of(marker, kit, after.notes)
        ids = [i for i in kept if body_of(i, kit, after.notes) == body]
        if body in RIGID and ids:
            tie, _ = tie_bodies(before.scene, after.scene, ids)
            carried[name] = _carried(before.points, name, tie)
    if not carried:
        return None
    own = [n for n in names if n not in carried]
    joined = estimate.pick(coordinates(own)).join(*carried.values())
    points = replace(after.points, estimate=joined.pick(coordinates(names)))
    return before, _anew(replace(after, points=points))


def _carried(points, name, tie):
    """A point of BEFORE in AFTER's world, as an Estimate of its coordinates."""
    there = points.estimate.pick(coordinates((name,)))
    at = tie.pose.rotation @ there.values
    # a small turn of the tie acts about AFTER's origin
    moved = there.linear(tie.pose.rotation, there.names, at + tie.pose.translation_mm)
    return moved.plus(tie.errors.linear(np.concatenate([-hat(at), np.eye(3)], 1), there.names, np.zeros(3)))
