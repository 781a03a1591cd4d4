"""Figures as a table for a terminal of 80 columns."""

from __future__ import annotations

from dataclasses import replace

from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE
from photoangle.figures.measurands import TITLES
from photoangle.output.plain import plain
from photoangle.output.wording import worded

# In the order of a table: what is acted on comes first.
_ORDER = ("bar_arm_angle", "bar_arm_elevation", "control_arm_angle", "control_arm_elevation",
          "link_elevation", "bar_arm_length", "bar_lever", "link_length", "control_arm_length",
          "bar_to_link_angle", "sill_slope", "hub_to_arch", "hose_gap_a", "hose_gap_b", "hose_gap_c")
_WORDS = {NOTE: "note", ATTENTION: "look", UNUSABLE: "STOP"}


def figure_title(name):
    """Words of a figure's name."""
    for before, words in (("tape:", "tape: "), ("change:", "change of ")):
        if name.startswith(before):
            return words + figure_title(name[len(before):])
    return TITLES.get(name, name.replace("_", " "))


def title_rank(name):
    """Where a figure's name stands in a table."""
    return (_ORDER.index(name) if name in _ORDER else len(_ORDER), name)


def format_value(figure, units="mm"):
    """(value, plus-or-minus, unit) as text; lengths in the car's units."""
    half = (figure.high95 - figure.low95) / 2
    if figure.unit == "deg":
        digits = 2 if half < 0.995 else 1
        return f"{figure.value:+.{digits}f}", f"{half:.{digits}f}", "°"
    if figure.unit == "mm" and units == "in":
        return f"{figure.value / 25.4:.3f}", f"{half / 25.4:.3f}", "in"
    digits = 2 if half < 0.095 else 1
    return f"{figure.value:.{digits}f}", f"{half:.{digits}f}", figure.unit


def change_numbers(change, units="mm"):
    """(before, after, change, plus-or-minus, unit) of a Change as text, lengths in the car's units."""
    f = change.figure
    half = (f.high95 - f.low95) / 2
    inches = f.unit == "mm" and units == "in"
    scale = 25.4 if inches else 1.0
    digits = 3 if inches else 1 if half >= (0.995 if f.unit == "deg" else 0.195) else 2
    sign = "+" if f.unit == "deg" else ""
    unit = "in" if inches else "°" if f.unit == "deg" else f.unit
    return (f"{change.before / scale:{sign}.{digits}f}", f"{change.after / scale:{sign}.{digits}f}",
            f"{f.value / scale:+.{digits}f}", f"{half / scale:.{digits}f}", unit)


def format_length(value_mm, units="mm"):
    """A length to set or to read, with its unit: a tenth of a millimetre, a hundredth of an inch."""
    return f"{value_mm / 25.4:.2f} in" if units == "in" else f"{value_mm:.1f} mm"


def budget_words(figure, room=24):
    """Where the uncertainty comes from, the largest shares first, as many as fit in ``room``."""
    words = ""
    for name, share in figure.budget.items():
        more = f"{', ' if words else ''}{name} {share:.0%}"
        if share < 0.1 or len(words) + len(more) > room:
            break
        words += more
    return words


def shown_figures(figures):
    """The photos' figures in the order in which they are shown."""
    return sorted((f for f in figures if not f.name.startswith("tape:")),
                  key=lambda f: (title_rank(f.name), f.datum != "chassis", f.datum or ""))


def figure_lines(figures, units="mm"):
    """Table lines of one state's figures (photo figures only)."""
    rows = shown_figures(figures)
    lines = [f"  {'':21s} {'value':>8s} {'± 95 %':>8s} {'':3s} {'against':7s}  mostly from"]
    for f in rows:
        value, half, unit = format_value(f, units)
        lines.append(f"  {figure_title(f.name):21s} {value:>8s} {half:>8s} {unit:3s} {f.datum or '':7s}"
                     f"  {budget_words(f)}".rstrip())
    return lines


def comparison_lines(comparisons, units="mm"):
    """Photo beside tape."""
    if not comparisons:
        return []
    lines = ["  the tape read:"]
    for c in comparisons:
        value, half, unit = format_value(c.tape, units)
        other, other_half, _ = format_value(c.photo, units)
        verdict = "agree" if c.agrees else "DISAGREE"
        lines.append(f"    {figure_title(c.photo.name):18s} {value} ± {half}, photo {other} ± {other_half}"
                     f" {unit}: {verdict} E_n {c.e_n:+.1f}")
    return lines


def granted_words(granted, units="mm"):
    """(what stands for it, what that does, what to do) of a core.outcome.Granted, in words."""
    f, digits = granted.figure, 3 if granted.figure.unit == "mm" and units == "in" else 2
    scale, unit = (25.4, "in") if digits == 3 else (1.0, f.unit)
    without = f"{granted.without / scale:.{digits}f}"
    does = (f"{figure_title(f.name)}{f' against {f.datum}' if f.datum else ''} +-"
            f" {granted.half / scale:.{digits}f} {unit}, without it {without}")
    return worded(granted.assumed.words, units), worded(does, units), granted.assumed.settled_by


def granted_lines(granted, units="mm", width=80):
    """Lines of what a state's figures take for granted, in the order given."""
    import textwrap

    if not granted:
        return ["  nothing is taken for granted here"]
    lines = ["  taken for granted here, the largest effect first:"]
    for g in granted:
        words, does, settles = granted_words(g, units)
        lines += textwrap.wrap(f"{words} ({does}); to be rid of it: {settles}.", width, initial_indent="    ",
                               subsequent_indent="      ")
    return lines


def full_stop(text):
    """A sentence with its full stop, unless it has an end of its own."""
    return text if text.endswith((".", "?", "!")) else text + "."


def graver_first(findings):
    """Findings, the grave ones first."""
    order = {UNUSABLE: 0, ATTENTION: 1, NOTE: 2}
    return sorted(findings, key=lambda f: order.get(f.level, 3))


def gathered(findings, most=6):
    """Findings, those that say the same as one: it names where, or the first few of more than ``most``."""
    alike = {}
    for f in findings:
        alike.setdefault((f.level, f.what, f.do), []).append(f)
    out = []
    for same in alike.values():
        places = list(dict.fromkeys(f.where for f in same if f.where))
        where = ", ".join(places)
        if len(places) > most:
            where = f"{', '.join(places[:most - 2])} and {len(places) - most + 2} more"
        out.append(replace(same[0], where=where))
    return out


def finding_lines(findings, units="mm", width=80):
    """Findings, the grave ones first, many alike as one, in the car's units, wrapped to the terminal."""
    import textwrap

    lines = []
    for f in graver_first(gathered(findings)):
        text = f"{_WORDS.get(f.level, f.level)}: " + (f"{f.where}: " if f.where else "") + full_stop(f.what)
        text += f" Do: {full_stop(f.do)}" if f.do else ""
        lines += textwrap.wrap(plain(worded(text, units)), width, subsequent_indent="      ")
    return lines
