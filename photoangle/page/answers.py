"""The answers as plain data for the page: the same texts and digits as the commands print."""

from __future__ import annotations

from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Refusal
from photoangle.core.states import CORNERS
from photoangle.linkage.advice import CANNOT_TELL, CHANGE, LEAVE
from photoangle.output.link_table import axle_lines, full_lines
from photoangle.output.summary.common import angle_words
from photoangle.output.summary.linked import choice_lines, clearance, headline, verdict_words
from photoangle.output.summary.measured import BAR_ARM, figure_of, foremost
from photoangle.output.summary.measured import headline as headline_measured
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


# A sign and a shape of its own for each verdict: never the colour alone.
SIGNS = {LEAVE: ("leave", "✓"), CHANGE: ("change", "↔"), CANNOT_TELL: ("unsure", "?")}


def corner_result(answer, corner):
    """What a corner's result screen shows of an Answer of the page's: figure in large type, headline, states
    with their figures folded, the link's verdict; None where the corner was not measured."""
    measurement, _units = answer.measurement, answer.car.units
    states = [s for s in measurement.states if s.corner == corner] if measurement else []
    row, _ = link_row(answer, corner)
    if not states and row is None:
        return None
    best = foremost(states)
    figure = figure_of(best, BAR_ARM) if best is not None else None
    others = [(words, angle_words(f)) for words, names in _BESIDE for f in [figure_of(best, names)]
              if f is not None] if best is not None else []
    return {
        "corner": corner, "state": None if best is None else best.state,
        "figure": None if figure is None else angle_words(figure), "others": others,
        "headline": headline_measured(corner, states) if states else "", "link": row,
        "pictured": best is not None, "states": [s for s in state_rows(measurement) if s["corner"] == corner]
        if measurement else []
    }


_BESIDE = (("control arm", ("control_arm_angle", "control_arm_elevation")),
           ("drop link", ("link_elevation",)))


def link_row(answer, corner):
    """(a corner's verdict with its sign, sentences and the command's own lines, or None; the axles' lines)
    of an Answer of the page's, in the car's units."""
    units = answer.car.units
    axles = [line for axle in answer.axles for line in axle_lines(axle, units)]
    a = next((a for a in answer.answers if a.corner == corner), None)
    if a is None:
        return None, axles
    refused = isinstance(a.advice, Refusal) or a.advice is None
    shape, sign = SIGNS.get(None if refused else a.advice.verdict, ("none", "✖"))
    return {
        "corner": a.corner, "state": a.base.state if a.base is not None else None,
        "verdict": verdict_words(a).capitalize(), "shape": shape, "sign": sign,
        "sentence": headline(a, units), "clearance": clearance(a, units), "choices": choice_lines(a, units),
        "do": worded(getattr(a.advice, "do", ""), units), "lines": full_lines(a, units=units),
        "slider": a.base is not None and not refused, "findings": finding_rows(a.findings, units)
    }, axles
