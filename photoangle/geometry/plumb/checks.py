"""The plumb held against what else tells level: a strip that leans on something is alike in all photos, and
no scatter shows it.

A level laid on the sill or across the car in the same state, and the other corner's photos of the same state,
whose plumb hung somewhere else.  Where they contradict a plumb, both are in the interval: the difference is
one more error of its up.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

import numpy as np

from calib.poses import hat
from photoangle.core.assumed import STANCE_DEG, Assumed
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.roles import SILLS
from photoangle.core.states import RIDE
from photoangle.geometry.angles import level_pair
from photoangle.geometry.attitude import sill_slope
from photoangle.geometry.datums import ROLL
from photoangle.geometry.roll import level_reading, own_roll

# So many standard uncertainties apart two levels contradict each other (a squared two-dimensional misfit of
# 1 in 1000).
_APART, _APART_SQUARED = 3.3, 13.8


def contradicted_plumbs(states, level, report):
    """Widen up, in place, where another level contradicts it, and say so.  Returns whether any was.

    states: StateResults with their axes where they have any; level: carfile's Level; report.
    """
    hung = [s for s in states if s.up is not None and s.up.by != "card"]
    changed = [_by_sill(s, report) or _by_roll(s, level, report) for s in hung]
    for one, other in combinations(states, 2):
        changed.append(one.state == other.state and one.corner != other.corner
                       and _by_each_other(one, other, report))
    return any(changed)


def _by_sill(state, report):
    """The sill's slope against the plumb beside a level's reading of it in this state."""
    read = state.notes.attitude.get(state.state, {})
    if "sill_slope_deg" not in read or not set(SILLS) <= set(state.points.names):
        return False
    key = ("level reading", state.scene.origin.state, "sill slope")
    apart = sill_slope(state).minus(level_reading("slope", read["sill_slope_deg"], key))
    return _told_of(state, apart, "the level on the sill", "on the line between the sill's markers", report)


def _by_roll(state, level, report):
    """The chassis's roll against the plumb beside a level's reading across the car in this state."""
    read = state.notes.attitude.get(state.state, {})
    if "roll_deg" not in read or state.axes is None or state.state == RIDE:
        return False
    apart = _leans(state).pick(("left",)).named(ROLL).minus(own_roll(state, level))
    return _told_of(state, apart, "the level across the car", "on two like points left and right", report)


def _told_of(state, apart, by, where, report):
    """Widen up by what a level's reading, of one value, is apart from it, where that is much."""
    off = float(apart.values[0])
    if abs(off) < _APART * apart.u(apart.names[0]):
        return False
    # what leans one way, where it was looked, leans as much the other
    pair = level_pair(state.up.vector)
    _widen(state, by, pair @ pair.T * off**2)
    report.tell(Finding(
        ATTENTION, state.name, f"the plumb and {by} disagree by {abs(math.degrees(off)):.1f} deg: both are"
        " allowed for", f"let the plumb hang free of everything, and read the level again {where}"))
    return True


def _by_each_other(one, other, report):
    """The chassis's attitude in one state as two corners' plumbs have it."""
    if any(s.up is None or s.axes is None or s.attitude_of is not None for s in (one, other)):
        return False
    there = [_leans(s) for s in (one, other)]
    stance = Source(("stance", one.scene.origin.state), "stance", np.eye(2) * math.radians(STANCE_DEG) ** 2,
                    assumed=Assumed("STANCE_DEG"))
    apart = there[0].minus(there[1]).also(stance, np.eye(2))
    off = apart.values
    if off @ np.linalg.solve(apart.covariance() + 1e-18 * np.eye(2), off) < _APART_SQUARED:
        return False
    for s in (one, other):
        # up leans by so much forward and left in the chassis: a turn about the level axis square to that
        turn = s.axes.axes[:, :2] @ [-off[1], off[0]]
        _widen(s, "corners", np.outer(turn, turn))
    report.tell(Finding(
        ATTENTION, f"{one.name}, {other.name}", "the plumbs of these corners disagree on how the car stands"
        f" by {math.degrees(float(np.linalg.norm(off))):.1f} deg: both are allowed for",
        "let both plumbs hang free of everything; leave the car as it stands while all corners of a state are"
        " photographed"))
    return True


def _leans(state):
    """Up in the chassis, forward and left, with its errors, as an Estimate."""
    up, axes = state.up, state.axes.axes
    seen = axes.T @ up.vector
    # a small turn w of up, or of the axes the other way, moves it by w x up
    by = (axes.T @ -hat(up.vector))[:2]
    return Estimate(("forward", "left"), seen[:2],
                    up.turn.minus(state.axes.turn).linear(by, ("forward", "left"), seen[:2]).effects)


def _widen(state, by, covariance):
    source = Source(("plumb against", by, state.scene.origin.state), "level", covariance)
    state.up = replace(state.up, turn=state.up.turn.also(source, np.eye(3)))
