"""Does the tape agree with the size of the print?  A wrong print check, or none, makes every length wrong by
one factor, which is the print's and not the tape's."""

from __future__ import annotations

import math
from collections.abc import Sequence

from photoangle.carfile.car import PrintCheck
from photoangle.core.findings import ATTENTION, Finding
from photoangle.figures.tape_check import TapeComparison

# Lengths that must tell of one factor, all of them; how far it is off, and by how many of its u.
_LEAST_LENGTHS, _LEAST_OFF, _SURE = 3, 0.01, 3.0


def size_by_tape(comparisons: Sequence[TapeComparison]) -> tuple[float, float] | None:
    """(lengths by tape over lengths by photos, its standard uncertainty without the print's); None where they
    tell of no one factor.

    Of a length in several states the best known one counts: a tape is laid alike each time.
    """
    best: dict[str, tuple[float, float]] = {}
    for c in comparisons:
        if c.photo.unit != "mm" or c.photo.value <= 0:
            continue
        # what the print has wrong is the factor that is looked for
        own = c.photo.u * math.sqrt(max(0.0, 1 - c.photo.budget.get("print", 0.0)))
        ratio, u = c.tape.value / c.photo.value, math.hypot(c.tape.u, own) / c.photo.value
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
    size = _other_size(comparisons)
    if size is None or not _checked(check):
        return None
    return Finding(ATTENTION, "car.toml, print",
                   f"{_all_lengths(size)}: the sheets were printed at another size than the print check says;"
                   " it is not used",
                   "lay a steel rule on both print-check lines of these very sheets and write what it says;"
                   " print at 100 % (no \"fit to page\")")


def printed_otherwise(comparisons: Sequence[TapeComparison],
                      check: PrintCheck) -> tuple[Finding, set[int]] | None:
    """(Finding, ids of the comparisons that agree with it) where no print check was made, and all lengths by
    tape say that the sheets were not printed at 100 %; else None."""
    size = _other_size(comparisons)
    if size is None or _checked(check):
        return None
    explained = {id(c) for c in comparisons if c.photo.unit == "mm"}
    return Finding(ATTENTION, "car.toml, print",
                   f"{_all_lengths(size)}, and no print check was made: the sheets were printed at about"
                   f" {100 * size:.0f} % rather than at 100 %, and the tape is right; angles are not touched",
                   "lay a steel rule on both print-check lines of these very sheets and write what it says as"
                   " x_line and y_line under [print]; print at 100 % (no \"fit to page\")"), explained


def _other_size(comparisons: Sequence[TapeComparison]) -> float | None:
    """The one factor that all lengths by tape tell of, where it is clearly none of 100 %."""
    found = size_by_tape(comparisons)
    if found is None or abs(found[0] - 1) < max(_LEAST_OFF, _SURE * found[1]):
        return None
    return found[0]


def _checked(check: PrintCheck) -> bool:
    return check.x_line_mm is not None or check.y_line_mm is not None


def _all_lengths(size: float) -> str:
    return (f"all lengths by tape are {100 * abs(size - 1):.1f} %"
            f" {'longer' if size > 1 else 'shorter'} than by the photos")
