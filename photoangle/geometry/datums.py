"""What angles are measured against: gravity, floor, chassis.

Gravity comes from the plumb markers or a levelled card.  The chassis's level is defined as the car at
ride height on a level floor, so the ride state's floor is the zero; other states of the same corner are
tied to it by the chassis markers that were not touched.

A direction's errors are those of a small turn of it, rad, about the axes of its scene's world, acting on the
left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib.poses import hat, rotation_from_vector
from photoangle.carfile.car import Level
from photoangle.core.assumed import (
    CARD_LEANS_DEG,
    CARD_LEVEL_DEG,
    PIVOT_YAW_DEG,
    SILL_YAW_DEG,
    STANDS_ROLL_DEG,
    STRIP_HANGS_DEG,
    Assumed,
)
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.origin import Origin
from photoangle.core.roles import (
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    PLUMB,
    PLUMB_BOTTOM,
    PLUMB_TOP,
    SILL_FRONT,
    SILL_REAR,
)
from photoangle.geometry.plumb.swing import swung

if TYPE_CHECKING:  # these stand on what is here
    from photoangle.geometry.joints import Points
    from photoangle.geometry.registration import Tie
    from photoangle.reconstruction.scene import Scene

TURN = ("turn x", "turn y", "turn z")
ROLL = ("roll",)
# The budget's line for a roll that nothing shows.
ROLL_UNKNOWN = "roll on the stands"
# The budget's line for what a levelled edge does not tell: how the card leans to or from the photos.
LEAN = "card's lean"
_LEAST_SPAN_MM = 80
# A sill line steeper than this says little of where forward is.
_LEAST_LEVEL_SHARE = 0.3
_ROOT3 = np.sqrt(3)


@dataclass(frozen=True)
class Direction:
    """Unit vector (3,) in a scene's world; turn: Estimate of the error of its small turn, named TURN; by: in
    words."""

    vector: np.ndarray
    turn: Estimate
    by: str


@dataclass(frozen=True)
class Axes:
    """Axes as columns (3, 3): x forward, y left, z up, in a scene's world; turn and by as in Direction."""

    axes: np.ndarray
    turn: Estimate
    by: str


def still() -> Estimate:
    """No turn, and no error."""
    return Estimate.stated(TURN, np.zeros(3))


def turned(estimate: Estimate, rotation: np.ndarray) -> Estimate:
    """A small turn seen from another frame: other_from_this rotation (3, 3)."""
    return estimate.linear(rotation, TURN)


def gravity(points: Points, scene: Scene, level: Level,
            where: str = "") -> tuple[Direction | None, list[Finding]]:
    """Which way is up.

    Parameters: points: joints.Points; scene; level: carfile's Level; where: for messages.
    Returns (Direction or None, findings).
    """
    if level.by == "none":
        return None, []
    state = scene.origin.state
    if level.by == "card":
        if not scene.has_card:
            return None, [Finding(ATTENTION, where, "the card is to be the level but no photo shows it",
                                  "take a photo with the card in view, or hang the plumb strip")]
        # a level edge is one axis of two: how the card leans about it nobody read, and no photo shows
        edge = Source(("level", state), "level", np.array([[np.radians(CARD_LEVEL_DEG / _ROOT3)**2]]))
        lean = Source(("card lean", state), LEAN, np.array([[np.radians(CARD_LEANS_DEG)**2]]),
                      assumed=Assumed("CARD_LEANS_DEG"))
        across, along = np.eye(3)[:, 2:], np.eye(3)[:, :1]
        turn = Estimate(TURN, np.zeros(3), {edge: across, lean: along})
        told = Finding(NOTE, where, "the card's level edge says which way is up along it, not how the card"
                       f" leans to or from you: {CARD_LEANS_DEG:g} deg either way are allowed for (standard"
                       " uncertainty), most felt by steep lines",
                       "hang the plumb strip in view: it tells both")
        return Direction(np.array([0, -1.0, 0]), turn, "card"), [told]
    missing = [n for n in PLUMB if n not in points]
    if missing:
        which = "no plumb markers" if len(missing) == 2 else f"only one plumb marker ({missing[0]} missing)"
        return None, [Finding(
            ATTENTION, where, f"{which} seen: which way is up is not known",
            "take one more photo with both plumb markers in view, or set [level] by = \"card\"")]
    span = points[PLUMB_TOP] - points[PLUMB_BOTTOM]
    length = np.linalg.norm(span)
    up = span / length
    pick = np.zeros((3, 3 * len(points.names)))
    for name, sign in ((PLUMB_TOP, 1), (PLUMB_BOTTOM, -1)):
        k = 3 * points.index(name)
        pick[:, k:k + 3] = sign * np.eye(3)
    # a shift d of the span turns it by up x d / length
    turn = points.estimate.linear(hat(up) @ pick / length, TURN, np.zeros(3))
    if points.strip:
        turn = turn.also(Source(("hang", state), "level",
                                np.eye(3) * np.radians(STRIP_HANGS_DEG)**2,
                                assumed=Assumed("STRIP_HANGS_DEG")), np.eye(3))
    findings, by = [], "strip" if points.strip else "string"
    if scene.swinging:
        behind = 0.0 if points.strip else level.plumb_standoff_mm
        up, turn, told = swung(up, turn, points, scene, behind, where)
        by += " that swings"
        findings.append(told)
    if length < _LEAST_SPAN_MM:
        findings.append(Finding(ATTENTION, where, f"the plumb markers are only {length:.0f} mm apart",
                                "hang them at least 200 mm apart: the level's uncertainty shrinks with it"))
    return Direction(up, turn, by), findings


def _forward(points: Points, up: np.ndarray) -> tuple[np.ndarray, Source, str] | None:
    """Which way is forward, level: (unit vector, the Source of its yaw, by) or None."""
    for front, rear, sigma, by in ((SILL_FRONT, SILL_REAR, SILL_YAW_DEG, "sill"),
                                   (ARM_PIVOT_FRONT, ARM_PIVOT_REAR, PIVOT_YAW_DEG, "pivots")):
        if front in points and rear in points:
            line = points[front] - points[rear]
            flat = line - up * (line @ up)
            if np.linalg.norm(flat) > _LEAST_LEVEL_SHARE * np.linalg.norm(line):
                # the same markers on the same places say the same of the car's axis, right or wrong
                key = ("forward", points.place(front), points.place(rear))
                assumed = Assumed("SILL_YAW_DEG") if by == "sill" else Assumed("PIVOT_YAW_DEG")
                return flat / np.linalg.norm(flat), Source(
                    key, "forward", np.array([[np.radians(sigma)**2]]), assumed=assumed), by
    return None


def floor_axes(points: Points, up: Direction, level: Level) -> Axes | None:
    """Chassis axes of the ride state: the floor's normal is the chassis's vertical.

    Parameters: points; up: Direction; level: carfile's Level.  Returns Axes or None where forward is not
    known.
    """
    ahead = _forward(points, up.vector)
    if ahead is None:
        return None
    x, yaw, by = ahead
    y = np.cross(up.vector, x)
    along, across = np.radians(level.floor_slope_along_deg), np.radians(level.floor_slope_across_deg)
    # a floor that rises forward turns x up about -y; one that rises to the left turns y up about +x
    tilt = rotation_from_vector(-along * y) @ rotation_from_vector(across * x)
    turn = up.turn.also(yaw, up.vector[:, None]).also(floor_source(points.origin, level), np.stack([-y, x],
                                                                                                   1))
    return Axes(tilt @ np.stack([x, y, up.vector], 1), turn, f"floor and {by}")


def floor_source(origin: Origin, level: Level) -> Source:
    """The floor's slope along and across: one floor under the whole car, in all states."""
    within = np.radians(level.floor_within_deg) / _ROOT3
    assumed = None if level.floor_given or level.slope_within_deg is not None else Assumed("FLOOR_WITHIN_DEG")
    return Source(("floor", origin.car), "floor", np.eye(2) * within**2, assumed=assumed)


def flat_axes(points: Points, up: Direction) -> Axes | None:
    """Axes from gravity and the sill alone, level both ways.  Returns Axes, or None where forward is not
    known."""
    ahead = _forward(points, up.vector)
    if ahead is None:
        return None
    x, yaw, by = ahead
    return Axes(np.stack([x, np.cross(up.vector, x), up.vector], 1), up.turn.also(yaw, up.vector[:, None]),
                f"gravity and {by}")


def level_axes(points: Points, up: Direction, roll: Estimate | None = None) -> Axes | None:
    """Axes from gravity and the sill: level along, rolled as the car is.

    roll: Estimate named ROLL, rad, left side up, against gravity; None: the car stands on stands whose roll
    nothing shows.  Returns Axes, or None where forward is not known.
    """
    flat = flat_axes(points, up)
    if flat is None:
        return None
    roll = unknown_roll(points.origin) if roll is None else roll
    x = flat.axes[:, 0]
    return Axes(rotation_from_vector(roll.values[0] * x) @ flat.axes,
                flat.turn.plus(roll.linear(x[:, None], TURN, np.zeros(3))), flat.by)


def unknown_roll(origin: Origin) -> Estimate:
    """The car's roll on stands that nothing shows, rad, named ROLL."""
    stands = Source(("stands", origin.state), ROLL_UNKNOWN, np.array([[np.radians(STANDS_ROLL_DEG)**2]]),
                    assumed=Assumed("STANDS_ROLL_DEG"))
    return Estimate.stated(ROLL, [0.0], stands)


def carried_axes(axes: Axes, tie: Tie, scene: Scene) -> Axes:
    """Axes of the ride scene in another scene's world.

    Parameters: axes: of the ride scene; tie: registration.Tie, ride from this scene; scene: this one.
    Returns Axes.
    """
    back = tie.pose.rotation.T
    turn = of_the_chassis(axes.turn.minus(tie.errors.pick(TURN)), scene.origin)
    return Axes(back @ axes.axes, turned(turn, back), f"ride photos ({axes.by})")


def of_the_chassis(turn: Estimate, origin: Origin) -> Estimate:
    """A turn's budget as another state has it: what the photos it was carried from know wrong reaches this
    state's figures through the chassis.  origin: this state's."""
    return turn.retitled(lambda s: "chassis" if s.title in ("pixels", "level") and isinstance(s.key, tuple)
                         and s.key[1] != origin.state else s.title)
