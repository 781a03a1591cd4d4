"""A season's results as text, JSON and a plot."""

from __future__ import annotations

import io
import json
import textwrap
import warnings
from datetime import timedelta
from pathlib import Path

from calib.files import write_whole
from calib.sheets.palette import BLUE, GREEN, ORANGE, PURPLE, SKY, VERMILION
from photoangle.core.errors import CannotUse
from photoangle.output.plain import plain
from photoangle.output.table import figure_title, format_value, title_rank

# Panels of a plot: more make a picture that nothing opens.
MOST_PANELS = 40
_MAIN = ("bar_arm_angle", "bar_arm_elevation", "control_arm_angle", "link_length", "hub_to_arch")


def ordered(steps):
    """Keys of `history.season` in the order of tables: by corner and state, then by figure; chassis first."""
    return sorted(steps, key=lambda k: (k[0] or "", k[1] or "", title_rank(k[2]), k[3] != "chassis"))


def season_lines(steps, units="mm"):
    """The season in short: what a figure was at first and is now, and whether it changed."""
    runs = sorted({s.made for rows in steps.values() for s in rows})
    moved = [(k, s) for k in ordered(steps) for s in steps[k][-1:] if s.moved]
    if moved:
        named = "; ".join(f"{k[0]} / {k[1]}: {figure_title(k[2])}" for k, _ in moved[:3])
        lines = textwrap.wrap(f"Changed at the last run: {named}{' ...' if len(moved) > 3 else ''}.", 80)
    else:
        lines = ["No change of the car seen at the last run." if len(runs) > 1 else
                 "One run so far: nothing to compare it with."]
    where = None
    for key in ordered(steps):
        corner, state, name, datum = key
        if (corner, state) != where:
            where = (corner, state)
            lines += ["", f"{corner} / {state}"]
        rows = steps[key]
        value, half, unit = format_value(rows[-1].figure, units)
        text = f"  {figure_title(name):21s} {rows[-1].made:%Y-%m-%d}  {value:>8s} ± {half:>5s} {unit:2s}"
        if len(rows) > 1:
            first, _, _ = format_value(rows[0].figure, units)
            text += f"  {rows[0].made:%Y-%m-%d} {first:>8s}, {len(rows)} values"
        lines.append(text + (f"  ({datum})" if datum == "gravity" else ""))
    return [plain(line) for line in lines]


def history_lines(steps, units="mm"):
    """Table lines of `history.season`, for a terminal of 80 columns."""
    lines, where = [], None
    for key in ordered(steps):
        corner, state, name, datum = key
        if (corner, state) != where:
            where = (corner, state)
            lines += ([""] if lines else []) + [f"{corner} / {state}"]
        lines.append(f"  {figure_title(name)}" + (f" against {datum}" if datum else ""))
        for s in steps[key]:
            value, half, unit = format_value(s.figure, units)
            text = f"    {s.made:%Y-%m-%d %H:%M}  {value:>8s} ± {half:>5s} {unit:3s}"
            if s.change is not None:
                scale = 25.4 if unit == "in" else 1.0
                digits = len(half.partition(".")[2])
                text += f"  {s.change / scale:+8.{digits}f}"
                text += "  by notes alone" if s.again is False else (
                    f" ± {s.half / scale:.{digits}f}  {'changed' if s.moved else 'no change seen'}")
            lines.append(text)
            lines += _why(s)
    return [plain(line) for line in lines]


def _why(step, most=3):
    """Lines that say what else is other than before."""
    if step.change is None or not step.other:
        return []
    named = ", ".join(step.other[:most]) + (
        f" and {len(step.other) - most} more" if len(step.other) > most else "")
    head = "the same photos; other than before" if step.again is False else "other than before as well"
    return textwrap.wrap(f"{head}: {named}", 78, initial_indent="      ", subsequent_indent="        ")


def history_json(steps, findings):
    """The object that ``history --json`` prints."""
    rows = [{
        "corner": c, "state": s, "name": n, "datum": d, "unit": steps[c, s, n, d][0].figure.unit, "steps": [{
            "made": x.made.isoformat(), "value": x.figure.value, "u": x.figure.u, "low95": x.figure.low95,
            "high95": x.figure.high95, "change": x.change, "change_half95": x.half, "changed": x.moved,
            "measured_again": x.again, "other_than_before": list(x.other)
        } for x in steps[c, s, n, d]]
    } for c, s, n, d in ordered(steps)]
    return json.dumps({"version": 1, "history": rows, "findings": [
        {"level": f.level, "where": f.where, "what": f.what, "do": f.do} for f in findings]}, indent=1)


def main_figures(steps):
    """Those of the steps that a reader looks for first; each against the chassis where it is known."""
    out = {}
    for key in ordered(steps):
        corner, state, name, datum = key
        if name in _MAIN and not (datum == "gravity" and (corner, state, name, "chassis") in steps):
            out[key] = steps[key]
    return out


def plot_history(steps, target):
    """Write a plot of the steps over time as PNG or SVG by the name's ending: one panel a figure, states told
    apart by marker and line style as well as by colour.  Raises OSError, and CannotUse for more figures than
    one sheet holds."""
    import matplotlib

    panels = list(dict.fromkeys((k[2], k[3], steps[k][0].figure.unit) for k in ordered(steps)))
    if len(panels) > MOST_PANELS:
        raise CannotUse("--plot", f"{len(panels)} figures are too many for one plot",
                        "name some with --figure")
    # a name with dollar signs is no formula
    with matplotlib.rc_context({"text.parse_math": False}), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # letters that the font lacks
        sheet = _sheet(steps, panels)
        stream = io.BytesIO()
        kind = "svg" if Path(target).suffix.lower() == ".svg" else "png"
        sheet.savefig(stream, format=kind, dpi=130)
    write_whole(target, stream.getvalue())


def _sheet(steps, panels):
    """The matplotlib Figure: a panel for each (name, datum, unit)."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.dates import ConciseDateFormatter
    from matplotlib.figure import Figure

    colours = [BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY]
    marks, dashes = "osD^vP", ["-", "--", "-.", ":", (0, (5, 1)), (0, (1, 1))]
    lines = list(dict.fromkeys((k[0], k[1]) for k in ordered(steps)))
    sheet = Figure(figsize=(7.5, 2.2 * len(panels) + 0.8), layout="constrained")
    FigureCanvasAgg(sheet)
    made = [s.made for mine in steps.values() for s in mine]
    room = max((max(made) - min(made)) * 0.06, timedelta(days=1))
    for row, (name, datum, unit) in enumerate(panels):
        axes = sheet.add_subplot(len(panels), 1, row + 1)
        for k, (corner, state) in enumerate(lines):
            mine = steps.get((corner, state, name, datum))
            if mine:
                half = [(s.figure.high95 - s.figure.low95) / 2 for s in mine]
                axes.errorbar([s.made for s in mine], [s.figure.value for s in mine],
                              half,
                              color=colours[k % 6],
                              marker=marks[k % 6],
                              linestyle=dashes[k % 6],
                              capsize=4,
                              markersize=4,
                              label=plain(f"{corner} / {state}"))
        axes.set_title(
            plain(figure_title(name) + (f", against {datum}" if datum else "") + f" ({unit}, bars: 95 %)"),
            fontsize=10)
        axes.set_xlim(min(made) - room, max(made) + room)
        axes.xaxis.set_major_formatter(ConciseDateFormatter(axes.xaxis.get_major_locator()))
        axes.grid(alpha=0.3)
        axes.legend(fontsize=8, loc="center left", bbox_to_anchor=(1, 0.5))
        axes.tick_params(labelsize=8)
    return sheet
