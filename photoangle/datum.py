"""What angles are measured against: gravity, floor, chassis.

Gravity comes from the plumb markers or a levelled card.  The chassis's level is defined as the car at
ride height on a level floor, so the ride state's floor is the zero; other states of the same corner are
tied to it by the chassis markers that were not touched.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.poses import Pose, hat, rotation_from_vector, vector_from_rotation
from photoangle.model import ATTENTION, NOTE, Finding

# How true a strip hangs: hole and weight each within 0.3 mm (half-width) of the centre line, 290 mm apart.
_STRIP_HANGS_DEG = 0.05
# A spirit level along the card's edge: 1 mm/m, makers' convention, half-width.
_LEVEL_DEG = 0.057 / np.sqrt(3)
_CARD_LEANS_DEG = 3.0
# The sill's line against the chassis's x axis, seen from above and, without a ride state, the car's roll.
_SILL_YAW_DEG, STANDS_ROLL_DEG = 1.0, 0.6
_UNMOVED_MM, _UNMOVED_DEG = 0.05, 0.02
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


@dataclass(frozen=True)
class Tie:
    """How one scene's world lies in another's: pose ``other_from_this`` and covariance (6, 6) of a small
    turn and shift (left, other's frame); shared: marker ids used; moved: ids found moved; gain: (6, 6 m) twice, by which
    the shared markers' errors (turn, then shift) in this scene and in the other reach the tie; rest (6, 6): the
    covariance that comes from neither."""

    pose: Pose
    covariance: np.ndarray
    shared: tuple
    moved: tuple
    gain: tuple = ()
    rest: np.ndarray | None = None


def chassis_markers(scene, kit):
    """Ids of the scene's markers that ride on the chassis."""
    return [i for i in sorted(scene.markers) if kit.slot(i).role.body == "chassis"
            and i not in scene.loose]


def tie_scenes(this, other, kit):
    """Register two scenes by the chassis markers that both show.

    Least squares over turns and places with both scenes' full covariances; a marker that disagrees
    (moved between the states) is left out, the worst first, while three remain.
    Returns Tie or None where no chassis marker is shared.
    """
    return tie_bodies(this, other, [i for i in chassis_markers(this, kit) if i in chassis_markers(other, kit)])[0]


def tie_bodies(this, other, ids):
    """As `tie_scenes`, by the markers of any one rigid body.

    Returns (Tie or None, squares: squared misfit of each of the tie's shared markers, expected below 6).
    """
    shared, moved, tie, squares = list(ids), [], None, np.zeros(0)
    while shared:
        tie, squares = _register(this, other, shared)
        worst = int(np.argmax(squares))
        if squares[worst] < 40 or len(shared) < 3:
            break
        moved.append(shared.pop(worst))
    return (replace(tie, moved=tuple(moved)) if tie is not None else None), squares


def stacked_covariance(scene, ids):
    """Covariance (6 m, 6 m) of the poses of markers, turn then shift."""
    at = np.concatenate([np.arange(6) + scene.solution.bundle.body_slice_of(
        scene.order.index(i)).start for i in ids]) if ids else np.zeros(0, int)
    fixed = np.array([scene.order.index(i) == 0 for i in ids]).repeat(6)
    safe = np.where(fixed, 0, at)
    out = scene.covariance[np.ix_(safe, safe)].copy()
    out[fixed], out[:, fixed] = 0, 0
    return out


def _register(this, other, ids):
    a, b = [this.markers[i] for i in ids], [other.markers[i] for i in ids]
    cov_a, cov_b = stacked_covariance(this, ids), stacked_covariance(other, ids)
    pose = b[0] @ a[0].inverse()
    m = len(ids)
    slack = np.tile(np.r_[np.full(3, np.radians(_UNMOVED_DEG) ** 2), np.full(3, _UNMOVED_MM**2)], m)
    for _ in range(15):
        residual = np.zeros(6 * m)
        jacobian = np.zeros((6 * m, 6))
        turn = np.zeros((6 * m, 6 * m))
        for k in range(m):
            moved = pose @ a[k]
            residual[6 * k:6 * k + 3] = vector_from_rotation(moved.rotation @ b[k].rotation.T)
            residual[6 * k + 3:6 * k + 6] = moved.translation_mm - b[k].translation_mm
            jacobian[6 * k:6 * k + 3, :3] = np.eye(3)
            arm = pose.rotation @ a[k].translation_mm
            jacobian[6 * k + 3:6 * k + 6, :3] = -hat(arm)
            jacobian[6 * k + 3:6 * k + 6, 3:] = np.eye(3)
            turn[6 * k:6 * k + 3, 6 * k:6 * k + 3] = pose.rotation
            turn[6 * k + 3:6 * k + 6, 6 * k + 3:6 * k + 6] = pose.rotation
        weight = np.linalg.inv(turn @ cov_a @ turn.T + cov_b + np.diag(slack))
        normal = jacobian.T @ weight @ jacobian
        step = -np.linalg.solve(normal, jacobian.T @ weight @ residual)
        spin = rotation_from_vector(step[:3])
        pose = Pose(spin @ pose.rotation, pose.translation_mm + step[3:])
        if np.abs(step).max() < 1e-9:
            break
    residual = residual + jacobian @ step
    squares = np.array([residual[6 * k:6 * k + 6] @ np.linalg.solve(
        (turn @ cov_a @ turn.T + cov_b + np.diag(slack))[6 * k:6 * k + 6, 6 * k:6 * k + 6],
        residual[6 * k:6 * k + 6]) for k in range(m)])
    total = residual @ weight @ residual
    scale = max(1.0, total / max(6 * m - 6, 1)) if m > 1 else 1.0
    inverse = np.linalg.inv(normal)
    gain = inverse @ jacobian.T @ weight
    rest = gain @ np.diag(slack) @ gain.T + (scale - 1) * inverse
    return Tie(pose, inverse * scale, tuple(ids), (), (-gain @ turn, gain), rest), squares


def carried_axes(axes, tie):
    """Axes of the ride scene in another scene's world.

    Parameters: axes: of the ride scene; tie: ride from this scene.  Returns Axes.
    """
    back = tie.pose.rotation.T
    sources = {name: back @ c @ back.T for name, c in axes.sources.items()}
    sources["tie to ride"] = back @ tie.covariance[:3, :3] @ back.T
    return Axes(back @ axes.axes, sources, f"ride photos ({axes.by})")


def moved_findings(tie, kit, where):
    """Findings for chassis markers that sit elsewhere than in the ride photos."""
    out = [Finding(ATTENTION, where, f"marker {i} ({kit.slot(i).role.title}) sits elsewhere on the car than in"
                   " the ride photos and was not used to tie the two", "was it re-stuck or knocked?")
           for i in tie.moved]
    if len(tie.shared) == 1:
        title = kit.slot(tie.shared[0]).role.title
        out.append(Finding(NOTE, where, f"only one chassis marker ({title}) ties this state to the ride photos",
                           "have both sill markers and the arch lip in view in both states"))
    return out
