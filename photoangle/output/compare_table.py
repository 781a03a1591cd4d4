"""Comparisons as text for a terminal of 80 columns, and as JSON."""

from __future__ import annotations

import json
import textwrap

from photoangle.comparison.compare import overall
from photoangle.output.summary.compared import headline
from photoangle.output.table import change_numbers, figure_title, title_rank
from photoangle.output.wording import worded

_SHARED = {
    "floor": "the floor's slope", "forward": "which way is forward", "lens": "the lens", "level": "the level",
    "print": "the print's scale and the card's shape", "bar axis": "the bar's axis",
    "sticking": "markers' sticking", "paper's bend": "how flat the markers are",
    "stand-off": "their stand-offs", "pixels": "the ride photos",
    "tie to ride": "how the ride photos are tied in"
}
_GROUPS = (("chassis", "against the chassis"), ("gravity", "against gravity"), (None, "between the parts"))


def changes_lines(comparison, units="mm"):
    """Lines of one comparison: the verdict in a sentence, the figures by datum, and why where none could be
    had."""
    lines = [f"{comparison.before.name} -> {comparison.after.name}"]
    for words in (headline(comparison), worded(overall(comparison, units), units)):
        lines += textwrap.wrap(words, 78, initial_indent="  ", subsequent_indent="  ")
    for datum, words in _GROUPS:
        mine = sorted((c for c in comparison.changes if c.figure.datum == datum),
                      key=lambda c: title_rank(c.figure.name[7:]))
        if not mine:
            continue
        lines.append(f"  {words:24s}{'before':>8s} {'after':>8s} {'change':>8s} {'± 95 %':>7s}")
        for c in mine:
            before, after, value, half, unit = change_numbers(c, units)
            lines.append(
                f"    {figure_title(c.figure.name[7:]):21s} {before:>8s} {after:>8s} {value:>8s} {half:>7s}"
                f" {unit:3s}  {c.verdict}")
    whys = {}
    for c in comparison.changes:
        if c.why:
            whys.setdefault(c.why, []).append(
                figure_title(c.figure.name[7:]) + (f" ({c.figure.datum})" if c.figure.datum else ""))
    for why, names in whys.items():
        lines += textwrap.wrap(f"can't tell, {why}: {', '.join(names)}.",
                               78,
                               initial_indent="  ",
                               subsequent_indent="    ")
    if comparison.cancels:
        shared = ", ".join(_SHARED.get(s, s) for s in comparison.cancels)
        lines += textwrap.wrap(f"shared by both, so that it cancels wholly or in part: {shared}.",
                               78, initial_indent="  ", subsequent_indent="    ")
    return lines


def comparisons_json(comparisons, report):
    """The object that ``compare --json`` prints: `Report.to_json` with each change's two values and
    verdict."""
    content = json.loads(report.to_json())
    content["changes"] = [{
        "before": c.before.name, "after": c.after.name, "overall": overall(c), "shared": list(c.cancels),
        "figures": [{
            "name": x.figure.name, "datum": x.figure.datum, "unit": x.figure.unit,
            "before": round(x.before, 5), "after": round(x.after, 5), "change": round(x.figure.value, 5),
            "u": round(x.figure.u,
                       6), "u_if_nothing_were_shared": round(x.apart_u, 6), "verdict": x.verdict, "why": x.why
        } for x in c.changes]
    } for c in comparisons]
    content["pictures"] = [str(p) for p in report.pictures]
    return json.dumps(content, indent=1)
