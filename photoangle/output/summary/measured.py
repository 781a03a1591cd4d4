"""`measure` in short: each corner's bar arm where it matters, its states side by side, what the tape says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from photoangle.core.figure import Figure
from photoangle.core.states import CORNERS, FITTED, RIDE, SET, in_order, is_set
from photoangle.output.summary.common import angle_words, look_lines, picture_line, wrapped
from photoangle.output.table import figure_title
from photoangle.output.wording import INCH

# Heading, names of the figure in the order of preference.
BAR_ARM = ("bar_arm_angle", "bar_arm_elevation")
_COLUMNS = (("bar arm", BAR_ARM),
            ("control arm", ("control_arm_angle", "control_arm_elevation")),
            ("drop link", ("link_elevation",)), ("link length", ("link_length",)),
            ("hub to arch", ("hub_to_arch",)))


def headline(corner: str, states: Sequence[Any]) -> str:
    """A corner's bar arm in one sentence, from the state that tells most: at ride height if it was seen
    there.  states: its StateResults."""
    state = foremost(states)
    figure = None if state is None else figure_of(state, BAR_ARM)
    if state is None or figure is None:
        seen = ", ".join(s.state for s in states)
        return f"{corner}: no angle of the bar's arm yet (photos of {seen})."
    where = f"at ride height ({state.state})" if is_set(state.state) or state.state.startswith(FITTED) else (
        f"as it hangs ({state.state})")
    against = "" if figure.datum == "chassis" else ", against gravity: the car's own pitch is in it"
    return f"{corner} {where}: bar arm {angle_words(figure)}{against}."


def figure_of(state: Any, names: Sequence[str]) -> Figure | None:
    """The Figure of the first name that a state has, against the chassis if it can be had."""
    for name in names:
        mine = [f for f in state.figures if f.name == name]
        if mine:
            return min(mine, key=lambda f: f.datum != "chassis")
    return None


def foremost(states: Sequence[Any]) -> Any:
    """The StateResult of a corner that tells most of the bar's arm: with the new link, at ride height, else
    the first that has its angle; None where none has."""
    ordered = [s for s in in_order(list(states)) if s.state != RIDE]
    for kind in (FITTED, SET):
        for s in reversed(ordered):
            if s.state.startswith(kind) and figure_of(s, BAR_ARM) is not None:
                return s
    return next((s for s in ordered if figure_of(s, BAR_ARM) is not None), None)


def summary_lines(measurement: Any, folder: str) -> list[str]:
    """Lines for a car folder's Measurement; folder: as the user wrote it."""
    units, report = measurement.car.units, measurement.report
    by_corner = {c: in_order([s for s in measurement.states if s.corner == c]) for c in CORNERS}
    by_corner = {c: states for c, states in by_corner.items() if states}
    lines = []
    for corner, states in by_corner.items():
        lines += wrapped(headline(corner, states), "  ")
    best = [s for s in (foremost(states) for states in by_corner.values()) if s is not None]
    lines += picture_line([p for s in best[:1] for p in report.pictures
                           if p.parent.parts[-2:] == (s.corner, s.state)])
    for corner, states in by_corner.items():
        lines += ["", *_table(corner, states, units)]
    lines.append("")
    lines += _tape(report.comparisons)
    if best:
        lines.append(f"Next: photoangle link {folder}   (which length to set, and whether it clears)")
    return lines + look_lines(report.findings, units, f"photoangle measure {folder}")


def _table(corner, states, units):
    unit = "in" if units == "in" else "mm"
    room = max(12, len(corner) + 4)
    rows = [[s.state, *(_cell(figure_of(s, names), units) for _, names in _COLUMNS)] for s in states]
    shown = [k for k in range(len(_COLUMNS)) if any(r[k + 1] for r in rows)]
    lines = [f"{f'{corner}, {unit}':{room}s}" + "".join(f"{_COLUMNS[k][0]:>13s}" for k in shown)]
    lines += [f"  {r[0]:{room - 2}s}" + "".join(f"{r[k + 1]:>13s}" for k in shown) for r in rows]
    datums = {f.datum for s in states if s.state != RIDE for f in [figure_of(s, BAR_ARM)] if f}
    if "gravity" in datums:
        lines.append("  angles of states without the chassis's own level are against gravity")
    return lines


def _cell(figure, units):
    if figure is None:
        return ""
    half = (figure.high95 - figure.low95) / 2
    if figure.unit == "deg":
        return f"{round(figure.value, 1) or 0.0:+.1f} ± {half:.1f}°"
    if units == "in":
        return f"{figure.value / INCH:.2f} ± {half / INCH:.2f}"
    return f"{figure.value:.1f} ± {half:.1f}"


def _tape(comparisons):
    if not comparisons:
        return []
    off = [c for c in comparisons if not c.agrees]
    if not off:
        return [f"Tape: all {len(comparisons)} readings that the photos can check agree."]
    names = ", ".join(f"{figure_title(c.photo.name)} ({c.tape.corner}, {c.tape.state})" for c in off)
    return wrapped(f"Tape: {len(comparisons) - len(off)} of {len(comparisons)} readings agree; not {names}.",
                   "  ")
