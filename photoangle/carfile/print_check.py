"""The print check: what a steel rule says of the paper's size."""

from __future__ import annotations

import math
from dataclasses import replace

from photoangle.core.assumed import PRINT_ASPECT_U, PRINT_SCALE_U
from photoangle.core.findings import ATTENTION, Finding

X_LINE_MM, Y_LINE_MM = 200.0, 150.0
# Two lines that differ by more than this were not both read right: five times what printers differ along and
# across the feed.
_MOST_ASPECT = 5 * PRINT_ASPECT_U
# A print of another size than this was not meant to be one at 100 %.
_SIZES = (0.985, 1.015)


def print_scale(check):
    """True size of the print over nominal, its u, and the card's aspect prior.

    Two lines that contradict each other say nothing: the size is then as unknown as without a check, and
    wide enough for either.

    Parameters: check: carfile.PrintCheck.  Returns (scale, u, aspect mean, aspect sigma).
    """
    x, y, ux, uy = _lines(check)
    if x and y:
        if contradicts_itself(check):
            return 1.0, max(PRINT_SCALE_U, abs(x - 1) / 2, abs(y - 1) / 2), 0.0, PRINT_ASPECT_U
        return y, uy, x / y - 1, math.hypot(ux, uy)
    if y:
        return y, uy, 0.0, PRINT_ASPECT_U
    if x:
        return x, math.hypot(ux, PRINT_ASPECT_U), 0.0, PRINT_ASPECT_U
    return 1.0, PRINT_SCALE_U, 0.0, PRINT_ASPECT_U


def _lines(check):
    """Both lines over their nominal lengths, None where not read, and what each is good to."""
    x = check.x_line_mm / X_LINE_MM if check.x_line_mm else None
    y = check.y_line_mm / Y_LINE_MM if check.y_line_mm else None
    return x, y, check.u_mm / X_LINE_MM, check.u_mm / Y_LINE_MM


def aspect_read(check):
    """(x over y less one, its u) as the two lines have it; None where not both were read."""
    x, y, ux, uy = _lines(check)
    return (x / y - 1, math.hypot(ux, uy)) if x and y else None


def contradicts_itself(check):
    """Whether no printer prints the two lines as they were read."""
    read = aspect_read(check)
    return read is not None and abs(read[0]) > _MOST_ASPECT + 2 * read[1]


def not_used(check):
    """The check with neither line, for what cannot be true."""
    return replace(check, x_line_mm=None, y_line_mm=None)


def check_findings(check):
    """Findings about a print check by itself."""
    if contradicts_itself(check):
        return [misread(check)]
    read = {name: s for name, s in zip(("x_line", "y_line"), _lines(check)[:2], strict=True) if s}
    odd = {name: s for name, s in read.items() if not _SIZES[0] <= s <= _SIZES[1]}
    if not odd:
        return []
    name, size = max(odd.items(), key=lambda p: abs(p[1] - 1))
    return [Finding(ATTENTION, "car.toml, print",
                    f"by {name} the sheets were printed at {100 * size:.1f} %: all lengths follow it",
                    "read it again; where it is so, print at 100 % (no \"fit to page\") next time")]


def misread(check, photos=None):
    """The Finding that the two lines contradict each other.

    photos: (x over y less one, its u) as the photos have it, or None.
    """
    x, y, *_ = _lines(check)
    seen = "" if photos is None else (
        f"; the photos of the card say that the two differ by {100 * photos[0]:+.2f} % (+-"
        f" {200 * photos[1]:.2f})")
    return Finding(
        ATTENTION, "car.toml, print",
        f"the two print-check readings contradict each other: x_line = {check.x_line_mm:g} mm is"
        f" {100 * x:.1f} % of its {X_LINE_MM:.0f} mm, y_line = {check.y_line_mm:g} mm {100 * y:.1f} % of its"
        f" {Y_LINE_MM:.0f} mm, and printers do both alike{seen}. One of them is misread; neither is used",
        "lay the steel rule on both lines again, from end to end")
