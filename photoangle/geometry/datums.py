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
from photoangle.core.findings import ATTENTION, Finding
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

if TYPE_CHECKING:  # these stand on what is here
    from photoangle.geometry.joints import Points
    from photoangle.geometry.registration import Tie
    from photoangle.reconstruction.scene import Scene

TURN = ("turn x", "turn y", "turn z")
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
        spread = np.radians([CARD_LEANS_DEG, 0, CARD_LEVEL_DEG / _ROOT3])
        held = Source(("level", state), "level", np.diag(spread**2), assumed=Assumed("CARD_LEANS_DEG"))
        return Direction(np.array([0, -1.0, 0]), Estimate.stated(TURN, np.zeros(3), held), "card"), []
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
    findings = []
    if length < _LEAST_SPAN_MM:
        findings.append(Finding(ATTENTION, where, f"the plumb markers are only {length:.0f} mm apart",
                                "hang them at least 200 mm apart: the level's uncertainty shrinks with it"))
    return Direction(up, turn, "strip" if points.strip else "string"), findings


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


def level_axes(points: Points, up: Direction, roll: bool = True) -> Axes | None:
    """Axes from gravity and the sill alone: level, with the car's roll on its stands as an uncertainty.

    roll: whether that uncertainty is in it (not where the roll is known otherwise).  Returns Axes or None.
    """
    ahead = _forward(points, up.vector)
    if ahead is None:
        return None
    x, yaw, by = ahead
    turn = up.turn.also(yaw, up.vector[:, None])
    if roll:
        stands = Source(("stands", points.origin.state), "roll on the stands",
                        np.array([[np.radians(STANDS_ROLL_DEG)**2]]), assumed=Assumed("STANDS_ROLL_DEG"))
        turn = turn.also(stands, x[:, None])
    return Axes(np.stack([x, np.cross(up.vector, x), up.vector], 1), turn, f"gravity and {by}")


def carried_axes(axes: Axes, tie: Tie, scene: Scene) -> Axes:
    """Axes of the ride scene in another scene's world.

    Parameters: axes: of the ride scene; tie: registration.Tie, ride from this scene; scene: this one.
    Returns Axes.
    """
    back = tie.pose.rotation.T
    turn = axes.turn.minus(tie.errors.pick(TURN))
    # what the ride photos alone know wrong reaches this state's figures through the chassis
    own = scene.origin.state
    turn = turn.retitled(lambda s: "chassis" if s.title in ("pixels", "level") and isinstance(s.key, tuple)
                         and s.key[1] != own else s.title)
    return Axes(back @ axes.axes, turned(turn, back), f"ride photos ({axes.by})")
