"""What stands in the report, as plain data: the template only lays it out."""

from __future__ import annotations

import itertools

from photoangle.comparison.compare import Side, compare_sides
from photoangle.core.cautions import CAUTIONS
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE
from photoangle.core.states import CORNERS, RIDE, in_order
from photoangle.output.link_table import axle_lines, travel_rows, two_ways_rows
from photoangle.output.summary import compared
from photoangle.output.summary.linked import clearance, headline, verdict_words
from photoangle.output.table import (
    change_numbers,
    figure_title,
    format_value,
    gathered,
    granted_words,
    graver_first,
    shown_figures,
    title_rank,
)
from photoangle.output.wording import worded
from photoangle.report import pictures
from photoangle.report.fitting import AFTER, ORDER, TORQUES, fitting_cards
from photoangle.report.record import inputs, record_rows

_LEVELS = {NOTE: "note", ATTENTION: "look", UNUSABLE: "stop"}


def report_content(measurement, answers, axles, steps, report, now=None):
    """The template's data.

    measurement: pipeline.Measurement; answers: CornerAnswers; axles: AxleAnswers; steps: advise.Steps;
    report: Report with all findings; now: datetime, for tests.  Returns a dict.
    """
    units = measurement.car.units
    by_corner = {a.corner: a for a in answers}
    corners = []
    for corner in CORNERS:
        states = in_order([s for s in measurement.states if s.corner == corner])
        answer = by_corner.get(corner)
        if not states and answer is None:
            continue
        corners.append({"name": corner, "answer": _answer(answer, units) if answer else None,
                        "states": [_state(s, measurement, units) for s in states],
                        "changes": _changes(states, measurement, units)})
    return {
        "title": measurement.car.name or "car", "units": units, "corners": corners, "verdicts": [
            (a.corner, verdict_words(a), headline(a, units), clearance(a, units), _photo(a, measurement))
            for a in answers
        ], "axles": [line for a in axles for line in axle_lines(a, units)],
        "steps": [_step(s, measurement) for s in steps
                  if not _enough(s)], "enough": [s for s in steps if _enough(s)],
        "findings": [{"level": _LEVELS.get(f.level, f.level), "where": f.where, "what": worded(f.what, units),
                      "do": worded(f.do, units)}
                     for f in graver_first(gathered(report.findings))],
        "record": record_rows(measurement, now), "inputs": inputs(measurement), "cautions": CAUTIONS,
        "cards": fitting_cards(answers, units), "order": ORDER, "torques": TORQUES, "after": AFTER
    }


def _photo(answer, measurement):
    """The photo that shows what is answered from, or None by tape alone."""
    state = None if answer.base is None else next(
        (s for s in measurement.states if (s.corner, s.state) == (answer.corner, answer.base.state)), None)
    if state is None:
        return None
    return pictures.answer_photo(state, state.figures, measurement.kit, measurement.car.units)


def _answer(answer, units):
    return {
        "verdict": verdict_words(answer), "headline": headline(answer, units),
        "do": worded(getattr(answer.advice, "do", ""), units),
        "two_ways": two_ways_rows(answer, units), "travel": travel_rows(answer, units),
        "views": pictures.views(answer, units), "plots": pictures.travel(answer, units),
        "change_mm": answer.change_mm
    }


def _state(state, measurement, units):
    figures = [f for f in measurement.report.figures if (f.corner, f.state) == (state.corner, state.state)]
    rows = []
    for f in shown_figures(figures):
        value, half, unit = format_value(f, units)
        rows.append({
            "name": figure_title(f.name), "value": value, "half": half, "unit": unit, "datum": f.datum or "",
            "budget": [(source, share) for source, share in f.budget.items() if share >= 0.05]
        })
    tape = []
    for c in measurement.report.comparisons:
        if (c.tape.corner, c.tape.state) == (state.corner, state.state):
            (value, half, unit), (other, other_half, _) = format_value(c.tape,
                                                                       units), format_value(c.photo, units)
            tape.append({
                "name": figure_title(c.photo.name), "tape": f"{value} ± {half}",
                "photo": f"{other} ± {other_half}", "unit": unit, "e_n": f"{c.e_n:+.1f}", "agrees": c.agrees
            })
    return {
        "name": state.state, "rows": rows, "tape": tape,
        "photos": pictures.state_photos(state, figures, measurement.kit, units),
        "granted": [granted_words(g, units) for g in measurement.report.granted
                    if (g.corner, g.state) == (state.corner, state.state)],
        "count": len(state.scene.photos), "markers": len(state.scene.markers),
        "lens": state.scene.taken.lens_source
    }


def _changes(states, measurement, units):
    """One state against the one before it, ride left out."""
    shown = [s for s in states if s.state != RIDE]
    out = []
    for before, after in itertools.pairwise(shown):
        sides = [Side(s, f"{s.corner}/{s.state}") for s in (before, after)]
        comparison = compare_sides(*sides, measurement.kit)
        rows = [(figure_title(c.figure.name.removeprefix("change:")), c.figure.datum
                 or "", *change_numbers(c, units), c.verdict) for c in sorted(
                     comparison.changes,
                     key=lambda c: (title_rank(c.figure.name.removeprefix("change:")), c.figure.datum or ""))
                if c.figure.datum != "gravity"]
        out.append({
            "before": before.state, "after": after.state, "overall": compared.headline(comparison),
            "rows": rows,
            "picture": pictures.before_after(comparison)
        })
    return out


def _enough(step):
    return step.photo is not None and not step.photo.worth


def _step(step, measurement):
    state = next((s for s in measurement.states if f"{s.corner}/{s.state}" == step.where), None)
    return {"where": step.where, "words": step.words, "gain": step.gain,
            "picture": pictures.stand(state, step, measurement.kit) if state is not None else None}
