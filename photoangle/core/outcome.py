"""What a run gives back: figures, findings, and the one place that knows the exit code."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from photoangle.core.assumed import Assumed
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, UNUSABLE, Finding

VERSION = 1
GOOD, LOOK, FAILED = 0, 1, 2


class Answered(Protocol):
    """What has figures and findings to give."""

    @property
    def figures(self) -> Sequence[Figure]: ...

    @property
    def findings(self) -> Sequence[Finding]: ...


@dataclass(frozen=True)
class Granted:
    """One default that stood for something unknown in a state: which, and what it does to the figure that
    hangs on it most.

    assumed: which; figure: that figure; without: its 95 % plus-or-minus were the unknown known.
    """

    corner: str | None
    state: str | None
    assumed: Assumed
    figure: Figure
    without: float

    @property
    def half(self) -> float:
        """The figure's 95 % plus-or-minus as it is."""
        return (self.figure.high95 - self.figure.low95) / 2


@dataclass
class Report:
    """Collects figures and findings in the order in which they come.

    figures: list of Figure; findings: list of Finding, each once; pictures: paths written; granted: what was
    taken for granted, as Granted.
    """

    figures: list[Figure] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    pictures: list[Path] = field(default_factory=list)
    comparisons: list[Any] = field(default_factory=list)
    granted: list[Granted] = field(default_factory=list)

    def tell(self, *findings: Finding) -> None:
        for finding in findings:
            if finding not in self.findings:
                self.findings.append(finding)

    def take(self, answers: Iterable[Answered]) -> None:
        """Add the figures and findings of answers (`answer.CornerAnswer`, `axles.AxleAnswer`)."""
        for answer in answers:
            self.figures += answer.figures
            self.tell(*answer.findings)

    @property
    def exit_code(self) -> int:
        """0 good; 1 measured but something needs attention; 2 nothing could be measured."""
        if not self.figures and any(f.level == UNUSABLE for f in self.findings):
            return FAILED
        return LOOK if any(f.level in (ATTENTION, UNUSABLE) for f in self.findings) else GOOD

    def to_json(self) -> str:
        """The object that ``--json`` prints."""
        return json.dumps({
            "version": VERSION,
            "figures": [_plain(f) for f in self.figures],
            "findings": [{"level": f.level, "where": f.where, "what": f.what, "do": f.do}
                         for f in self.findings],
            "assumed": [_granted(g) for g in self.granted]}, indent=1)


def _granted(g: Granted) -> dict[str, object]:
    return {"corner": g.corner, "state": g.state, "name": g.assumed.name, "of": g.assumed.of,
            "what": g.assumed.words, "settled_by": g.assumed.settled_by, "figure": g.figure.name,
            "datum": g.figure.datum, "unit": g.figure.unit, "half95": round(g.half, 5),
            "half95_without": round(g.without, 5)}


def _plain(f: Figure) -> dict[str, object]:
    return {"corner": f.corner, "state": f.state, "name": f.name, "datum": f.datum, "unit": f.unit,
            "value": round(f.value, 5), "u": round(f.u, 6), "dof": f.dof, "low95": round(f.low95, 5),
            "high95": round(f.high95, 5), "budget": {k: round(v, 4) for k, v in f.budget.items()}}
