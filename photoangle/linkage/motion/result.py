"""What joints by motion come to: points and axes with their covariance, and what stays open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.findings import Finding
from photoangle.core.roles import (
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    LINK_FOOT,
)
from photoangle.linkage.motion.model import RAD, Model, Plan
from photoangle.linkage.motion.moved import OPEN

NAMES = (BAR_BUSH, "bar_bush_far", BAR_EYE, LINK_FOOT, ARM_PIVOT_FRONT, ARM_PIVOT_REAR, ARM_BALL_JOINT)
_ON_BAR = (BAR_BUSH, "bar_bush_far")
# A joint whose standard uncertainty is more than this in any direction is not given as a point.
LOOSE_MM = 25.0


@dataclass(frozen=True)
class Motion:
    """The solution.

    names: the joints that are known in at least one state; states: names; open: joint -> (k, 3) directions
    that it is not known along, in the state where it is known best; turn_deg: "bar", "arm" -> (s,) from the
    part's first state, NaN where the state does not show it; moved: (marker, state name) found re-stuck or
    knocked before that state; new_link_from: states from which on the link is another, as given or found;
    still: parts that did not turn; chi2 and dof of the whole; findings.  `points` gives the joints at a
    state, `axis` a part's axis.
    """

    names: tuple[str, ...]
    states: tuple[str, ...]
    open: dict[str, Array]
    turn_deg: dict[str, Array]
    moved: tuple[tuple[int, str], ...]
    new_link_from: tuple[str, ...]
    still: tuple[str, ...]
    chi2: float
    dof: int
    findings: tuple[Finding, ...]
    _model: Model
    _covariance: Array
    _loose: Array

    def points(self, state: str | None = None) -> tuple[tuple[str, ...], Array, Array]:
        """(names, positions (n, 3) mm, covariance (3 n, 3 n)) of the joints known in the chassis at a state
        (by name, or None for the first).

        bar_bush_far lies 300 mm to the left of bar_bush on the bar's axis; where the bush (or an arm pivot)
        was not observed, its place along the axis is by definition and has no uncertainty.  Raises ValueError
        for a state that is not there.
        """
        index = 0 if state is None else self.states.index(state)
        model = self._model
        spreads = _spreads(self, [index])
        names = tuple(n for n in self.names if not len(spreads[n, index][2]))
        if not names:
            return (), np.zeros((0, 3)), np.zeros((0, 0))

        def stacked(x: Array) -> Array:
            m = model.moved(x)
            return np.concatenate([model.joint(m, n, index) for n in names], -1)

        zero = stacked(np.zeros((1, model.size)))[0]
        slope = model.jacobian(stacked)
        return names, zero.reshape(-1, 3), slope @ self._covariance @ slope.T

    def axis(self, body: str) -> tuple[Array, Array, Array] | None:
        """(point (3,) mm, direction (3,), covariance (3, 3) of a small turn of it, rad^2) of "bar" or "arm",
        or None where the part did not turn."""
        if body in self.still:
            return None
        model = self._model
        axis = model.estimate.axis[body]
        slope = model.jacobian(lambda x: np.cross(axis, model.moved(x).lines[body][1]))
        return model.estimate.point[body], axis, slope @ self._covariance @ slope.T


def _spreads(motion: Motion,
             indices: Iterable[int]) -> dict[tuple[str, int], tuple[Array, Array, Array]]:
    """(name, index) -> (variances (3,), directions (3, 3) as columns, open ones (k, 3)) of joints at
    states."""
    model = motion._model
    keys = [(n, s) for n in NAMES for s in indices]

    def stacked(x: Array) -> Array:
        m = model.moved(x)
        return np.concatenate([model.joint(m, n, s) for n, s in keys], -1)

    slopes = model.jacobian(stacked).reshape(len(keys), 3, -1)
    out = {}
    for key, slope in zip(keys, slopes, strict=False):
        free = slope @ motion._loose
        size, directions = np.linalg.eigh(slope @ motion._covariance @ slope.T + OPEN**2 * free @ free.T)
        if ("bar"
                if key[0] in _ON_BAR else "arm" if key[0].startswith("arm_pivot") else None) in motion.still:
            size = np.full(3, np.inf)
        out[key] = size, directions, directions[:, size > LOOSE_MM**2].T
    return out


def known_and_open(motion: Motion) -> tuple[dict[str, tuple[Array, Array]], dict[str, Array]]:
    """(known: joint -> (variances, directions), open: joint -> (k, 3)), each in the state where it is known
    best."""
    known, open_ = {}, {}
    spreads = _spreads(motion, range(len(motion.states)))
    for name in NAMES:
        size, directions, free = min((spreads[name, s] for s in range(len(motion.states))),
                                     key=lambda v: (len(v[2]), v[0][-1]))
        if len(free):
            open_[name] = free
        else:
            known[name] = size, directions
    return known, open_


def turns_deg(plan: Plan, model: Model, loose: Array) -> dict[str, Array]:
    """"bar", "arm" -> (s,) turns from the part's first state, deg; NaN where a state does not show the
    part."""
    out = {}
    for body in ("bar", "arm"):
        turn = np.degrees(model.estimate.turn[body])
        moving = [s for s in range(plan.states) if s != plan.first[body][0]]
        u = OPEN * RAD * np.linalg.norm(loose[model.blocks[f"{body} turn"]], axis=1)
        turn[np.array(moving, int)[u > 0.1]] = np.nan
        out[body] = turn
    return out
