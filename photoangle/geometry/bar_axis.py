"""The axis the bar turns about, from two or more positions of the car.

Between two states the bar's markers turn about one axis fixed in the chassis: each marker's turn is a
rotation vector along it, and each marker's shift is square to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.kit import Kit
from calib.poses import Pose, hat, vector_from_rotation
from photoangle.core.assumed import BAR_AXIS_DEG, BAR_SWAY_DEG, Assumed
from photoangle.core.estimate import Estimate, Source
from photoangle.core.origin import Origin
from photoangle.geometry.datums import TURN, Axes
from photoangle.geometry.registration import Tie
from photoangle.reconstruction.scene import Scene

_LEAST_TURN = np.radians(2.5)
_FOREIGN = 16.0  # squared misfit per marker and pair of states, expected 3


@dataclass(frozen=True)
class BarAxis:
    """Unit vector (3,) in the reference scene's world, and the covariance (3, 3) of a small turn of it, rad,
    without what the bushes sway by; markers and states it rests on."""

    vector: np.ndarray
    covariance: np.ndarray
    markers: tuple[int, ...]
    states: tuple[str, ...]


def bar_axis_from_states(scenes: Mapping[str, Scene], ties: Mapping[str, Tie | None],
                         kit: Kit) -> BarAxis | None:
    """The bar's axis from scenes tied together by the chassis.

    Parameters: scenes: state -> Scene; ties: state -> registration.Tie to the reference (None for the
    reference itself); kit.
    Returns BarAxis or None where no bar marker turned far enough.
    """
    seen: dict[int, list[str]] = {}
    for state, scene in scenes.items():
        for i in scene.markers:
            if kit.role(i).body == "bar" and i not in scene.ambiguous:
                seen.setdefault(i, []).append(state)
    pairs = []
    for marker, states in sorted(seen.items()):
        base = states[0]
        for other in states[1:]:
            pairs.append(_pair(marker, base, other, scenes, ties))
    pairs = [p for p in pairs if np.linalg.norm(p["turn"]) > _LEAST_TURN]
    while pairs:
        axis, covariance, misfit = _fit(pairs)
        worst = int(np.argmax(misfit))
        if misfit[worst] < _FOREIGN or len(pairs) == 1:
            break
        pairs.pop(worst)
    if not pairs or misfit[0] > 10 * _FOREIGN:
        return None
    return BarAxis(axis, covariance,
                   tuple(sorted({p["marker"] for p in pairs})),
                   tuple(sorted({s for p in pairs for s in p["states"]})))


def _placed(marker: int, state: str, scenes: Mapping[str, Scene],
            ties: Mapping[str, Tie | None]) -> tuple[Pose, np.ndarray]:
    """Pose of a marker in the reference world with its covariance (6, 6): turn, then shift."""
    scene, tie = scenes[state], ties[state]
    k = scene.order.index(marker)
    where = scene.solution.bundle.body_slice_of(k)
    own = scene.covariance_of_one_paper[where, where] if k else np.zeros((6, 6))
    pose = scene.markers[marker]
    if tie is None:
        return pose, own
    moved = tie.pose @ pose
    spin = np.zeros((6, 6))
    spin[:3, :3] = spin[3:, 3:] = tie.pose.rotation
    arm = tie.pose.rotation @ pose.translation_mm
    lever = np.eye(6)
    lever[3:, :3] = -hat(arm)
    return moved, spin @ own @ spin.T + lever @ tie.covariance @ lever.T


def _pair(marker: int, base: str, other: str, scenes: Mapping[str, Scene],
          ties: Mapping[str, Tie | None]) -> dict[str, Any]:
    (a, cov_a), (b, cov_b) = (_placed(marker, s, scenes, ties) for s in (base, other))
    return {"marker": marker, "states": (base, other), "key": (base, other),
            "turn": vector_from_rotation(b.rotation @ a.rotation.T),
            "shift": b.translation_mm - a.translation_mm, "covariance": cov_a + cov_b}


def _fit(pairs: list[dict[str, Any]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Axis by Gauss-Newton over its two angles and each pair of states' turn."""
    first = pairs[0]["turn"]
    axis = first / np.linalg.norm(first)
    keys = sorted({p["key"] for p in pairs})
    angle = {k: np.mean([p["turn"] @ axis for p in pairs if p["key"] == k]) for k in keys}
    for _ in range(20):
        across = np.linalg.svd(axis[None])[2][1:].T  # (3, 2): directions the axis may lean
        rows, residuals, weights = [], [], []
        for p in pairs:
            c = p["covariance"]
            row = np.zeros((4, 2 + len(keys)))
            t = angle[p["key"]]
            row[:3, :2], row[:3, 2 + keys.index(p["key"])] = -t * across, -axis
            row[3, :2] = p["shift"] @ across
            r = np.r_[p["turn"] - t * axis, p["shift"] @ axis]
            pick = np.zeros((4, 6))
            pick[:3, :3], pick[3, 3:] = np.eye(3), axis
            rows.append(row)
            residuals.append(r)
            weights.append(np.linalg.inv(pick @ c @ pick.T + np.diag([1e-8] * 3 + [0.02**2])))
        normal = sum(a.T @ w @ a for a, w in zip(rows, weights, strict=False))
        step = -np.linalg.solve(
            normal, sum(a.T @ w @ r for a, w, r in zip(rows, weights, residuals, strict=False))
        )
        axis = axis + across @ step[:2]
        axis /= np.linalg.norm(axis)
        for k, key in enumerate(keys):
            angle[key] += step[2 + k]
        if np.abs(step).max() < 1e-10:
            break
    inverse = np.linalg.inv(normal)[:2, :2]
    # leaning the axis along `across` is a turn about axis x across
    turn = np.cross(axis, across.T).T
    misfit = np.array([r @ w @ r for r, w in zip(residuals, weights, strict=False)])
    return axis, turn @ inverse @ turn.T, misfit


@dataclass(frozen=True)
class BarDirection:
    """The bar's own axis in one state: unit vector (3,) in its scene's world; turn: Estimate of the error of
    a small turn of it (rad), named datums.TURN."""

    vector: np.ndarray
    turn: Estimate


def bar_direction(axis: BarAxis, rotation: np.ndarray, origin: Origin) -> BarDirection:
    """The bar's axis as motion showed it, in one state.

    Parameters: axis: BarAxis; rotation (3, 3): this state's world from the reference's; origin: the state's
    Origin.
    """
    # the axis is one estimate for all states; the bushes may sway in each
    seen = Source(("bar axis", origin.corner), "bar axis", axis.covariance)
    sway = Source(("sway", origin.state), "bar axis", np.eye(3) * np.radians(BAR_SWAY_DEG) ** 2,
                  assumed=Assumed("BAR_SWAY_DEG"))
    turn = Estimate(TURN, np.zeros(3), {seen: rotation, sway: np.eye(3)})
    return BarDirection(rotation @ axis.vector, turn)


def bar_as_built(axes: Axes, origin: Origin) -> BarDirection:
    """The bar straight across the car, where nothing shows its own axis: what it differs by from that, beside
    the axes' own error.  axes: datums.Axes; origin: Origin."""
    built = Source(("bar as built", origin.corner), "bar axis", np.eye(3) * np.radians(BAR_AXIS_DEG) ** 2,
                   assumed=Assumed("BAR_AXIS_DEG"))
    return BarDirection(axes.axes[:, 1], Estimate(TURN, np.zeros(3), {built: axes.axes}))
