"""The answers as plain data for the page: the same texts and digits as the commands print."""

from __future__ import annotations

from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Refusal
from photoangle.core.states import CORNERS
from photoangle.output.link_table import axle_lines, full_lines
from photoangle.output.summary.linked import headline, verdict_words
from photoangle.output.table import (
    budget_words,
    figure_title,
    format_value,
    gathered,
    graver_first,
    shown_figures,
)
from photoangle.output.wording import worded

# Words and a sign for each level: never the colour alone.
LEVELS = {UNUSABLE: ("Stop", "✖"), ATTENTION: ("Look", "▲"), NOTE: ("Note", "•")}


def finding_rows(findings, units="mm"):
    """Findings as dicts, the grave ones first."""
    return [{
        "level": f.level, "head": LEVELS.get(f.level, LEVELS[NOTE])[0],
        "sign": LEVELS.get(f.level, LEVELS[NOTE])[1], "where": f.where, "what": worded(f.what, units),
        "do": worded(f.do, units)
    } for f in graver_first(gathered(findings))]


def figure_rows(figures, units):
    """Photo figures of one state as dicts of text."""
    out = []
    for f in shown_figures(figures):
        value, half, unit = format_value(f, units)
        out.append({
            "name": f.name, "title": figure_title(f.name), "value": value, "half": half,
            "unit": unit, "datum": f.datum or "", "from": budget_words(f, 40)
        })
    return out


def state_rows(measurement):
    """States measured, each with its figures and what the tape says."""
    out = []
    for s in measurement.states:
        key = (s.corner, s.state)
        units = measurement.car.units
        comparisons = []
        for c in measurement.report.comparisons:
            if (c.tape.corner, c.tape.state) == key:
                value, half, unit = format_value(c.tape, units)
                other, other_half, _ = format_value(c.photo, units)
                comparisons.append({
                    "title": figure_title(c.photo.name), "tape": f"{value} ± {half}",
                    "photo": f"{other} ± {other_half}", "unit": unit, "agrees": c.agrees,
                    "e_n": f"{c.e_n:+.1f}"
                })
        out.append({
            "corner": s.corner, "state": s.state, "photos": len(s.scene.photos),
            "markers": len(s.scene.markers), "lens": s.scene.taken.lens_source, "comparisons": comparisons,
            "figures": figure_rows([f for f in measurement.report.figures if (f.corner, f.state) == key],
                                   units)
        })
    return sorted(out, key=lambda r: (CORNERS.index(r["corner"]), r["state"]))


def link_rows(answers, axles, units):
    """Each corner's answer: verdict, sentence, and the command's own lines below it."""
    out = []
    for a in answers:
        refused = isinstance(a.advice, Refusal) or a.advice is None
        out.append({
            "corner": a.corner, "state": a.base.state if a.base is not None else None,
            "verdict": "no answer" if refused else verdict_words(a).capitalize(),
            "sentence": headline(a, units), "do": worded(getattr(a.advice, "do", ""), units),
            "lines": full_lines(a, units=units),
            "slider": a.base is not None and not refused, "findings": finding_rows(a.findings, units)
        })
    return out, [line for axle in axles for line in axle_lines(axle, units)]
