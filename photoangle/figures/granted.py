"""What a state's figures take for granted: each default that stands for something unknown, with its effect.

Taken from the budgets: a source of error says itself which default it is (`core.assumed.Assumed`).
"""

from __future__ import annotations

import math

from photoangle.core.assumed import Assumed
from photoangle.core.figure import Figure
from photoangle.core.outcome import Granted
from photoangle.figures.measure import label
from photoangle.geometry.states import StateResult

# What a plus-or-minus of each unit weighs against one of another: changes of this size matter alike.
_ALIKE = {"deg": 1.0, "mm": 3.0}
# A default that widens no figure by more than this share of its plus-or-minus is not worth a line.
_LEAST = 0.005


def taken_for_granted(state: StateResult) -> list[Granted]:
    """The defaults that the figures of a state rest on, the one that widens a figure most first.

    state: geometry.states.StateResult with its figures measured.
    """
    known = state.measured
    figures = {label(row.key): f
               for row, f in zip(known.rows, known.figures(state.corner, state.state), strict=True)}
    worst: dict[Assumed, tuple[float, Figure, float]] = {}
    for name, figure in figures.items():
        half = (figure.high95 - figure.low95) / 2
        parts: dict[Assumed, float] = {}
        for source, variance in known.estimate.variances(name).items():
            if source.assumed is not None:
                parts[source.assumed] = parts.get(source.assumed, 0.0) + variance
        for assumed, variance in parts.items():
            if figure.u <= 0:
                continue
            without = half * math.sqrt(max(0.0, 1 - variance / figure.u**2))
            weight = (half - without) / _ALIKE.get(figure.unit, 1.0)
            if half - without > _LEAST * half and weight > worst.get(assumed, (0.0, figure, 0.0))[0]:
                worst[assumed] = weight, figure, without
    return [Granted(state.corner, state.state, assumed, figure, without)
            for assumed, (_, figure, without) in sorted(worst.items(), key=lambda p: -p[1][0])]
