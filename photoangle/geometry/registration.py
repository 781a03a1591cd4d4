"""One state's world in another's: scenes tied by markers on one rigid body that were not touched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.kit import Kit
from calib.poses import Pose, hat, rotation_from_vector, vector_from_rotation
from photoangle.core.assumed import UNMOVED_DEG, UNMOVED_MM, Assumed
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.geometry.datums import TURN
from photoangle.reconstruction.scene import Scene

# Squared misfit (expected below 6) of a marker that was moved between the states.
_MOVED = 40


@dataclass(frozen=True)
class Tie:
    """How one scene's world lies in another's: pose ``other_from_this``; errors: Estimate of the errors of
    its small turn (rad, left, other's frame), named datums.TURN, and of its shift (mm), named SHIFT;
    covariance (6, 6) of these; shared: marker ids used; moved: ids found moved."""

    pose: Pose
    errors: Estimate
    covariance: np.ndarray
    shared: tuple[int, ...]
    moved: tuple[int, ...] = ()


SHIFT = ("shift x", "shift y", "shift z")


def chassis_markers(scene: Scene, kit: Kit) -> list[int]:
    """Ids of the scene's markers that ride on the chassis."""
    return [i for i in sorted(scene.markers) if kit.role(i).body == "chassis"
            and i not in scene.ambiguous]


def tie_scenes(this: Scene, other: Scene, kit: Kit) -> Tie | None:
    """Register two scenes by the chassis markers that both show.

    Least squares over turns and places with both scenes' full covariances; a marker that disagrees
    (moved between the states) is left out, the worst first, while three remain.
    Returns Tie or None where no chassis marker is shared.
    """
    return tie_bodies(this, other,
                      [i for i in chassis_markers(this, kit) if i in chassis_markers(other, kit)])[0]


def tie_bodies(this: Scene, other: Scene, ids: Sequence[int]) -> tuple[Tie | None, np.ndarray]:
    """As `tie_scenes`, by the markers of any one rigid body.

    Returns (Tie or None, squares: squared misfit of each of the tie's shared markers, expected below 6).
    """
    shared, moved, tie, squares = list(ids), [], None, np.zeros(0)
    while shared:
        tie, squares = _register(this, other, shared)
        worst = int(np.argmax(squares))
        if squares[worst] < _MOVED or len(shared) < 3:
            break
        moved.append(shared.pop(worst))
    return (replace(tie, moved=tuple(moved)) if tie is not None else None), squares


def stacked_covariance(scene: Scene, ids: Sequence[int]) -> np.ndarray:
    """Covariance (6 m, 6 m) of the poses of markers, turn (rad) then place (mm), against other photos of the
    same paper."""
    pick = scene.pose_matrix(ids)
    return pick @ scene.covariance_of_one_paper @ pick.T


def _register(this: Scene, other: Scene, ids: Sequence[int]) -> tuple[Tie, np.ndarray]:
    a, b = [this.markers[i] for i in ids], [other.markers[i] for i in ids]
    cov_a, cov_b = stacked_covariance(this, ids), stacked_covariance(other, ids)
    pose = b[0] @ a[0].inverse()
    m = len(ids)
    slack = np.tile(np.r_[np.full(3, np.radians(UNMOVED_DEG) ** 2), np.full(3, UNMOVED_MM**2)], m)
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
    total = float(residual @ weight @ residual)
    scale = max(1.0, total / max(6 * m - 6, 1)) if m > 1 else 1.0
    inverse = np.linalg.inv(normal)
    gain = inverse @ jacobian.T @ weight
    rest = gain @ np.diag(slack) @ gain.T + (scale - 1) * inverse
    own = Source(("tie", this.origin.state, other.origin.state), "tie to ride", rest,
                 assumed=Assumed("UNMOVED_MM"))
    names = TURN + SHIFT
    errors = other.errors.linear(gain @ other.pose_matrix(ids), names).minus(
        this.errors.linear(gain @ turn @ this.pose_matrix(ids), names)).also(own, np.eye(6))
    return Tie(pose, errors, inverse * scale, tuple(ids)), squares


def moved_findings(tie: Tie, kit: Kit, where: str) -> list[Finding]:
    """Findings for chassis markers that sit elsewhere than in the ride photos."""
    out = [
        Finding(
            ATTENTION, where, f"marker {i} ({kit.role(i).title}) sits elsewhere on the car than in"
            " the ride photos and was not used to tie the two", "was it re-stuck or knocked?")
        for i in tie.moved
    ]
    if len(tie.shared) == 1:
        title = kit.role(tie.shared[0]).title
        out.append(
            Finding(NOTE, where, f"only one chassis marker ({title}) ties this state to the ride photos",
                    "have both sill markers and the arch lip in view in both states"))
    return out
