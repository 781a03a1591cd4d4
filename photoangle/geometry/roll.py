"""The chassis's roll in each state of a corner: read with a level, or carried from the state that knows it
best.

What a state's roll is against gravity is an unknown unless a level was laid across; how it differs from
another state's the photos know, since the chassis's markers tie the two and both know up.
"""

from __future__ import annotations

import math

import numpy as np

from photoangle.core.assumed import LEVEL_ACROSS_DEG, LEVEL_U_DEG, Assumed
from photoangle.core.estimate import Estimate, Source
from photoangle.core.states import RIDE
from photoangle.geometry.datums import (
    ROLL,
    ROLL_UNKNOWN,
    TURN,
    Axes,
    Direction,
    carried_axes,
    flat_axes,
    floor_source,
    level_axes,
    of_the_chassis,
    turned,
    unknown_roll,
)


def give_rolls(states, level):
    """Give each state whose up is known its roll, and its axes by gravity and sill.

    states: StateResults, of one car; level: carfile's Level.
    """
    for corner in dict.fromkeys(s.corner for s in states):
        mine = [s for s in states if s.corner == corner and s.up is not None]
        for s in mine:
            s.roll = own_roll(s, level)
        tied = [s for s in mine if s.reference or s.tie is not None]
        best = min(tied, key=lambda s: s.roll.u("roll"), default=None)
        known = best.roll if best is not None else None
        for s in tied:
            carried = None if s is best else carried_roll(best, known, s)
            # of two states that nobody read a level in, neither knows anything that the other does not
            if carried is not None and (is_unknown(s.roll) or carried.u("roll") < s.roll.u("roll")):
                s.roll = carried
    for s in states:
        if s.up is not None:
            s.lateral = level_axes(s.points, s.up, s.roll)


def is_unknown(roll):
    """Whether a roll rests on nothing but what stands usually do."""
    return any(s.title == ROLL_UNKNOWN for s in roll.effects)


def own_roll(result, level):
    """A state's roll against gravity as it was read, rad, left side up, as an Estimate named ROLL.

    On the wheels the chassis is level against the floor, by definition.  A level across reads the car's roll
    and the rake of what it lies on, which the same reading on the wheels takes out.
    """
    origin = result.scene.origin
    across = Estimate.stated(("along", "across"), np.radians([0.0, level.floor_slope_across_deg]),
                             floor_source(origin, level)).pick(("across",)).named(ROLL)
    if result.state == RIDE:
        return across
    ride, here = (result.notes.attitude.get(s, {}).get("roll_deg") for s in (RIDE, result.state))
    if here is None:
        return unknown_roll(origin)
    read = level_reading("roll", here, ("level reading", origin.state, "roll"))
    like = Source(("level across", origin.corner), "level reading",
                  np.array([[math.radians(LEVEL_ACROSS_DEG)**2]]), assumed=Assumed("LEVEL_ACROSS_DEG"))
    ways = [read.also(like, np.eye(1))]
    if ride is not None:
        on_wheels = level_reading("roll", ride, ("level reading", origin.corner, "roll"))
        ways.append(read.minus(on_wheels).plus(across))
    return min(ways, key=lambda way: way.u("roll"))


def level_reading(name, value_deg, key):
    """A level's reading as an Estimate, rad."""
    return Estimate.stated((name,), [math.radians(value_deg)],
                           Source(key, "level reading", np.array([[math.radians(LEVEL_U_DEG)**2]]),
                                  assumed=Assumed("LEVEL_U_DEG")))


def _rotation(result):
    """This state's world in the reference's."""
    return result.tie.pose.rotation if result.tie is not None else np.eye(3)


def carried_up(there, here):
    """Another state's up as it lies in this state's world, which the chassis's markers tie to it: Direction.

    there, here: StateResults of one corner, each the reference or tied to it.
    """
    back = _rotation(here).T
    turn = turned(there.up.turn, _rotation(there))
    if there.tie is not None:
        turn = turn.plus(there.tie.errors.pick(TURN))
    if here.tie is not None:
        turn = turn.minus(here.tie.errors.pick(TURN))
    return Direction(back @ _rotation(there) @ there.up.vector,
                     turned(of_the_chassis(turn, here.scene.origin), back), there.up.by)


def carried_roll(there, roll, here):
    """This state's roll from another's: by so much as up moved across the car, in the chassis.

    there, here: StateResults of one corner, each the reference or tied to it; roll: there's.  Returns an
    Estimate named ROLL, or None where forward is not known here.
    """
    flat = flat_axes(here.points, here.up)
    if flat is None:
        return None
    was, left = carried_up(there, here), flat.axes[:, 1]
    moved = here.up.vector - was.vector
    # left . (up - was), by small turns of left, of up and of what up was
    change = here.up.turn.linear(np.cross(here.up.vector, left)[None], ROLL, [left @ moved]).plus(
        flat.turn.linear(np.cross(left, moved)[None], ROLL, [0.0])).minus(
        was.turn.linear(np.cross(was.vector, left)[None], ROLL, [0.0]))
    return roll.plus(change)


def carried_chassis(there, here):
    """Another state's axes in this state's world.  there, here: as in `carried_up`.  Returns Axes."""
    axes, tie = there.axes, there.tie
    if tie is not None:
        turn = turned(axes.turn, tie.pose.rotation).plus(tie.errors.pick(TURN))
        axes = Axes(tie.pose.rotation @ axes.axes, turn, axes.by)
    if here.tie is None:
        return Axes(axes.axes, of_the_chassis(axes.turn, here.scene.origin), there.axes.by)
    carried = carried_axes(axes, here.tie, here.scene)
    return Axes(carried.axes, carried.turn, there.axes.by)
