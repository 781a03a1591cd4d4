"""The link's whole answer as text for a terminal of 80 columns: the verdict first."""

from __future__ import annotations

import textwrap

from photoangle.core.findings import Refusal
from photoangle.core.options import LinkRequest
from photoangle.core.states import has_new_link
from photoangle.output.summary.linked import at_ride_height, short_lines
from photoangle.output.table import format_value
from photoangle.output.wording import INCH, signed, worded

# What is shown of the travel: name of the extreme, words.
EXTREMES = (("gap_min_eye", "bar eye to the hose"), ("gap_min_link", "link to the hose"),
            ("gap_min_arm", "bar arm to the hose"),
         ("gap_min_a", "eye or link to hose A"), ("gap_min_b", "eye or link to hose B"),
         ("gap_min_c", "eye or link to hose C"), ("joint_tilt_max_eye", "eye joint tilts up to"),
         ("joint_tilt_max_foot", "foot joint tilts up to"), ("line_up_min", "arm and link from one line"))
_WIDTH = 80


def full_lines(answer, asked=LinkRequest(), units="mm"):
    """Lines for one corner, with all that the answer rests on.  asked: what was asked over car.toml."""
    lines = short_lines(answer, asked, units)
    if answer.base is None:
        return lines
    lines += _two_ways(answer, units)
    if not isinstance(answer.advice, Refusal):
        lines += _lengths(answer, units)
    lines += _holes(answer, units)
    for state, earlier in answer.earlier.items():
        lines += _wrapped(worded(f"With the link as it was in {state}: {earlier.sentence}.", units))
    lines += _wrapped(at_ride_height(answer))
    return lines + _travel(answer, units)


def _wrapped(text, deeper="  "):
    return textwrap.wrap(text, _WIDTH, initial_indent="  ", subsequent_indent=deeper)


def _row(words, what, f, units):
    value, half, unit = format_value(f, units)
    return f"  {words:24s} {what:22s} {value:>8s} ± {half} {unit}"


def two_ways_rows(answer, units="mm"):
    """(what, value, plus-or-minus, unit) of the bar arm at ride height, each way it is known."""
    ways = []
    if answer.measured is not None:
        ways.append(("measured in set", answer.measured))
    if answer.carried is not None:
        ways.append((f"carried from {answer.carried_from}", answer.carried))
    if not isinstance(answer.advice,
                      Refusal) and answer.advice is not None and answer.base.state != answer.carried_from:
        own, state = answer.advice.figures.get("bar_arm_angle"), answer.base.state
        apart = answer.contradiction is not None or (answer.check is not None and not answer.check.agrees)
        if own is not None and has_new_link(state):
            ways.append((f"{state}, the new link", own))
        elif own is not None and answer.together and not apart:
            ways.append((f"{state}, all together", own))
        elif own is not None and not ways:
            ways.append((f"measured in {state}", own))
    return [(what, *format_value(f, units)) for what, f in ways]


def _two_ways(answer, units):
    lines = [f"  {'' if k else 'bar arm at ride height':24s} {what:22s} {value:>8s} ± {half} {unit}"
             for k, (what, value, half, unit) in enumerate(two_ways_rows(answer, units))]
    if answer.check is not None:
        lines.append(
            f"  {'':24s} the two {'agree' if answer.check.agrees else 'CONTRADICT'}, E_n"
            f" {answer.check.e_n:+.1f}"
        )
    return lines


def _lengths(answer, units):
    f, lines = answer.advice.figures, []
    if "link_length" in f:
        lines.append(_row("present link", "", f["link_length"], units))
    if "link_length_wanted" in f:
        goal = "square to the link" if answer.wanted.square else f"arm at {answer.wanted.angle_deg:+g} deg"
        lines.append(_row("link wanted", goal, f["link_length_wanted"], units))
        low, high = (format_value(f[f"link_length_{n}"], units)[0] for n in ("shortest", "longest"))
        lines.append(f"  {'':24s} {f'within {answer.wanted.within_deg:g} deg':22s} {low:>8s} to {high}")
    if "link_change" in f:
        lines.append(_row("change", "", f["link_change"], units))
    return lines


def _holes(answer, units):
    lines = []
    for name, advice in answer.holes.items():
        said = advice.finding.what if isinstance(advice, Refusal) else (
            f"a link of {advice.figures['link_length_wanted'].value:.1f} mm"
            if "link_length_wanted" in advice.figures else advice.sentence)
        lines += _wrapped(worded(f"eye hole {name}: {said}", units), "      ")
    return lines


def travel_rows(answer, units="mm"):
    """The worst of the travel: heads (for each link shown) and rows (words, text for each link).

    Returns (heads, rows); both empty without a travel.
    """
    new = f"link {signed(answer.change_mm, units)}"
    shown = [(r, head) for r, head in ((answer.present, "present link"), (answer.proposed, new))
             if r is not None and not isinstance(r, Refusal)]
    if not shown:
        return [], []
    results, heads = zip(*shown, strict=False)
    rows = [(words, [_cell(r.nearest[name], units) for r in results]) for name, words in EXTREMES
            if all(name in r.nearest for r in results)]
    ratios = [r.at_ride.get("motion_ratio") for r in results]
    if all(ratios):
        ends = [r.courses["motion_ratio"].value for r in results]
        rows.append(
            (
                "bar eye over wheel, at ride",
                [f"{f.value:.2f} ({e[0]:.2f} to {e[-1]:.2f})" for f, e in zip(ratios, ends, strict=False)],
            )
        )
    return list(heads), rows


def _travel(answer, units):
    heads, rows = travel_rows(answer, units)
    if not heads:
        return []
    low, high = answer.travel.steps_mm[0], answer.travel.steps_mm[-1]
    lines = ["  " + worded(f"over the travel, {low:+.0f} to {high:+.0f} mm of wheel from ride height", units)]
    return lines + [
        f"    {words:28s}" + "".join(f"{c:23s} " for c in cells).rstrip()
        for words, cells in [("worst of", heads), *rows]
    ]


def near_verdict(near):
    """The verdict on a `travel.Nearest` in a word or two, or nothing where it has none."""
    words = (("good", "TOO FAR") if near.figure.unit == "deg" else ("clear", "TOUCHES"))
    return {"clear": words[0], "not clear": words[1], "cannot tell": "can't tell"}.get(near.verdict, "")


def _cell(near, units):
    f = near.figure
    scale, digits = (INCH, 1) if units == "in" else (1.0, 0)
    value, half = (v / (scale if f.unit == "mm" else 1.0) for v in (f.value, (f.high95 - f.low95) / 2))
    fine = digits if f.unit == "mm" else 0
    return (f"{value:.{fine}f} ±{half:.{fine}f} at {near.at_mm / scale:+.{digits}f}"
            f" {near_verdict(near)}").rstrip()


def axle_lines(axle, units="mm"):
    """Sentences for one axle, however long: preload, stiffness and the two links."""
    lines = []
    if axle.preload is not None:
        value, half, unit = format_value(axle.preload.eye_mm, units)
        words = {"none": "no preload to speak of", "preloaded": "PRELOADED",
                 "cannot tell": "can't tell yet"}[axle.preload.verdict]
        lines.append(f"{axle.axle} axle: {words}: {value} ± {half} {unit} at the right eye")
        if axle.preload.force_n is not None:
            f = axle.preload.force_n
            lines[-1] += f", {f.value:+.0f} ({f.low95:+.0f} to {f.high95:+.0f}) N"
    if axle.stiffness is not None:
        s = axle.stiffness
        at_wheel = (f"{s.roll[0]:.1f} ± {1.96 * s.roll[1]:.1f} N/mm at each wheel in roll,"
                    f" {s.single[0]:.1f} at one wheel alone")
        lines.append(f"{axle.axle} bar, {s.by}: {s.rate_n_per_mm:.1f} N/mm at its eyes; it adds {at_wheel}"
                     " (rubber and play left out: a real one is softer)")
    if axle.unstressed is not None and not isinstance(axle.unstressed, Refusal):
        if not lines:
            lines.append(f"{axle.axle} axle: the links that leave the bar unstressed at these ride heights")
        for side in ("left", "right"):
            value, half, unit = format_value(getattr(axle.unstressed, side), units)
            change = getattr(axle.unstressed, f"{side}_change")
            lines.append(
                worded(f"  unstressed, {side} link {value} +- {half} {unit} (change {change.value:+.1f} +-"
                       f" {(change.high95 - change.low95) / 2:.1f} mm)", units))
    return lines
