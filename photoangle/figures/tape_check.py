"""Tape readings beside the photos' figures: the tape's own figures, and E_n between the two."""

from __future__ import annotations

from dataclasses import dataclass, replace

from photoangle.carfile.car import CarFile
from photoangle.core.agreement import e_n_of
from photoangle.core.estimate import Estimate
from photoangle.core.figure import Figure, figure_of
from photoangle.figures.measurands import Measurand, measurands
from photoangle.figures.measure import Measured, label
from photoangle.figures.tape_rules import TapedState


@dataclass(frozen=True)
class TapeComparison:
    """A tape figure beside the photos': what a tape would have read by them, where that is not the figure
    itself; e_n, and whether they agree (|E_n| <= 1)."""

    photo: Figure
    tape: Figure
    e_n: float

    @property
    def agrees(self) -> bool:
        return abs(self.e_n) <= 1


def tape_figures(car: CarFile,
                 measured: dict[tuple[str, str], Measured]) -> tuple[list[Figure], list[TapeComparison]]:
    """Figures of the tape in every state, and their comparison with the photos'.

    Parameters: car: CarFile; measured: (corner, state) -> what the photos gave.
    Returns (tape figures, comparisons).
    """
    figures, comparisons = [], []
    for corner in sorted(car.corners):
        for state, readings in sorted(car.corners[corner].tape.items()):
            photos = measured.get((corner, state))
            for row in measurands():
                tape = _taped(row, TapedState(readings, corner, state), photos)
                if tape is None:
                    continue
                figure = figure_of(tape, "value", corner, state, row)
                figures.append(replace(figure, name=f"tape:{row.name}"))
                if photos is not None and row.key in {m.key for m in photos.rows}:
                    seen = _as_taped(row, photos)
                    photo = figure_of(seen, "value", corner, state, row)
                    comparisons.append(TapeComparison(photo, figures[-1], e_n_of(tape, seen)))
    return figures, comparisons


def _taped(row: Measurand, taped: TapedState, photos: Measured | None) -> Estimate | None:
    if row.tape is None or not row.tape.needs(taped.of):
        return None
    return row.tape.value(taped, None if photos is None else photos.frame)


def _as_taped(row: Measurand, photos: Measured) -> Estimate:
    """What the photos say of the quantity as a tape takes it, as an Estimate named "value"."""
    if row.tape is not None and row.tape.photo is not None:
        return row.tape.photo(photos.frame)
    return photos.estimate.pick((label(row.key),)).named(("value",))
