"""Does the tape agree with the size of the print?  A wrong print check makes every length wrong by one
factor."""

from __future__ import annotations

import math
from collections.abc import Sequence

from photoangle.carfile.car import PrintCheck
from photoangle.core.findings import ATTENTION, Finding
from photoangle.figures.tape_check import TapeComparison

# Lengths that must tell of one factor, all of them; how far it is off, and by how many of its u.
_LEAST_LENGTHS, _LEAST_OFF, _SURE = 3, 0.01, 3.0


def size_by_tape(comparisons: Sequence[TapeComparison]) -> tuple[float, float] | None:
    """(lengths by tape over lengths by photos, its standard uncertainty); None where they tell of no one
    factor.

    Of a length in several states the best known one counts: a tape is laid alike each time.
    """
    best: dict[str, tuple[float, float]] = {}
    for c in comparisons:
        if c.photo.unit != "mm" or c.photo.value <= 0:
            continue
        ratio, u = c.tape.value / c.photo.value, math.hypot(c.tape.u, c.photo.u) / c.photo.value
        if u > 0 and (c.photo.name not in best or u < best[c.photo.name][1]):
            best[c.photo.name] = ratio, u
    if len(best) < _LEAST_LENGTHS:
        return None
    weights = [u**-2 for _, u in best.values()]
    size = sum(w * r for w, (r, _) in zip(weights, best.values(), strict=True)) / sum(weights)
    if any(abs(r - size) > 2 * u for r, u in best.values()):
        return None
    return size, 1 / math.sqrt(sum(weights))


def contradicted_by_tape(comparisons: Sequence[TapeComparison], check: PrintCheck) -> Finding | None:
    """A Finding where all lengths by tape say that the sheets were printed at another size than the print
    check does, else None."""
    found = size_by_tape(comparisons)
    if found is None or (check.x_line_mm is None and check.y_line_mm is None):
        return None
    size, u = found
    if abs(size - 1) < max(_LEAST_OFF, _SURE * u):
        return None
    return Finding(ATTENTION, "car.toml, print",
                   f"all lengths by tape are {100 * abs(size - 1):.1f} %"
                   f" {'longer' if size > 1 else 'shorter'} than by the photos: the sheets were printed at"
                   " another size than the print check says; it is not used",
                   "lay a steel rule on both print-check lines of these very sheets and write what it says;"
                   " print at 100 % (no \"fit to page\")")
