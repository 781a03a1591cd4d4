"""`next` in short: the things to do in the order in which they help, each with what it brings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from photoangle.core.findings import NOTE
from photoangle.core.states import has_new_link
from photoangle.linkage.advice import CANNOT_TELL, CHANGE, LEAVE
from photoangle.output.summary.common import wrapped
from photoangle.output.summary.linked import set_to
from photoangle.output.table import gathered, graver_first
from photoangle.output.wording import worded

_MOST = 6
_MOST_LOOKS = 3


def gain_words(reading: Any) -> str:
    """What a NextReading would bring, in words."""
    return (f"{reading.source} is {100 * reading.share:.0f} % of what is not known of the bar arm at ride"
            f" height: from ± {1.96 * reading.u_now:.2f} to about ± {1.96 * reading.u_then:.2f}°"
            + ("; that should settle it" if reading.settles else ""))


def things_to_do(measurement: Any, answers: Sequence[Any], steps: Sequence[Any],
                 readings: Sequence[tuple[str, Any]]) -> list[tuple[str, str]]:
    """(what to do, why) pairs, the first first: what is wrong, what keeps a verdict from being told, photos
    that are worth it, the link itself, readings.

    answers: CornerAnswers; steps: advise.NextSteps; readings: (corner, NextReading) pairs.
    """
    units = measurement.car.units
    wrong = [f for f in graver_first(gathered(measurement.report.findings)) if f.level != NOTE and f.do]
    out = [(f"{f.where}: {worded(f.do, units)}", worded(f.what, units)) for f in wrong[:_MOST_LOOKS]]
    stuck = {a.corner for a in answers if getattr(a.advice, "verdict", None) == CANNOT_TELL}
    out += [_reading(c, r) for c, r in readings if c in stuck]
    out += [(f"{s.where}: {worded(s.words, units)}", worded(s.gain, units))
            for s in steps if s.photo is None or s.photo.worth]
    out += [item for a in answers for item in [_link(a, units)] if item is not None]
    out += [_reading(c, r) for c, r in readings if c not in stuck]
    return out


def _reading(corner, reading):
    return f"{corner}, tape: {reading.words}", gain_words(reading)


def _link(answer, units):
    """What to do about a corner's link, or None where nothing is to be done."""
    verdict = getattr(answer.advice, "verdict", None)
    figure = None if verdict is None else answer.advice.figures.get("link_length")
    if verdict == CHANGE and figure is not None:
        return (f"{answer.corner}: {set_to(answer, units)} Then photos into {answer.corner}/fitted",
                "photoangle report has the fitting card")
    if verdict == LEAVE and has_new_link(answer.base.state):
        return (f"{answer.corner}: done, the link stays; compare set with fitted for the proof",
                "then markers, string and card off")
    return None


def summary_lines(things: Sequence[tuple[str, str]], folder: str) -> list[str]:
    """Lines of the things to do; folder: as the user wrote it."""
    if not things:
        return ["Nothing more to do here that would bring anything.",
                f"All of it: photoangle next {folder} --full"]
    lines = ["What to do next:"]
    for number, (what, why) in enumerate(things[:_MOST], 1):
        lines += wrapped(f"{number}. {what.rstrip('.')}.", "   ")
        lines += ["   " + line for line in wrapped(f"({why.rstrip('.')})", room=3)]
    rest = f"{len(things) - _MOST} more and the rest" if len(things) > _MOST else "All of it"
    return [*lines, f"{rest}: photoangle next {folder} --full"]
