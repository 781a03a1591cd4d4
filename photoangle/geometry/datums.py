"""What angles are measured against: gravity, floor, chassis.

Gravity comes from the plumb markers or a levelled card.  The chassis's level is defined as the car at
ride height on a level floor, so the ride state's floor is the zero; other states of the same corner are
tied to it by the chassis markers that were not touched.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.poses import hat, rotation_from_vector
from photoangle.core.findings import ATTENTION, Finding

# How true a strip hangs: hole and weight each within 0.3 mm (half-width) of the centre line, 290 mm apart.
_STRIP_HANGS_DEG = 0.05
# A spirit level along the card's edge: 1 mm/m, makers' convention, half-width.
_LEVEL_DEG = 0.057 / np.sqrt(3)
_CARD_LEANS_DEG = 3.0
# The sill's line against the chassis's x axis, seen from above and, without a ride state, the car's roll.
_SILL_YAW_DEG, STANDS_ROLL_DEG = 1.0, 0.6
_PIVOT_YAW_DEG = 3.0


@dataclass(frozen=True)
class Direction:
    """Unit vector (3,) and its sources: name -> covariance (3, 3) of a small turn (rad, world frame)."""

    vector: np.ndarray
    sources: dict
    by: str


@dataclass(frozen=True)
class Axes:
    """Axes as columns (3, 3): x forward, y left, z up; sources as in Direction; by: in words."""

    axes: np.ndarray
    sources: dict
    by: str


def gravity(points, scene, level, where=""):
    """Which way is up.

    Returns (Direction or None, findings).
    """
    if level.by == "none":
        return None, []
    if level.by == "card":
        if not scene.has_card:
            return None, [Finding(ATTENTION, where, "the card is to be the level but no photo shows it",
                                  "take a photo with the card in view, or hang the plumb strip")]
        turn = np.diag([np.radians(_CARD_LEANS_DEG) ** 2, 0, np.radians(_LEVEL_DEG) ** 2])
        return Direction(np.array([0, -1.0, 0]), {"level": turn}, "card"), []
    missing = [n for n in ("plumb_top", "plumb_bottom") if n not in points]
    if missing:
        which = "no plumb markers" if len(missing) == 2 else f"only one plumb marker ({missing[0]} missing)"
        return None, [Finding(
            ATTENTION, where, f"{which} seen: which way is up is not known",
            "take one more photo with both plumb markers in view, or set [level] by = \"card\"")]
    span = points["plumb_top"] - points["plumb_bottom"]
    length = np.linalg.norm(span)
    up = span / length
    a, b = points.index("plumb_top"), points.index("plumb_bottom")
    pick = np.zeros((3, 3 * len(points.names)))
    pick[:, 3 * a:3 * a + 3], pick[:, 3 * b:3 * b + 3] = np.eye(3), -np.eye(3)
    # a shift d of the span turns it by up x d / length
    turn = hat(up) @ pick / length
    sources = {name: turn @ c @ turn.T for name, c in points.sources.items()}
    if points.strip:
        sources["plumb"] = sources.get("plumb", 0) + np.eye(3) * np.radians(_STRIP_HANGS_DEG) ** 2
    findings = []
    if length < 80:
        findings.append(Finding(ATTENTION, where, f"the plumb markers are only {length:.0f} mm apart",
                                "hang them at least 200 mm apart: the level's uncertainty shrinks with it"))
    return Direction(up, sources, "strip" if points.strip else "string"), findings


def forward(points, up):
    """Which way is forward, level: (unit vector, yaw sigma deg, by) or None."""
    for front, rear, sigma, by in (("sill_front", "sill_rear", _SILL_YAW_DEG, "sill"),
                                   ("arm_pivot_front", "arm_pivot_rear", _PIVOT_YAW_DEG, "pivots")):
        if front in points and rear in points:
            line = points[front] - points[rear]
            flat = line - up * (line @ up)
            if np.linalg.norm(flat) > 0.3 * np.linalg.norm(line):
                return flat / np.linalg.norm(flat), sigma, by
    return None


def floor_axes(points, up, level):
    """Chassis axes of the ride state: the floor's normal is the chassis's vertical.

    Returns Axes or None where forward is not known.
    """
    ahead = forward(points, up.vector)
    if ahead is None:
        return None
    x, yaw, by = ahead
    y = np.cross(up.vector, x)
    along, across = np.radians(level.floor_slope_along_deg), np.radians(level.floor_slope_across_deg)
    # a floor that rises forward turns x up about -y; one that rises to the left turns y up about +x
    turn = rotation_from_vector(-along * y) @ rotation_from_vector(across * x)
    axes = turn @ np.stack([x, y, up.vector], 1)
    within = np.radians(level.floor_within_deg) / np.sqrt(3)
    sources = dict(up.sources)
    sources["floor"] = within**2 * (np.outer(x, x) + np.outer(y, y))
    sources["forward"] = np.radians(yaw) ** 2 * np.outer(up.vector, up.vector)
    return Axes(axes, sources, f"floor and {by}")


def level_axes(points, up):
    """Axes from gravity and the sill alone: level, with the car's roll as an uncertainty."""
    ahead = forward(points, up.vector)
    if ahead is None:
        return None
    x, yaw, by = ahead
    sources = dict(up.sources)
    sources["forward"] = (np.radians(yaw) ** 2 * np.outer(up.vector, up.vector)
                          + np.radians(STANDS_ROLL_DEG) ** 2 * np.outer(x, x))
    return Axes(np.stack([x, np.cross(up.vector, x), up.vector], 1), sources, f"gravity and {by}")


def carried_axes(axes, tie):
    """Axes of the ride scene in another scene's world.

    Parameters: axes: of the ride scene; tie: ride from this scene.  Returns Axes.
    """
    back = tie.pose.rotation.T
    sources = {name: back @ c @ back.T for name, c in axes.sources.items()}
    sources["tie to ride"] = back @ tie.covariance[:3, :3] @ back.T
    return Axes(back @ axes.axes, sources, f"ride photos ({axes.by})")

