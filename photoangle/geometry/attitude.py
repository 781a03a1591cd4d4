"""The car's attitude in a state, shared by its corners: one chassis, one set of stands.

A corner without ride photos of its own can take the chassis's pitch and roll from another corner that was
measured in the same state: relative to gravity and the car's forward direction the chassis stands the same.
"""

from __future__ import annotations

import math

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.assumed import STANCE_DEG, STANDS_ROLL_DEG, Assumed
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.roles import SILLS
from photoangle.core.states import RIDE
from photoangle.geometry.angles import elevation
from photoangle.geometry.datums import (
    ROLL_UNKNOWN,
    TURN,
    Axes,
    flat_axes,
    floor_source,
    level_axes,
    turned,
)
from photoangle.geometry.joints import coordinates
from photoangle.geometry.roll import carried_chassis, level_reading


def share_attitude(states, report, level):
    """Give states without a chassis datum the attitude of another corner in the same state, or what a level
    read on the wheels, or what another state of their corner has; say where there is nothing of these."""
    _from_other_corners(states, report)
    names = sorted({s.corner for s in states if s.corner})
    corners = {name: [s for s in states if s.corner == name] for name in names}
    for mine in corners.values():
        for result in mine:
            if result.axes is None and result.up is not None and result.lateral is not None:
                result.axes = by_level(result, level)
        _from_other_states(mine)
    # what a level or another state gave one corner may serve the others
    _from_other_corners(states, report)
    for corner, mine in corners.items():
        _from_other_states(mine)
        _say_what_is_missing(corner, mine, report)


def _from_other_corners(states, report):
    for result in states:
        if result.axes is not None or result.up is None or result.lateral is None or not result.corner:
            continue
        donor = _donor(result, states)
        if donor is None:
            continue
        result.axes, result.attitude_of = _carried(donor, result), donor
        report.tell(
            Finding(
                NOTE, f"{result.corner}/{result.state}",
                f"the chassis's pitch and roll are taken from {donor.corner}/{donor.state}:"
                f" the car is taken to stand alike in both within {STANCE_DEG:g} deg",
                "leave the car as it stands while all corners of a state are photographed"))


def _from_other_states(mine):
    """The chassis of the state that knows its roll best, carried to those that have none and are tied to
    it."""
    tied = [s for s in mine if s.reference or s.tie is not None]
    known = [s for s in tied if s.axes is not None]
    if known:
        best = min(known, key=lambda s: _roll_u(s.axes))
        for s in tied:
            if s.axes is None:
                s.axes = carried_chassis(best, s)


def _roll_u(axes):
    """Standard uncertainty of the roll of axes, rad."""
    x = axes.axes[:, 0]
    return math.sqrt(x @ axes.turn.covariance() @ x)


def _say_what_is_missing(corner, mine, report):
    """What would tell the chassis's pitch, or its roll, where nothing does."""
    if all(s.axes is None for s in mine) and not any(s.state == RIDE for s in mine):
        report.tell(
            Finding(
                NOTE,
                corner,
                "no ride photos: angles are against gravity only, and the car's own"
                " pitch and roll on the stands are in them",
                "take two photos on its wheels on the floor (sill"
                f" markers, plumb, card) into {corner}/ride; or read the sill's slope there with a level"
                " and write sill_slope_deg under tape.ride, and roll_deg as a level across the car reads it"
                " here",
            )
        )
    open_to = [s for s in mine if s.axes is not None and s.attitude_of is None and _unknown_roll(s.axes)]
    if open_to:
        state = open_to[0].state
        report.tell(
            Finding(
                ATTENTION, corner,
                "nothing shows the car's roll on its stands: the control arm's angle against the chassis is"
                f" that much wider ({2 * STANDS_ROLL_DEG:g} deg either way)",
                "lay a level across the car, on two like points left and right, as it stands here, and write"
                f" what it reads as roll_deg under [{corner}.tape.{state}] (left side up is positive); the"
                f" same reading on its wheels, under [{corner}.tape.ride], makes it surer"))


def _unknown_roll(axes):
    return any(s.title == ROLL_UNKNOWN for s in axes.turn.effects)


def by_level(result, level):
    """Axes from the sill's slope in the photos and the same as a level read it with the car on its wheels, or
    None.

    At ride height the chassis is level against the floor, so that the sill's own rake is what was read there
    less the floor's slope.  level: carfile's Level, for the floor.  The roll is the state's own.
    """
    ride = result.notes.attitude.get(RIDE, {})
    if "sill_slope_deg" not in ride or not set(SILLS) <= set(result.points.names):
        return None
    origin = result.scene.origin
    floor = Estimate.stated(("along", "across"),
                            np.radians([level.floor_slope_along_deg, level.floor_slope_across_deg]),
                            floor_source(origin, level))
    read = level_reading("slope", ride["sill_slope_deg"], ("level reading", origin.corner, "sill slope"))
    # nose up is a turn about -y; the sill seen against up, and up itself, go wrong together
    pitch = sill_slope(result).minus(read).plus(floor.pick(("along",)).named(("slope",)))
    base = level_axes(result.points, result.up, result.roll)
    y = flat_axes(result.points, result.up).axes[:, 1]
    turn = base.turn.plus(pitch.linear(-y[:, None], TURN, np.zeros(3)))
    return Axes(rotation_from_vector(-pitch.values[0] * y) @ base.axes, turn, "a level on the sill")


def sill_slope(result):
    """The sill's slope against gravity, rad, nose up, as an Estimate named "slope"."""
    ends = result.points.estimate.pick(coordinates(SILLS)).join(result.up.turn)

    def slope(values):
        up = rotation_from_vector(values[6:]) @ result.up.vector
        return np.radians([elevation(values[:3] - values[3:6], up)])

    return ends.map(slope, ("slope",), [1e-3] * 6 + [1e-5] * 3)


def _donor(result, states):
    for other in states:
        if (other.state == result.state and other.corner != result.corner and other.axes is not None
                and other.up is not None and other.lateral is not None and other.attitude_of is None):
            return other
    return None


def _carried(donor, result):
    """The donor's axes, turned as the two corners' level axes lie to each other."""
    # both worlds' level axes hang on their own plumb
    ours, theirs = (flat_axes(s.points, s.up) for s in (result, donor))
    spin = ours.axes @ theirs.axes.T
    alike = Source(("stance", result.scene.origin.state), "stance", np.eye(3) * math.radians(STANCE_DEG) ** 2,
                   assumed=Assumed("STANCE_DEG"))
    turn = ours.turn.plus(turned(donor.axes.turn.minus(theirs.turn), spin)).also(alike, np.eye(3))
    return Axes(spin @ donor.axes.axes, turn, f"{donor.corner} ({donor.axes.by})")
