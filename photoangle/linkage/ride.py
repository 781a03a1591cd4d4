"""To ride height: measured at set, carried from droop, and one checked by the other; and what if."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from photoangle.core.agreement import e_n
from photoangle.core.arrays import Array
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, NOTE, Finding, Refusal
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.mechanism import bar_arm_angle, position
from photoangle.linkage.kinematics.sampled_corner import SampledCorner
from photoangle.linkage.sampled import Sampling, shares
from photoangle.linkage.travel import Travel, over_travel, ride_rise


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
    result = over_travel(corner, travel, sampling=Sampling(samples, seed=seed))
    if isinstance(result, Refusal):
        return result
    figures = dict(result.at_ride)
    if budget and "bar_arm_angle" in figures:
        def angle(layout: Layout) -> Array:
            return np.degrees(bar_arm_angle(layout, position(layout, ride_rise(layout, travel)).bar_turn))

        figures["bar_arm_angle"] = replace(figures["bar_arm_angle"], budget=shares(corner, angle))
    findings = [f for f in result.findings if f.level == "unusable" or f.where.endswith(corner.state)]
    if corner.nominal().knuckle_turn is not None:
        findings.append(Finding(NOTE, corner.name, "how the knuckle tilts as the wheel rises is not known:"
                                " its hub may rise by a tenth more than the ball joint, or a little less",
                                "give the upper arm or the strut's top, or measure at set; tape hub to arch"
                                " from the same point of the hub each time, wheel on or off"))
    return Carried(figures, tuple(findings))


@dataclass(frozen=True)
class Check:
    """Two ways to one figure: e_n (ISO 13528), agrees, and a finding where they do not."""

    e_n: float
    agrees: bool
    finding: Finding | None


def check(measured: Figure, carried: Figure) -> Check:
    """A figure measured at set against the same carried from droop, by E_n.

    Both Figures.  Errors that both share (the same stand-off, the same floor) are counted twice, so that the
    check is on the mild side there.
    """
    number = e_n(measured.value - carried.value, math.hypot(measured.u, carried.u))
    if abs(number) <= 1:
        return Check(number, True, None)
    return Check(
        number,
        False,
        Finding(
            ATTENTION,
            f"{measured.corner}/{measured.state}",
            f"{measured.name} is {measured.value:.2f} {measured.unit} as measured and"
            f" {carried.value:.2f} as carried from {carried.state or 'droop'}: E_n {number:.1f}, they"
            f" contradict",
            "is hub to arch the same as on the wheels? was a marker moved between the states?",
        ),
    )


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
