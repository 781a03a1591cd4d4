"""The travel worked out beforehand, over link lengths and ride heights: what the link screen goes through
while the thumb moves.

Few samples, drawn once for all cells: between cells the browser interpolates values in proportion and takes
the graver verdict; where the thumb rests, `slider.worked_out` answers as the command does.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass, replace
from functools import lru_cache

from calib.errors import InputError
from photoangle.core.findings import Refusal
from photoangle.core.roles import (
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    HOSE_A,
    HOSE_B,
    HOSE_C,
    LINK_FOOT,
)
from photoangle.droplink.request import SHORTEST_LINK_MM
from photoangle.droplink.stops import lowered_travel
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Limits, over_travel
from photoangle.output.drawn.drawings import corner_at
from photoangle.output.summary.linked import turns_words
from photoangle.output.wording import INCH, length_to_set, worded
from photoangle.page.link_screen.slider import MOST_CHANGE_MM, MOST_LOWERED_MM, clearances

QUICK_SAMPLES, QUICK_STEPS = 200, 21
# So many lengths are worked out; of finer stops what lies between is interpolated.
MOST_LENGTHS, HEIGHTS = 41, 5
# Without an adjuster's pitch or lengths to be had, so finely may a link be set: mm, and in an inch car.
_FINE_MM, _FINE_IN = 0.5, INCH / 32
_DRAWN = (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_PIVOT_FRONT, ARM_PIVOT_REAR, ARM_BALL_JOINT, HOSE_A, HOSE_B,
          HOSE_C)


@dataclass(frozen=True)
class Stop:
    """Where the slider may stand: change_mm from the present length; length, how: in words; beyond: which
    limit of the adjuster it is past, or ""."""

    change_mm: float
    length: str
    how: str
    beyond: str = ""


class _DrawnOnce:
    """A linkage corner whose samples are drawn once: they hang on neither length nor ride height."""

    def __init__(self, corner):
        self._corner = corner
        self.sample, self.nominal = lru_cache(4)(corner.sample), lru_cache(1)(corner.nominal)

    def __getattr__(self, name):
        return getattr(self._corner, name)


def stops_of(answer, notes, units="mm"):
    """The lengths that the slider snaps to, shortest first: half turns where the pitch is known, lengths to
    be had where the file has some, else the divisions of a rule; the present and the advised one are among
    them.

    answer: CornerAnswer with an advice; notes: CornerNotes.  Returns a list of Stop.
    """
    present, adjuster = answer.advice.figures["link_length"].value, answer.adjuster
    least, most, why_low, why_high = adjuster.reach(present)
    low = max(least, -MOST_CHANGE_MM, SHORTEST_LINK_MM - present)
    high = min(most, MOST_CHANGE_MM)
    step = adjuster.half_turn_mm
    if notes.link.lengths_mm:
        changes = {length - present for length in notes.link.lengths_mm}
    else:
        by = step or (_FINE_IN if units == "in" else _FINE_MM)
        changes = {k * by for k in range(math.ceil(low / by - 1e-9), math.floor(high / by + 1e-9) + 1)}
    changes |= {c for c in (0.0, answer.advice.change_mm) if abs(c) <= MOST_CHANGE_MM}
    out = []
    for change in sorted({round(c, 3) for c in changes}):
        by = length_to_set(abs(change), units)
        how = f"{by} {'longer' if change > 0 else 'shorter'}" if change else "as it is now"
        turns = round(change / step) if step else 0
        if turns and abs(turns * step - change) < 0.01:
            how += f", {turns_words(turns)}"
        beyond = why_high if change > most + 0.01 else why_low if change < least - 0.01 else ""
        out.append(Stop(change, length_to_set(present + change, units), how, worded(beyond, units)))
    return out


def changes_of(stops):
    """The changes that are worked out for these stops: all, or every so many with both ends, mm."""
    every = math.ceil(len(stops) / MOST_LENGTHS)
    chosen = {*range(0, len(stops), every), len(stops) - 1}
    return [stops[k].change_mm for k in sorted(chosen)]


def heights_of(travel):
    """How much lower the car may stand, mm: the heights that are worked out, from none to the most."""
    most = min(MOST_LOWERED_MM, math.ceil(travel.bump_mm + travel.lowered_mm) - 1.0)
    return [round(most * k / (HEIGHTS - 1), 1) for k in range(HEIGHTS)] if most > 0 else [0.0]


class Grids:
    """Rows of cells, kept for as long as the answer is the newest."""

    def __init__(self):
        self._lock, self._number, self._rows, self._corners = threading.Lock(), None, {}, {}

    def row(self, answer, number, notes, units, lowered_mm):
        """The cells of one ride height.  answer: CornerAnswer; number: the Answer's it belongs to."""
        with self._lock:
            if number != self._number:
                self._number, self._rows, self._corners = number, {}, {}
            key = answer.corner, lowered_mm
            if key not in self._rows:
                corner = self._corners.setdefault(answer.corner, _DrawnOnce(answer.base))
                changes = changes_of(stops_of(answer, notes, units))
                self._rows[key] = row_of(answer, notes, changes, lowered_mm, units, corner)
            return self._rows[key]


def row_of(answer, notes, changes_mm, lowered_mm, units="mm", corner=None):
    """Cells of one ride height, one a change of length.

    corner: what to draw samples from, None for the answer's base.  Returns a list of dicts: trouble,
    angle [deg, plus-or-minus] or None, rows as from `_small`, places: the drawn points (x, y, z in mm, the
    chassis's frame, or null) at droop, ride height and bump stop, or None.
    """
    try:
        way = lowered_travel(answer.travel, lowered_mm) if lowered_mm else answer.travel
    except InputError as error:
        return [{"rows": [], "trouble": worded(error.what, units), "angle": None,
                 "places": None} for _ in changes_mm]
    moved, few = replace(answer, travel=way), replace(way, steps=QUICK_STEPS)
    limits = Limits(notes.joint_limit_deg, gap_mm=notes.hose.wanted_gap_mm)
    out = []
    for change in changes_mm:
        result = over_travel(corner or answer.base, few, change, Sampling(QUICK_SAMPLES), limits)
        places = None if isinstance(result, Refusal) else [
            _flat(corner_at(moved, bump, change)) for bump in (way.steps_mm[0], 0.0, way.steps_mm[-1])]
        out.append({**_small(clearances(result, units)), "places": places})
    return out


def _small(cell):
    """A cell with no more digits than a screen shows; a row as [name, value, plus-or-minus, lowest, travel,
    verdict]."""
    rows = [[r["name"], *(round(r[k], 2) for k in ("value", "half", "lowest", "at_mm")), r["is"]]
            for r in cell["rows"]]
    angle = cell["angle"] and [round(cell["angle"][k], 3) for k in ("value", "half")]
    return cell | {"rows": rows, "angle": angle}


def _flat(points):
    return {n: [None if v != v else round(float(v), 1) for v in points[n]] for n in _DRAWN if n in points}
