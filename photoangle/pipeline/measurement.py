"""What a measuring run found out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from photoangle.carfile.car import CarFile
from photoangle.core.figure import Figure
from photoangle.core.findings import Finding
from photoangle.core.outcome import Report
from photoangle.geometry.states import StateResult


@dataclass
class Measurement:
    """Everything a measure run found out.  key: what it is kept under (`pipeline.kept`), else ""."""

    report: Report
    states: list
    car: CarFile
    kit: object
    root: Path | None
    key: str = ""

    def __post_init__(self):
        for state in self.states:
            state.figures = [
                f for f in self.report.figures if (f.corner, f.state) == (state.corner, state.state)
            ]

    def __getitem__(self, name: str) -> StateResult:
        """The state "corner/state", or "photos" for loose ones.  Raises KeyError with those there are."""
        for state in self.states:
            if state.name == name:
                return state
        raise KeyError(
            f"{name!r} was not measured; there are {', '.join(s.name for s in self.states) or 'none'}")

    @property
    def figures(self) -> list[Figure]:
        """Every Figure, in the order of ``--json``."""
        return self.report.figures

    @property
    def findings(self) -> list[Finding]:
        """Every Finding, each once."""
        return self.report.findings
