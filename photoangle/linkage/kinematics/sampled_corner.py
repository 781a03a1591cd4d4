"""What the mechanics asks of a corner, however it was measured: estimates, samples, and what stands around
it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from photoangle.core.arrays import Array
from photoangle.linkage.kinematics.layout import Layout


class HasVector(Protocol):
    """A direction with its uncertainty: vector (3,)."""

    @property
    def vector(self) -> Array: ...


class HasTurn(HasVector, Protocol):
    """turn_cov (3, 3): covariance of a small turn, rad^2."""

    @property
    def turn_cov(self) -> Array: ...


class SampledCorner(Protocol):
    """A corner that was measured (`corner.Corner`) or taped (`tape_only.TapedCorner`); fields as theirs."""

    @property
    def name(self) -> str: ...

    @property
    def state(self) -> str: ...

    @property
    def hose_leads_away(self) -> bool: ...

    @property
    def given(self) -> tuple[str, ...]:
        """Names of the points that were measured."""

    @property
    def radius_mm(self) -> Mapping[str, float]: ...

    @property
    def stud(self) -> Mapping[str, HasVector]: ...

    @property
    def source_names(self) -> tuple[str, ...]:
        """Everything that a figure's budget may name."""

    def nominal(self) -> Layout:
        """Layout with every input at its estimate; leading axes (1, 1)."""

    def sample(self, n: int, seed: int = 1, only: str | None = None) -> Layout:
        """n samples of everything: Layout with leading axes (n, 1); only: one source's name, the others at
        their estimates."""
