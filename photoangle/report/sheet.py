"""Figures as a table for a spreadsheet."""

from __future__ import annotations

import csv
import io

from photoangle.output.plain import plain

_COLUMNS = ("corner", "state", "name", "datum", "unit", "value", "u", "low95", "high95", "dof")


def figures_csv(figures):
    """CSV text of Figures, one a row.  A text that a spreadsheet would take for a formula is quoted with an
    apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for f in figures:
        writer.writerow([_safe(getattr(f, c)) for c in _COLUMNS])
    return out.getvalue()


def _safe(value):
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    text = plain(value)
    return "'" + text if text.lstrip().startswith(("=", "+", "-", "@")) else text
