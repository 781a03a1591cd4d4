"""Left against right: is the bar twisted at rest, and which two links leave it unstressed.

The bar's free shape is read with one link off: the right arm's angle less the left's, as the bar then lies.
Its twist is what that difference has become with both links on.  Equal eye heights alone do not prove it
zero: a bar need not be straight.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from photoangle.core.arrays import Array, Floats
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding, Refusal
from photoangle.core.states import DROOP, RIDE, at_ride_height
from photoangle.linkage.checks import check_corner
from photoangle.linkage.kinematics.lengths import Wanted, lengths
from photoangle.linkage.kinematics.sampled_corner import SampledCorner
from photoangle.linkage.sampled import LOST_SHARE, FigureLabel, Sampling, figure, lost, sure_figure
from photoangle.linkage.travel import Travel, no_ride_height, reaches_ride_height, ride_rise

DRIVER = Finding(
    NOTE, "",
    "the driver's weight presses the car down on one side: the bar is free of preload only as it was"
    " loaded when measured", "set the links with the driver's weight in the seat, or with as much ballast")


@dataclass(frozen=True)
class Angle:
    """A bar arm's angle against the chassis's level, deg, with its standard uncertainty."""

    value_deg: float
    u_deg: float


@dataclass(frozen=True)
class Preload:
    """twist_deg, eye_mm (as the eye's height, right up positive) and force_n (None without a rate): Figures;
    verdict: "none" (within the allowance), "preloaded", or "cannot tell"; findings."""

    twist_deg: Figure
    eye_mm: Figure
    force_n: Figure | None
    verdict: str
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Bar:
    """A bar as it matters here: lever_mm: the eye's distance from its axis, with its standard uncertainty;
    rate_n_per_mm: force at one eye for each millimetre of one eye against the other; allowed_mm: preload that
    counts as none.
    Raises ValueError for a lever or a rate that is not positive."""

    lever_mm: float
    lever_u_mm: float = 0.0
    rate_n_per_mm: float | None = None
    allowed_mm: float = 2.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.lever_mm) and self.lever_mm > 0) or (self.rate_n_per_mm is not None
                                                                        and not self.rate_n_per_mm > 0):
            raise ValueError("lever_mm and rate_n_per_mm must be more than zero")


def preload(axle: str, on: tuple[Angle, Angle], off: tuple[Angle, Angle], bar: Bar,
            sampling: Sampling = Sampling(20000)) -> Preload:
    """The bar's twist with both links on against its shape with one off.

    axle: "front" or "rear"; on, off: left and right arm's Angle with both links on, and with one off.
    Returns Preload.
    """
    angles = (*on, *off)
    rng = np.random.default_rng(sampling.seed)
    drawn = np.array([rng.normal(a.value_deg, a.u_deg, sampling.samples) for a in angles])
    levers = rng.normal(bar.lever_mm, bar.lever_u_mm, sampling.samples)

    def twist(of: Array) -> Array:
        lo, ro, lf, rf = of
        out: Array = (ro - lo) - (rf - lf)
        return out

    def height(of: Array, lever: Floats) -> Array:
        # height of the right eye less where the free bar would have it, the left eye being where it is
        lo, ro, lf, rf = of
        out: Array = lever * (np.sin(np.radians(ro)) - np.sin(np.radians(lo + rf - lf)))
        return out

    values = np.array([a.value_deg for a in angles])
    apart, aparts = height(values, bar.lever_mm), height(drawn, levers)
    turned = sure_figure(FigureLabel(axle, None, "preload_twist", None, "deg"), twist(values), twist(drawn))
    eye = sure_figure(FigureLabel(axle, None, "preload", None, "mm"), apart, aparts)
    force = None
    if bar.rate_n_per_mm is not None:
        force = figure(FigureLabel(axle, None, "preload_force", None, "N"), apart * bar.rate_n_per_mm,
                       aparts * bar.rate_n_per_mm)
    findings: tuple[Finding, ...]
    within = eye.within(0.0, bar.allowed_mm)
    if within:
        verdict, findings = "none", (DRIVER,)
    elif within is False:
        verdict = "preloaded"
        findings = (Finding(
            ATTENTION, axle,
            f"the bar is preloaded by {eye.value:+.1f} mm at the right eye ({eye.low95:+.1f} to"
            f" {eye.high95:+.1f})", "set the two links that leave it unstressed"), DRIVER)
    else:
        verdict = "cannot tell"
        findings = (Finding(
            ATTENTION, axle, f"preload {eye.value:+.1f} mm at the right eye ({eye.low95:+.1f} to"
            f" {eye.high95:+.1f}): whether it is within {bar.allowed_mm:g} mm can't be told yet",
            "measure both bar arms again, with both links on and with one off"), DRIVER)
    return Preload(turned, eye, force, verdict, findings)


@dataclass(frozen=True)
class Unstressed:
    """The two links that leave the bar unstressed: Figures in mm; left_change, right_change from the present
    ones; findings."""

    left: Figure
    right: Figure
    left_change: Figure
    right_change: Figure
    findings: tuple[Finding, ...]


def unstressed_links(left: tuple[SampledCorner, Travel], right: tuple[SampledCorner, Travel], free: Angle,
                     wanted: Wanted = Wanted(), share: str = "both",
                     sampling: Sampling = Sampling(4000)) -> Unstressed | Refusal:
    """Link lengths left and right for a free bar at ride height.

    left, right: (Corner or the like, its travel); free: the right arm's angle less the left's with one link
    off; share: "both" puts the mean of the two arms at wanted.angle_deg; "left" the left arm there and the
    right one where the free bar has it.  Returns Unstressed or Refusal.
    """
    if share not in ("both", "left"):
        raise ValueError('share is "both" or "left"')
    bad = [f for c, _ in (left, right) for f in check_corner(c) if f.level == UNUSABLE]
    if bad:
        return Refusal(bad[0])
    rng = np.random.default_rng([sampling.seed, 7])
    drawn_free = rng.normal(free.value_deg, free.u_deg, (sampling.samples, 1, 1))
    out = {}
    for name, (corner, way), sign in (("left", left, -0.5), ("right", right, 0.5)):
        sign += 0.0 if share == "both" else 0.5
        results = []
        for layout, apart in ((corner.nominal(), np.full((1, 1, 1), free.value_deg)),
                              (corner.sample(sampling.samples, sampling.seed), drawn_free)):
            if not reaches_ride_height(layout, way):
                return no_ride_height(corner)
            results.append(lengths(layout, ride_rise(layout, way), Wanted(wanted.angle_deg, 0.0),
                                   apart_deg=sign * apart[..., 0]))
        best, drawn = results
        if np.isnan(best.wanted_mm).any() or lost(drawn.wanted_mm).max() > LOST_SHARE:
            return Refusal(
                Finding(UNUSABLE, corner.name, "at the wanted angle bar arm and link would lie in one line",
                        "ask for another angle"))
        of = FigureLabel(corner.name, "predicted-ride", "link_length_unstressed", None, "mm")
        out[name] = sure_figure(of, best.wanted_mm.item(), drawn.wanted_mm)
        out[name + "_change"] = sure_figure(replace(of, name="link_change_unstressed"),
                                            (best.wanted_mm - best.present_mm).item(),
                                            drawn.wanted_mm - drawn.present_mm)
    return Unstressed(out["left"], out["right"], out["left_change"], out["right_change"], (DRIVER,))


@dataclass(frozen=True)
class Heights:
    """Hub to arch of one side, mm: state -> (value, standard uncertainty)."""

    of: Mapping[str, tuple[float, float]]

    def over(self, other: Heights, state: str) -> tuple[float, float]:
        """How much more it is than on the other side in a state, with its standard uncertainty."""
        (here, u), (there, v) = self.of[state], other.of[state]
        return here - there, math.hypot(u, v)


def sides_differ(axle: str, left: Heights, right: Heights) -> list[Finding]:
    """Findings where hub to arch differs left from right by more than can be chance.

    A car may stand at two heights on its wheels: then each side has its own ride height, and its own link.
    In the states that stand for ride height each side is to read what it did on its wheels, since the bar
    couples both; hanging, both sides are alike or one is held up.
    """
    out = []
    both = sorted(set(left.of) & set(right.of))
    stands, u_stands = left.over(right, RIDE) if RIDE in both else (0.0, 0.0)
    if not _alike(stands, u_stands):
        out.append(
            Finding(NOTE, f"{axle}/{RIDE}",
                    f"on its wheels hub to arch is {_both(left, right, RIDE)}: each side has its own ride"
                    " height, and links of equal length would twist the bar",
                    "set each side to its own link, worked out at the heights as they are"))
    for state in both:
        if state == RIDE:
            continue
        known = RIDE in both and at_ride_height(state)
        apart, u = left.over(right, state)
        if known:
            apart, u = apart - stands, math.hypot(u, u_stands)
        if _alike(apart, u):
            continue
        on_wheels = f", on its wheels {_both(left, right, RIDE)}" if known else ""
        out.append(
            Finding(
                ATTENTION, f"{axle}/{state}", f"hub to arch is {_both(left, right, state)}{on_wheels}: the"
                " bar couples both wheels and is twisted in this state",
                "bring each wheel to its own hub to arch on the wheels and measure again" if known else
                "let both wheels hang freely and measure again" if state == DROOP else
                "tape both sides with the car on its wheels, bring each wheel to its own and measure again"))
    return out


def _alike(apart_mm: float, u_mm: float) -> bool:
    return abs(apart_mm) <= 2 * u_mm + 2.0


def _both(left: Heights, right: Heights, state: str) -> str:
    return f"{left.of[state][0]:.0f} mm left and {right.of[state][0]:.0f} mm right"
