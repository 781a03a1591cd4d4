"""All figures of a state: values, and how each hangs on every error there is."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calib.differences import jacobian
from photoangle.core.arrays import Array
from photoangle.core.estimate import Estimate, Source
from photoangle.core.figure import Figure, figure_of
from photoangle.figures.frame import FrameEstimate
from photoangle.figures.measurands import Measurand, measurands
from photoangle.geometry.datums import LEAN
from photoangle.geometry.states import StateResult

_ANYTHING = 100.0  # deg or mm: far beyond what is told


@dataclass(frozen=True)
class Measured:
    """The figures that a state's points allow.

    rows: Measurands in the table's order; estimate: their values, named by `label`; frame: what they were
    computed from; slopes (m, 3 n + 11): derivatives of the m values by the frame's.
    """

    rows: tuple[Measurand, ...]
    estimate: Estimate
    frame: FrameEstimate
    slopes: Array

    def figures(self, corner: str | None, state: str | None) -> list[Figure]:
        return [figure_of(self.estimate, label(m.key), corner, state, m) for m in self.rows]


def label(key: tuple[str, str | None]) -> str:
    """How an estimate's value of a (name, datum) is named: "NAME against DATUM", or "NAME" without one."""
    name, datum = key
    return name if datum is None else f"{name} against {datum}"


def measured(state: StateResult, only: tuple[str, str | None] | None = None) -> Measured:
    """The figures of a geometry.states.StateResult; only: one (name, datum) in place of all."""
    frame = FrameEstimate.of(state)
    nominal = frame.nominal
    rows = tuple(m for m in measurands()
                 if only in (None, m.key) and m.known_from(frame.points) and m.value(nominal) is not None)

    def values(at: Array) -> Array:
        there = frame.frame(at)
        return np.array([np.nan if v is None else v for v in (m.value(there) for m in rows)], float)

    slopes = jacobian(values, frame.estimate.values, frame.steps)
    # a quantity that stops having a value within the differences is too near its end to be given
    good = np.asarray(np.isfinite(slopes).all(1))
    rows = tuple(m for m, g in zip(rows, good, strict=True) if g)
    names = [label(m.key) for m in rows]
    estimate = frame.estimate.linear(slopes[good], names, values(frame.estimate.values))
    return Measured(rows, _bent(estimate, frame.estimate, values), frame, slopes[good])


def _bent(estimate: Estimate, inputs: Estimate, values: Callable[[Array], Array]) -> Estimate:
    """The figures with what a lean does to second order.

    A line in the card's plane does not change with a small lean of that plane, but a steep one does with its
    square: its derivative says nothing of it.  For a normal error x of spread s, f(x) = f0 + a x + b x^2 has
    the mean f0 + b s^2, and beside a x the uncorrelated error b (x^2 - s^2) of variance 2 b^2 s^4; b is from
    f at +-sqrt(3) s (the points and weights of Gauss and Hermite's three).
    """
    for source, effect in inputs.effects.items():
        if source.title != LEAN:
            continue
        for k, sigma in enumerate(np.sqrt(source.covariance.diagonal())):
            step = math.sqrt(3) * sigma * effect[:, k]
            bend = (values(inputs.values + step) + values(inputs.values - step)) / 2 - values(inputs.values)
            known = np.isfinite(bend)
            bend = np.where(known, bend, 0.0) / 3
            # what has no value at all when leant that far may be anything
            spread = np.where(known, bend, _ANYTHING)
            square = Source((source.key, "squared", k), source.title, np.array([[2.0]]))
            estimate = estimate.plus(Estimate(estimate.names, bend, {square: spread[:, None]}))
    return estimate
