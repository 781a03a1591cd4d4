"""A comparison in short: did it work, what the bar's arm was and is, and the changes that matter."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from photoangle.comparison.compare import OPEN, REAL, Change, Comparison
from photoangle.core.figure import Figure
from photoangle.core.states import has_new_link
from photoangle.output.summary.common import angle_words, wrapped
from photoangle.output.table import change_numbers, figure_title

_SHOWN = ("bar_arm_angle", "bar_arm_elevation", "control_arm_angle", "link_elevation", "link_length",
          "hub_to_arch", "hose_gap_a", "hose_gap_b", "hose_gap_c")
_SAID = {REAL: "changed", OPEN: "can't tell"}


def headline(comparison: Comparison) -> str:
    """Before and after in a sentence or two: the bar's arm, and whether it is now as wanted."""
    before, after = comparison.before, comparison.after
    alike = before.result.corner == after.result.corner
    change = _leading(comparison)
    if change is None:
        return f"The bar's arm cannot be compared: not known in both {before.name} and {after.name}."
    name, datum = change.figure.name.removeprefix("change:"), change.figure.datum
    # the values of the way by which the change is known best, as well as each is known by itself
    was, now = (replace(f, value=at, low95=f.low95 + at - f.value, high95=f.high95 + at - f.value)
                for f, at in ((side.result.figure(name, datum), at)
                              for side, at in ((before, change.before), (after, change.after))))
    half = (change.figure.high95 - change.figure.low95) / 2
    by = f"{abs(change.figure.value):.{1 if half >= 0.05 else 2}f}° ± {half:.{1 if half >= 0.05 else 2}f}"
    if not alike:
        if change.verdict != REAL:
            return (f"Left and right alike as far as is known: bar arm {angle_words(was)} in {before.name},"
                    f" {angle_words(now)} in {after.name}.")
        way = "higher" if change.figure.value > 0 else "lower"
        return (f"The bar's arm ends {by} {way} in {after.name} than in {before.name}:"
                f" {angle_words(now)}, against {angle_words(was)}.")
    moved = ("did not move" if change.verdict != REAL else
             f"went {'up' if change.figure.value > 0 else 'down'} by {by}")
    verdict = ""
    if has_new_link(after.result.state or "") and not has_new_link(before.result.state or ""):
        verdict = _worked(now, _wanted(after)) + " "
    against = "" if datum == "chassis" else " (against gravity)"
    return f"{verdict}The bar's arm {moved}: it was {angle_words(was)}, now {angle_words(now)}{against}."


def _wanted(side: Any) -> Any:
    """What car.toml wants of a side's corner."""
    return side.result.notes.wanted


def _worked(now: Figure, wanted: Any) -> str:
    """Whether the arm is now where it was wanted."""
    if wanted.square_to_link or now.datum != "chassis":
        return "With the new link:"
    within = now.within(wanted.bar_arm_angle_deg, wanted.within_deg)
    if within is None:
        return "Whether it is where it should be can't be told."
    return "It worked." if within else "Not yet where it should be."


def _leading(comparison: Comparison) -> Change | None:
    for name in _SHOWN[:2]:
        mine = [c for c in comparison.changes if c.figure.name == f"change:{name}"]
        if mine:
            return min(mine, key=lambda c: c.figure.datum != "chassis")
    return None


def summary_lines(comparison: Comparison, units: str) -> list[str]:
    """Lines for one comparison."""
    lines = [f"{comparison.before.name} -> {comparison.after.name}"]
    lines += ["  " + line for line in wrapped(headline(comparison), room=2)]
    shown: list[Change] = []
    for name in _SHOWN:
        mine = [c for c in comparison.changes if c.figure.name == f"change:{name}"]
        if mine and not (name == _SHOWN[1] and shown):
            shown.append(min(mine, key=lambda c: c.figure.datum != "chassis"))
    if shown:
        lines.append(f"    {'':21s} {'before':>8s} {'after':>8s} {'change':>8s} {'± 95 %':>7s}")
    for c in shown:
        before, after, value, half, unit = change_numbers(c, units)
        lines.append(f"    {figure_title(c.figure.name.removeprefix('change:')):21s} {before:>8s} {after:>8s}"
                     f" {value:>8s} {half:>7s} {unit:2s} {_SAID.get(c.verdict, '-')}")
    return lines
