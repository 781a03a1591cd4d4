"""The car's attitude in a state, shared by its corners: one chassis, one set of stands.

A corner without ride photos of its own can take the chassis's pitch and roll from another corner that was
measured in the same state: relative to gravity and the car's forward direction the chassis stands the same.
"""

from __future__ import annotations

import math

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.assumed import LEVEL_U_DEG, STANCE_DEG, Assumed
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import NOTE, Finding
from photoangle.core.roles import SILL_FRONT, SILL_REAR, SILLS
from photoangle.core.states import RIDE
from photoangle.geometry.angles import elevation
from photoangle.geometry.datums import TURN, Axes, floor_source, level_axes, turned
from photoangle.geometry.joints import coordinates


def share_attitude(states, report, level):
    """Give corners without a chassis datum the attitude of another corner in the same state, or what a level
    read on the wheels; say where there is neither."""
    for result in states:
        if result.axes is not None or result.up is None or result.lateral is None or not result.corner:
            continue
        donor = _donor(result, states)
        if donor is None:
            result.axes = by_level(result, level)
            continue
        result.axes, result.attitude_of = _carried(donor, result), donor
        report.tell(
            Finding(
                NOTE, f"{result.corner}/{result.state}",
                f"the chassis's pitch and roll are taken from {donor.corner}/{donor.state}:"
                f" the car is taken to stand alike in both within {STANCE_DEG:g} deg",
                "leave the car as it stands while all corners of a state are photographed"))
    for corner in sorted({s.corner for s in states if s.corner}):
        mine = [s for s in states if s.corner == corner]
        if all(s.axes is None for s in mine) and not any(s.state == RIDE for s in mine):
            report.tell(
                Finding(
                    NOTE,
                    corner,
                    "no ride photos: angles are against gravity only, and the car's own"
                    " pitch on the stands is in them",
                    "take two photos on its wheels on the floor (sill"
                    f" markers, plumb, card) into {corner}/ride; or read the sill's slope there with a level"
                    f" and write"
                    " sill_slope_deg under tape.ride",
                )
            )


def by_level(result, level):
    """Axes from the sill's slope in the photos and the same as a level read it with the car on its wheels, or
    None.

    At ride height the chassis is level against the floor, so that the sill's own rake is what was read there
    less the floor's slope. level: carfile's Level, for the floor.  The roll follows in the same way where it
    was read in both states.
    """
    ride, here = (result.notes.attitude.get(s, {}) for s in (RIDE, result.state))
    if "sill_slope_deg" not in ride or not {SILL_FRONT, SILL_REAR} <= set(result.points.names):
        return None
    origin = result.scene.origin
    floor = Estimate.stated(("along", "across"),
                            np.radians([level.floor_slope_along_deg, level.floor_slope_across_deg]),
                            floor_source(origin, level))
    read = _reading("sill slope", ride["sill_slope_deg"], ("level reading", origin.corner, "sill slope"))
    # nose up is a turn about -y; the sill seen against up, and up itself, go wrong together
    pitch = _sill_slope(result).minus(read.named(("slope",))).plus(floor.pick(("along",)).named(("slope",)))
    roll_known = "roll_deg" in ride and "roll_deg" in here
    base = level_axes(result.points, result.up, roll=not roll_known)
    x, y, _ = base.axes.T
    turn = base.turn.plus(pitch.linear(-y[:, None], TURN, np.zeros(3)))
    rotation = rotation_from_vector(-pitch.values[0] * y)
    if roll_known:
        roll = _reading("roll", here["roll_deg"], ("level reading", origin.state, "roll")).minus(
            _reading("roll", ride["roll_deg"], ("level reading", origin.corner, "roll"))).plus(
            floor.pick(("across",)).named(("roll",)))
        turn = turn.plus(roll.linear(x[:, None], TURN, np.zeros(3)))
        rotation = rotation @ rotation_from_vector(roll.values[0] * x)
    return Axes(rotation @ base.axes, turn, "a level on the sill")


def _reading(name, value_deg, key):
    """A level's reading as an Estimate, rad."""
    return Estimate.stated((name,), [math.radians(value_deg)],
                           Source(key, "level reading", np.array([[math.radians(LEVEL_U_DEG)**2]]),
                                  assumed=Assumed("LEVEL_U_DEG")))


def _sill_slope(result):
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
    spin = result.lateral.axes @ donor.lateral.axes.T
    # both worlds' level axes hang on their own plumb; the roll on the stands is in neither
    ours, theirs = (level_axes(s.points, s.up, roll=False).turn for s in (result, donor))
    alike = Source(("stance", result.scene.origin.state), "stance",
                   np.eye(3) * math.radians(STANCE_DEG) ** 2, assumed=Assumed("STANCE_DEG"))
    turn = ours.plus(turned(donor.axes.turn.minus(theirs), spin)).also(alike, np.eye(3))
    return Axes(spin @ donor.axes.axes, turn, f"{donor.corner} ({donor.axes.by})")
