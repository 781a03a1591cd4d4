"""The next tape reading: which one would narrow the link's answer most, and whether it would settle the
verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass

from photoangle.core.findings import Refusal
from photoangle.geometry.datums import ROLL_UNKNOWN
from photoangle.linkage.advice import CANNOT_TELL
from photoangle.linkage.tape_only import POINTS

# What the user can read again or read for the first time, by source of the budget: words, and what is left of
# that source's variance afterwards (a second independent reading halves it; a direct one does away with most
# of it).
READINGS = {
    "hub to arch": ("tape hub to arch once more in both states, as a list of readings", 0.5),
    "hub against ball joint": (
        "photograph the corner at set height (or mark the strut's top): the hub's tilt then drops out", 0.05),
    "taped heights": ("tape the heights once more from one level line", 0.5),
    "taped lengths": ("tape the lengths once more from centre to centre", 0.5),
    "taped link": ("tape the link once more from centre to centre", 0.5),
    "stand-off": ("measure the stand-offs with a caliper, \"34.2 mm +- 0.2\"", 0.15),
    "sticking": ("centre the markers better, or use the plate form, and say so with stuck_within", 0.25),
    "print": ("lay a steel rule on the print-check lines and write what it says", 0.1),
    "pitch": ("read the sill's slope with a level here and on the wheels", 0.01),
    ROLL_UNKNOWN: ("lay a level across the car as it stands here and write it as roll_deg", 0.1),
    "floor": ("measure the floor's slope along the car with a long level", 0.15),
    POINTS: ('say which way the bar\'s arm points from bush to eye: bar_arm_points = "front" or "rear"', 0.0),
    "link's lean": ("tape the height of the link's foot, or take one photo", 0.3),
}
WORTH = 0.10


@dataclass(frozen=True)
class NextReading:
    """source; words: what to read; share of the variance; u_now, u_then of the bar arm's angle at ride
    height, deg; settles: whether the verdict could then be told at the value as it is now."""

    source: str
    words: str
    share: float
    u_now: float
    u_then: float
    settles: bool


def next_reading(answer):
    """The reading that narrows a CornerAnswer most.  Returns NextReading, or None where none is worth it."""
    if answer.base is None or isinstance(answer.advice, Refusal):
        return None
    figure = answer.advice.figures.get("bar_arm_angle")
    if figure is None or not figure.budget:
        return None
    best = None
    for source, share in figure.budget.items():
        words, left = READINGS.get(source, (None, 1.0))
        if words is None:
            continue
        u = figure.u * math.sqrt(max(0.0, 1 - share * (1 - left)))
        if best is None or u < best.u_then:
            best = NextReading(source, words, share, figure.u, u, _settles(answer, figure, u))
    if best is None or best.u_then > (1 - WORTH) * figure.u:
        return None
    return best


def _settles(answer, figure, u):
    """Whether the present link could be told good or bad with this u, the value staying where it is."""
    if answer.advice.verdict != CANNOT_TELL or answer.wanted.square:
        return False
    inside = answer.wanted.within_deg - abs(figure.value - answer.wanted.angle_deg)
    return abs(inside) > 1.645 * u
