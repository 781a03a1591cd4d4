"""To ride height: measured at set, carried from droop, and one checked by the other; and what if."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from photoangle.core.agreement import e_n
from photoangle.core.arrays import Array
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, NOTE, Finding, Refusal
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.mechanism import bar_arm_angle, position
from photoangle.linkage.kinematics.sampled_corner import SampledCorner
from photoangle.linkage.sampled import LOST_SHARE, Sampling, lost, shares
from photoangle.linkage.travel import Travel, at_ride_alone, reaches_ride_height, ride_rise


@dataclass(frozen=True)
class Carried:
    """A corner at ride height: figures: name -> Figure at state "predicted-ride"; findings."""

    figures: dict[str, Figure]
    findings: tuple[Finding, ...]


def carry(corner: SampledCorner, travel: Travel, samples: int = 4000, seed: int = 1,
          budget: bool = True) -> Carried | Refusal:
    """Figures at ride height from the corner's own state.

    Returns Carried or Refusal.  The bar arm's angle comes with its budget.
    """
    found = at_ride_alone(corner, travel, Sampling(samples, seed=seed))
    if isinstance(found, Refusal):
        return found
    figures, said = found
    if budget and "bar_arm_angle" in figures:
        def angle(layout: Layout) -> Array:
            return np.degrees(bar_arm_angle(layout, position(layout, ride_rise(layout, travel)).bar_turn))

        figures["bar_arm_angle"] = replace(figures["bar_arm_angle"], budget=shares(corner, angle))
    findings = [f for f in said if f.level == "unusable" or f.where.endswith(corner.state)]
    if corner.nominal().knuckle_turn is not None:
        findings.append(Finding(NOTE, corner.name, "how the knuckle tilts as the wheel rises is not known:"
                                " its hub may rise by a tenth more than the ball joint, or a little less",
                                "give the upper arm or the strut's top, or measure at set; tape hub to arch"
                                " from the same point of the hub each time, wheel on or off"))
    return Carried(figures, tuple(findings))


def at_ride(measured: Figure, corner: SampledCorner, travel: Travel,
            sampling: Sampling = Sampling(2000)) -> Figure:
    """A bar arm's angle as measured in a state that stands near ride height, taken on to ride height itself.

    corner: the linkage's corner in that state; its hub to arch there and on the wheels says how far the
    state is off, and how well that is known.  Returns ``measured`` where that cannot be had.
    """
    nominal = corner.nominal()
    if not reaches_ride_height(nominal, travel):
        return measured

    def shift(layout: Layout) -> Array:
        rise = ride_rise(layout, travel)
        there, here = (bar_arm_angle(layout, position(layout, r).bar_turn) for r in (rise, 0.0 * rise))
        out: Array = np.degrees(there - here)
        return out

    drawn = shift(corner.sample(sampling.samples, sampling.seed))
    by = shift(nominal).item()
    if not math.isfinite(by) or lost(drawn).max() > LOST_SHARE:
        return measured
    u_shift = float(np.nanstd(drawn))
    u = math.hypot(measured.u, u_shift)
    half = (measured.high95 - measured.low95) / 2 * (u / measured.u if measured.u > 0 else 0.0)
    half = half if measured.u > 0 else 1.96 * u
    kept = (measured.u / u) ** 2 if u > 0 else 1.0
    budget = {k: v * kept for k, v in measured.budget.items()} | {"hub to arch": 1 - kept}
    return replace(measured, state="predicted-ride", value=measured.value + by, u=u,
                   low95=measured.value + by - half, high95=measured.value + by + half,
                   budget=dict(sorted(budget.items(), key=lambda p: -p[1])))


@dataclass(frozen=True)
class Check:
    """Ways to one figure against each other.

    e_n (ISO 13528) of the two that differ most; agrees; best: the name of the way that is known best, None
    where they contradict; a finding where they do.
    """

    e_n: float
    agrees: bool
    best: str | None
    finding: Finding | None


def check(ways: Mapping[str, Figure]) -> Check:
    """Ways to one figure, such as measured at set and carried from droop, by E_n.

    ways: in words -> Figure, two or more.  Errors that ways share (the same stand-off, the same floor) are
    counted twice, so that the check is on the mild side there.  What they say together is what the best of
    them says: how far their errors go together is not known once they went through different states, and
    of all weights only that one never promises more than it holds (covariance intersection, Julier and
    Uhlmann 1997, comes to it for a single number); so the whole is never wider than its best part.  Ways
    that contradict each other have no common answer.
    """
    pairs = [(e_n(a.value - b.value, math.hypot(a.u, b.u)), one, other)
             for (one, a), (other, b) in itertools.combinations(ways.items(), 2)]
    number, one, other = max(pairs, key=lambda p: abs(p[0]))
    if abs(number) <= 1:
        return Check(number, True, min(ways, key=lambda w: ways[w].u), None)
    a, b = ways[one], ways[other]
    return Check(number, False, None, Finding(
        ATTENTION, a.corner or "",
        f"{a.name.replace('_', ' ')} at ride height can't be told yet: {a.value:.2f} {a.unit} {one} and"
        f" {b.value:.2f} {b.unit} {other} contradict each other (E_n {number:.1f})",
        "is hub to arch the same as on the wheels? was a marker moved between the states?"))


def no_datum_finding(where: str, between_deg: tuple[float, float]) -> Finding:
    """What to say when a carry-over is asked for and no chassis datum exists.

    A car lifted at one axle by h is pitched by atan(h / wheelbase), and every angle read against gravity is
    wrong by that for the bar arm.  between_deg: what the pitch lies between, nose up.
    """
    low, high = between_deg
    size = (f"nose up by anything from {low:.1f} to {high:.1f} deg" if low >= 0 else
            f"tail up by anything from {abs(high):.1f} to {-low:.1f} deg" if high <= 0 else
            f"anything from {-low:.1f} deg tail up to {high:.1f} deg nose up")
    return Finding(
        ATTENTION, where,
        f"no chassis datum: the car's pitch in this state is not known ({size}), and the bar arm's angle at"
        " ride height can be wrong by as much",
        "put both sill markers in view in this state and with the car on its wheels,"
        " or read the sill's slope with a level in both; wheelbase and lift under [car] narrow it a little")
