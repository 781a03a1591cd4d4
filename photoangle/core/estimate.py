"""Estimates: named values, and how each depends on independent sources of error.

To first order every measured value is a linear form of errors that have nothing to do with each other: the
pixels of one state, the prior of one lens, the scale of one print, the sticking of one marker.  Each such
error is a `Source` with a key. What two estimates share has one key in both, so that joining them keeps their
correlation and subtracting them cancels it; there is nothing else to remember.  The covariance follows from
the sensitivities (JCGM 100, 5.1.2 and F.1.2.3), the degrees of freedom by Welch and Satterthwaite (JCGM 100,
G.4).

Left out: what is left out of linearising.  Sensitivities of a mapped estimate are central differences.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from calib.differences import jacobian
from photoangle.core.arrays import Array
from photoangle.core.assumed import Assumed

MOST_DOF = 10_000.0


@dataclass(frozen=True, eq=False)
class Source:
    """One independent error of k components: two with equal keys are the same error.

    key: says whose error it is; title: its line in a budget; covariance (k, k), in units that the
    sensitivities take to the estimate's; dof: degrees of freedom of that covariance, infinite where it is
    stated and not found from scatter; assumed: which default that is, where nothing measured it.
    """

    key: Hashable
    title: str
    covariance: Array
    dof: float = math.inf
    assumed: Assumed | None = None

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Source) and self.key == other.key

    def __hash__(self) -> int:
        return hash(self.key)


@dataclass(frozen=True, eq=False)
class Estimate:
    """Named values with their sensitivities to independent sources.

    names: n different ones; values (n,); effects: Source -> sensitivity (n, k).  Units are the values' own.
    """

    names: tuple[str, ...]
    values: Array
    effects: Mapping[Source, Array] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len(set(self.names)) != len(self.names):
            raise ValueError("an estimate's names must differ")
        if self.values.shape != (len(self.names),):
            raise ValueError(f"{len(self.names)} names for values of shape {self.values.shape}")

    @classmethod
    def stated(cls, names: Sequence[str], values: ArrayLike, source: Source | None = None) -> Estimate:
        """Values whose errors are one source's components, one each; exact without a source."""
        values = np.array(values, float).reshape(-1)
        return cls(tuple(names), values, {} if source is None else {source: np.eye(len(values))})

    # ---- the algebra ----

    def pick(self, names: Sequence[str]) -> Estimate:
        """The named ones, in that order.  Raises KeyError for a name that is not there."""
        place = {name: k for k, name in enumerate(self.names)}
        rows = np.array([place[name] for name in names], int)
        return Estimate(tuple(names), self.values[rows], {s: e[rows] for s, e in self.effects.items()})

    def join(self, *others: Estimate) -> Estimate:
        """One estimate of all their names; what they share keeps them correlated."""
        parts = (self, *others)
        rows = np.cumsum([0, *(len(p.names) for p in parts)])
        effects: dict[Source, Array] = {}
        for part, start, stop in zip(parts, rows[:-1], rows[1:], strict=True):
            for source, effect in part.effects.items():
                if source not in effects:
                    effects[source] = np.zeros((rows[-1], effect.shape[1]))
                _same_size(source, effects[source], effect)
                effects[source][start:stop] += effect
        return Estimate(tuple(n for p in parts for n in p.names), np.concatenate([p.values for p in parts]),
                        effects)

    def plus(self, other: Estimate) -> Estimate:
        """Name by name the sum.  Raises ValueError where the names differ."""
        return self._combined(other, 1.0)

    def minus(self, other: Estimate) -> Estimate:
        """Name by name the difference: what both share cancels.  Raises ValueError where the names differ."""
        return self._combined(other, -1.0)

    def _combined(self, other: Estimate, sign: float) -> Estimate:
        if self.names != other.names:
            raise ValueError("only estimates of the same names can be added or subtracted")
        effects = dict(self.effects)
        for source, effect in other.effects.items():
            if source in effects:
                _same_size(source, effects[source], effect)
                effects[source] = effects[source] + sign * effect
            else:
                effects[source] = sign * effect
        return Estimate(self.names, self.values + sign * other.values, effects)

    def linear(self, matrix: Array, names: Sequence[str], values: ArrayLike | None = None) -> Estimate:
        """What depends on this by derivatives ``matrix`` (m, n); values: those it has, else matrix times
        values."""
        values = matrix @ self.values if values is None else values
        return Estimate(tuple(names), np.asarray(values, float),
                        {s: matrix @ e
                         for s, e in self.effects.items()})

    def map(self, function: Callable[[Array], Array], names: Sequence[str],
            steps: ArrayLike) -> Estimate:
        """A function of the values, with derivatives by central differences.

        function(values (n,)) -> (m,); names: m; steps (n,) or one number: half the width of each difference,
        in the values' units.
        """
        return self.linear(jacobian(function, self.values, steps), names, function(self.values))

    def named(self, names: Sequence[str]) -> Estimate:
        """The same under other names."""
        return Estimate(tuple(names), self.values, self.effects)

    def rekeyed(self, change: Callable[[Source], Source]) -> Estimate:
        """The same with other sources: errors that come to have one key are one error, and their effects add
        up."""
        effects: dict[Source, Array] = {}
        for source, effect in self.effects.items():
            new = change(source)
            if new in effects:
                _same_size(new, effects[new], effect)
                effects[new] = effects[new] + effect
            else:
                effects[new] = effect
        return Estimate(self.names, self.values, effects)

    def also(self, source: Source, effect: Array) -> Estimate:
        """The same with one more error in it: effect (n, k)."""
        return self.plus(Estimate(self.names, np.zeros(len(self.names)), {source: effect}))

    def retitled(self, title: Callable[[Source], str]) -> Estimate:
        """The same with other lines in its budget; the errors stay what they are."""
        return self.rekeyed(lambda s: replace(s, title=title(s)))

    # ---- what it says ----

    def covariance(self) -> Array:
        """(n, n)."""
        return sum(self.covariances().values(), np.zeros((len(self.names),) * 2))

    def covariances(self) -> dict[str, Array]:
        """Title -> its part (n, n) of the covariance."""
        out: dict[str, Array] = {}
        for source, effect in self.effects.items():
            part = effect @ source.covariance @ effect.T
            out[source.title] = out[source.title] + part if source.title in out else part
        return out

    def variances(self, name: str) -> dict[Source, float]:
        """Source -> its part of the variance of one value."""
        row = self.names.index(name)
        return {s: max(0.0, float(e[row] @ s.covariance @ e[row])) for s, e in self.effects.items()}

    def u(self, name: str) -> float:
        """Standard uncertainty of one value."""
        return math.sqrt(sum(self.variances(name).values()))

    def dof(self, name: str) -> float:
        """Effective degrees of freedom of one value's u, at most MOST_DOF (Welch and Satterthwaite)."""
        parts = self.variances(name)
        few = sum(v * v / s.dof for s, v in parts.items() if math.isfinite(s.dof))
        return min(MOST_DOF, sum(parts.values()) ** 2 / few) if few > 0 else MOST_DOF

    def budget(self, name: str) -> dict[str, float]:
        """Title -> share of the variance of one value, the largest first; shares under a thousandth are left
        out."""
        shares: dict[str, float] = {}
        for source, v in self.variances(name).items():
            shares[source.title] = shares.get(source.title, 0.0) + v
        total = sum(shares.values())
        return {
            t: v / total
            for t, v in sorted(shares.items(), key=lambda p: -p[1]) if total > 0 and v > 0.001 * total
        }


def _same_size(source: Source, one: Array, other: Array) -> None:
    if one.shape[1] != other.shape[1]:
        raise ValueError(f"the source {source.key!r} has {one.shape[1]} and {other.shape[1]} components")


def added(*estimates: Estimate) -> Estimate:
    """The sum of estimates of the same names."""
    total = estimates[0]
    for other in estimates[1:]:
        total = total.plus(other)
    return total
