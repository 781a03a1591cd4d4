"""One measured quantity: value, standard uncertainty, interval, budget."""

from __future__ import annotations

import math
from dataclasses import dataclass, field


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
    budget: dict = field(default_factory=dict)

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval, (low, high)."""
        return self.low95, self.high95

_MOST_DOF = 10_000


def make_figure(corner, state, name, datum, unit, value, shares, scene_dof):
    """A Figure from its variance by source; scene_dof belongs to what comes from the pixels."""
    shares = {k: max(v, 0.0) for k, v in shares.items()}
    variance = sum(shares.values())
    u = math.sqrt(variance)
    from_pixels = shares.get("pixels", 0.0)
    dof = _MOST_DOF if from_pixels <= 0 else min(
        _MOST_DOF, scene_dof * (variance / from_pixels) ** 2)
    k = coverage_factor(dof)
    budget = {s: v / variance for s, v in sorted(shares.items(), key=lambda p: -p[1])
              if variance > 0 and v > 0.001 * variance}
    return Figure(corner, state, name, datum, unit, value, u, float(round(dof, 1)),
                  value - k * u, value + k * u, budget)


def coverage_factor(dof):
    """Two-sided 95 % quantile of Student's t (JCGM 100, annex G)."""
    from scipy.special import stdtrit

    return float(stdtrit(max(dof, 1.0), 0.975))
