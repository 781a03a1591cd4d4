"""How stiff an anti-roll bar is: at its eyes by its own dimensions, at the wheels by the linkage.

The bar is taken as one round section: a straight part between its bends, held in bushes that let it turn, and
two straight arms.  Left out: the rubber of bushes and links, play, the bends' own radius, and the straight
part's bending between bushes that are not at its bends; each makes a real bar softer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from photoangle.core.figure import Figure
from photoangle.core.findings import Refusal
from photoangle.linkage.travel import TravelResult

# Spring steel, N/mm^2 (EN 10089 grades; from memory 206 and 79 GPa, as design handbooks have them).
YOUNG_N_PER_MM2, SHEAR_N_PER_MM2 = 206_000.0, 79_300.0


@dataclass(frozen=True)
class BarShape:
    """A bar's dimensions, mm.

    diameter_mm; wall_mm: None for a solid bar; length_mm: of the straight part that twists, from bend to
    bend; arm_mm: along each arm, from the bend to the eye; lever_mm: the eye's distance from the straight
    part's axis, None: the arm's own length (an arm square to it).  Raises ValueError for what no bar has.
    """

    diameter_mm: float
    length_mm: float
    arm_mm: float
    lever_mm: float | None = None
    wall_mm: float | None = None

    def __post_init__(self) -> None:
        sizes = (self.diameter_mm, self.length_mm, self.arm_mm, self.lever)
        if not all(math.isfinite(s) and s > 0 for s in sizes):
            raise ValueError("diameter, length, arm and lever must be more than zero")
        if self.lever > self.arm_mm * (1 + 1e-9):
            raise ValueError("the lever is the eye's distance from the axis: no longer than the arm")
        if self.wall_mm is not None and not 0 < self.wall_mm <= self.diameter_mm / 2:
            raise ValueError("the wall must be more than zero and at most half the diameter")

    @property
    def lever(self) -> float:
        """The eye's distance from the axis that twists, mm."""
        return self.arm_mm if self.lever_mm is None else self.lever_mm

    @property
    def second_moment_mm4(self) -> float:
        """Of the section about a diameter, pi (D^4 - d^4) / 64; twice that against torsion."""
        inner = 0.0 if self.wall_mm is None else self.diameter_mm - 2 * self.wall_mm
        return math.pi * (self.diameter_mm**4 - inner**4) / 64


def bar_rate(bar: BarShape) -> float:
    """Force at one eye for each millimetre of one eye against the other, N/mm.

    By Castigliano's theorem: a force F at the eye, square to arm and axis, twists the straight part by F a
    (a: lever) and bends each arm as a cantilever; the eyes move apart by

        F (a^2 L / (G J) + 2 l^3 / (3 E I) + r^2 L / (3 E I)),    J = 2 I,    r^2 = l^2 - a^2

    (L: the straight part, l: the arm).  The last: an arm that runs r along the axis bends the straight part,
    held at both bends, by a moment that goes from F r at one end to -F r at the other.
    """
    second, polar = bar.second_moment_mm4, 2 * bar.second_moment_mm4
    run2 = max(bar.arm_mm**2 - bar.lever**2, 0.0)
    twist = bar.lever**2 * bar.length_mm / (SHEAR_N_PER_MM2 * polar)
    bend = 2 * bar.arm_mm**3 / (3 * YOUNG_N_PER_MM2 * second)
    across = run2 * bar.length_mm / (3 * YOUNG_N_PER_MM2 * second)
    return 1 / (twist + bend + across)


def stiffness_ratio(now: TravelResult | Refusal | None, then: TravelResult | Refusal | None) -> float | None:
    """The bar's stiffness at the wheel, then over now: (d bar turn / d wheel)^2 of both at ride height; None
    where either is not known.

    For a bar whose arms do not bend; with arms that carry a share of the give, the change is less by it.
    """
    if now is None or then is None or isinstance(now, Refusal) or isinstance(then, Refusal):
        return None
    rates = [r.at_ride.get("bar_turn_rate") for r in (now, then)]
    if rates[0] is None or rates[1] is None or not rates[0].value:
        return None
    return float((rates[1].value / rates[0].value) ** 2)


def wheel_rate(rate_n_per_mm: float, motion_ratio: Figure, opposite: bool) -> tuple[float, float]:
    """(What the bar adds at one wheel, N/mm, its standard uncertainty by the motion ratio's).

    rate_n_per_mm: as from `bar_rate`; motion_ratio: the bar eye's rise over the wheel's; opposite: both
    wheels moving against each other, as in roll, where the eyes move apart twice as far; else one wheel
    alone. By virtual work, k m^2, twice that in roll.
    """
    times = 2.0 if opposite else 1.0
    value = times * rate_n_per_mm * motion_ratio.value**2
    return value, 2 * value * motion_ratio.u / abs(motion_ratio.value)
