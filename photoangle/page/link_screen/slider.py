"""The link tried out: a wish answered in full, with the command's own functions and words.

What moves while the thumb does is `grid`'s.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from contextlib import contextmanager

from calib.running.cancellation import left_by
from photoangle.core.findings import Refusal
from photoangle.core.options import LinkRequest
from photoangle.droplink.answer import link_answers
from photoangle.droplink.by_tape import tape_answers
from photoangle.output.link_table import EXTREMES
from photoangle.output.summary.linked import clearance, headline, what_if
from photoangle.output.table import format_value
from photoangle.output.wording import worded

MOST_CHANGE_MM, MOST_LOWERED_MM = 60.0, 40.0
_KEPT = 64


class Overtaken(Exception):
    """Another wish came, or another answer, before this one was worked out."""


class InFull:
    """Wishes answered in full, the newest kept; one at a time, a newer wish has the older one left."""

    def __init__(self):
        self._kept, self._lock, self._one, self._newest = OrderedDict(), threading.Lock(), threading.Lock(), 0

    def answer(self, answer, car, corner, change_mm, lowered_mm):
        """`worked_out` for an Answer of the page's.  Raises Overtaken and InputError."""
        key = (answer.number, corner, change_mm, lowered_mm)
        with self._lock:
            if key in self._kept:
                return self._kept[key]
            self._newest += 1
            mine = self._newest
        with self._alone(mine):
            out = worked_out(answer.measurement, car, corner, change_mm, lowered_mm)
        with self._lock:
            self._kept[key] = out
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return out

    @contextmanager
    def _alone(self, mine):
        def check():
            if self._newest != mine:
                raise Overtaken

        with self._one:
            check()
            with left_by(check):
                yield


def worked_out(measurement, car, corner, change_mm, lowered_mm):
    """A wish answered in full, as `photoangle link --change --lowered` does.

    measurement: Measurement, or None: by tape alone; car: CarFile; corner: its name; change_mm: how much
    longer the link is than now; lowered_mm: how much lower the car.  Returns a dict: sentence and clearance
    of that very wish in the car's units, figures as in the commands' JSON, rows of the travel; None where
    the corner has no answer.  Raises InputError.
    """
    wishes, units = LinkRequest(change_mm=change_mm, lowered_mm=lowered_mm), car.units
    if measurement is None:
        answers = tape_answers(car, wishes, corner)
    else:
        answers = link_answers(measurement, wishes, only=corner)
    answer = next((a for a in answers if a.corner == corner), None)
    if answer is None or answer.base is None:
        return None
    result = answer.proposed if answer.proposed is not None else answer.present
    figures = [{
        "name": f.name, "state": f.state, "value": round(f.value,
                                                         5), "u": round(f.u, 6), "low95": round(f.low95, 5),
        "high95": round(f.high95, 5), "text": " ± ".join(format_value(f, units)[:2]), "unit": f.unit
    } for f in answer.figures]
    return {
        "sentence": what_if(answer, wishes, units) or headline(answer, units),
        "clearance": clearance(answer, units), "figures": figures, "units": units, **clearances(result, units)
    }


def clearances(result, units="mm"):
    """A TravelResult or Refusal as plain data: rows of the extremes, each with what it "is" (a verdict, or ""
    where it has no limit), angle at ride height, trouble."""
    if isinstance(result, Refusal):
        return {
            "rows": [], "trouble": worded(f"{result.finding.what}; {result.finding.do}", units),
            "angle": None
        }
    rows = []
    for name, words in EXTREMES:
        near = result.nearest.get(name)
        if near is not None:
            f = near.figure
            rows.append({
                "name": name, "words": words, "value": f.value, "half": (f.high95 - f.low95) / 2,
                "unit": "°" if f.unit == "deg" else f.unit, "at_mm": near.at_mm, "lowest": near.lowest,
                "is": near.verdict
            })
    angle = result.at_ride.get("bar_arm_angle")
    trouble = "; ".join(worded(f.what, units) for f in result.findings if f.level == "unusable")
    return {
        "rows": rows, "trouble": trouble,
        "angle": None if angle is None else {"value": angle.value, "half": (angle.high95 - angle.low95) / 2}
    }
