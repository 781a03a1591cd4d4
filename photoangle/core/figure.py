"""One measured quantity: value, standard uncertainty, interval, budget."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from photoangle.core.estimate import Estimate


@dataclass(frozen=True)
class Figure:
    """One measured quantity, as in the list that ``--json`` prints.

    value and u (standard uncertainty) in ``unit``; dof: degrees of freedom of u; low95, high95; budget: share
    of the variance by source, summing to one.
    """

    corner: str | None
    state: str | None
    name: str
    datum: str | None
    unit: str
    value: float
    u: float
    dof: float
    low95: float
    high95: float
    budget: dict[str, float] = field(default_factory=dict)

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval."""
        return self.low95, self.high95

    def within(self, centre: float, half: float) -> bool | None:
        """Whether the quantity lies within half of centre (both in unit): True where its whole 95 % interval
        does, False where none of it does, None where that can't be told."""
        low, high = centre - half, centre + half
        if low <= self.low95 and self.high95 <= high:
            return True
        return False if self.high95 < low or self.low95 > high else None


# An interval wider than this, from end to end, says nothing that anybody could act on.
_SAYS_NOTHING = {"deg": 10.0, "mm": 30.0}


def says_nothing(figure: Figure) -> bool:
    """Whether a figure's interval is so wide that printing it would only mislead."""
    return figure.high95 - figure.low95 > _SAYS_NOTHING.get(figure.unit, float("inf"))


class Named(Protocol):
    """What a figure is: its name, datum and unit."""

    @property
    def name(self) -> str: ...

    @property
    def datum(self) -> str | None: ...

    @property
    def unit(self) -> str: ...


def figure_of(estimate: Estimate, label: str, corner: str | None, state: str | None, what: Named) -> Figure:
    """One value of an estimate as a Figure, with Student's t by its effective degrees of freedom (JCGM 100,
    annex G)."""
    value, u = float(estimate.values[estimate.names.index(label)]), estimate.u(label)
    dof = estimate.dof(label)
    half = coverage_factor(dof) * u
    return Figure(corner, state, what.name, what.datum, what.unit, value, u, float(round(dof, 1)),
                  value - half, value + half, estimate.budget(label))


def coverage_factor(dof: float) -> float:
    """Two-sided 95 % quantile of Student's t (JCGM 100, annex G)."""
    from scipy.special import stdtrit

    return float(stdtrit(max(dof, 1.0), 0.975))
