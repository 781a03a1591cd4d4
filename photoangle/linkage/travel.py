"""Over the travel, droop to bump stop: angles, leans, tilts and gaps, with the nearest point of each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.figure import Figure
from photoangle.core.findings import UNUSABLE, Finding, Refusal
from photoangle.core.roles import BAR_EYE, LINK_FOOT
from photoangle.core.states import FITTED, RIDE, SET
from photoangle.linkage.checks import check_corner, check_hole, closing_findings
from photoangle.linkage.kinematics.hose import hose_gaps
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.lengths import other_hole
from photoangle.linkage.kinematics.mechanism import (
    assembled_link_mm,
    bar_arm_angle,
    bar_to_link,
    control_arm_angle,
    joint_tilt,
    link_lean,
    position,
    rates,
)
from photoangle.linkage.kinematics.sampled_corner import SampledCorner
from photoangle.linkage.sampled import LOST_SHARE, FigureLabel, Sampling, figure, interval, lost, sure_figure
from photoangle.linkage.verdicts import judged

AT_RIDE = (SET, RIDE, FITTED)
# Samples worked on at once: the arrays stay within the processor's cache.
_BLOCK = 250
# A gap to a brake hose is clear where at most so many samples touch.
_HARDLY_EVER = 0.002


@dataclass(frozen=True)
class Travel:
    """The wheel's travel about ride height, mm of hub rise: droop_mm below zero, bump_mm above.

    steps: how many; measured_mm: (lowest, highest) that was measured, or None: beyond, answers extrapolate;
    lowered_mm: how much lower than the measured ride height the car is to stand;
    ride_state: the state whose hub to arch is ride height.
    """

    droop_mm: float
    bump_mm: float
    steps: int = 61
    measured_mm: tuple[float, float] | None = None
    lowered_mm: float = 0.0
    ride_state: str = RIDE

    def __post_init__(self) -> None:
        if not (self.droop_mm <= 0 <= self.bump_mm and self.droop_mm < self.bump_mm) or self.steps < 2:
            raise ValueError("droop_mm <= 0 <= bump_mm, not both zero, and at least two steps")

    @property
    def steps_mm(self) -> Array:
        """Steps of hub rise from ride height, (steps,) mm."""
        return np.linspace(self.droop_mm, self.bump_mm, self.steps)

    def lowered(self, by_mm: float) -> Travel:
        """The same car standing lower: the stops stay where they are on the car."""
        return replace(self, droop_mm=self.droop_mm - by_mm, bump_mm=self.bump_mm - by_mm,
                       lowered_mm=self.lowered_mm + by_mm, measured_mm=None if self.measured_mm is None else
                       (self.measured_mm[0] - by_mm, self.measured_mm[1] - by_mm))


def reaches_ride_height(layout: Layout, travel: Travel) -> bool:
    """Whether ride height is known from the layout's state."""
    return layout.state in AT_RIDE or {layout.state, travel.ride_state} <= set(layout.hub_to_arch_mm)


def ride_rise(layout: Layout, travel: Travel) -> Array:
    """The hub's rise from the layout's state to ride height, (..., 1) mm.

    From the two states' hub to arch; zero where the layout's own state stands at ride height and nothing else
    is known.  Raises ValueError where it cannot be had: see `reaches_ride_height`.
    """
    arch = layout.hub_to_arch_mm
    if layout.state in arch and travel.ride_state in arch:
        return arch[layout.state] - arch[travel.ride_state] + travel.lowered_mm
    if layout.state not in AT_RIDE:
        raise ValueError("hub to arch is not known in both states")
    return np.full_like(layout.bar_axis[..., 0], travel.lowered_mm)


def no_ride_height(corner: SampledCorner) -> Refusal:
    """The Refusal where ride height cannot be reached from the corner's state."""
    return Refusal(Finding(UNUSABLE, f"{corner.name}/{corner.nominal().state}",
                           "hub to arch is not known both in this state and at ride height, so nothing can be"
                           " carried over", "tape hub to arch now and with the car on its wheels"))


@dataclass(frozen=True)
class Course:
    """One quantity over the travel: value, u, low95, high95 (steps,), NaN where it cannot be had."""

    name: str
    unit: str
    value: Array
    u: Array
    low95: Array
    high95: Array


@dataclass(frozen=True)
class Nearest:
    """The extreme of a quantity over the travel and where it lies, mm of hub rise from ride height.

    at_mm with its 95 % interval; extrapolated: it lies beyond the measured travel; lowest: what it comes
    below in one sample of 500; verdict: "clear", "not clear" or "cannot tell" (only for what has a limit),
    else "".
    """

    figure: Figure
    at_mm: float
    at_low95_mm: float
    at_high95_mm: float
    extrapolated: bool
    lowest: float
    verdict: str = ""


@dataclass(frozen=True)
class TravelResult:
    """steps_mm (steps,); courses: name -> Course; nearest: name -> Nearest; at_ride: name -> Figure;
    findings."""

    steps_mm: Array
    courses: dict[str, Course]
    nearest: dict[str, Nearest]
    at_ride: dict[str, Figure]
    findings: tuple[Finding, ...]


def closest(result: TravelResult) -> tuple[str, Nearest] | None:
    """What comes nearest to the hose over the travel: ("eye", "link" or "arm", its Nearest), by what hardly
    one sample in 500 comes below; None where no hose is known."""
    parts = {name: near for name, near in result.nearest.items()
             if name in ("gap_min_eye", "gap_min_link", "gap_min_arm")}
    if not parts:
        return None
    name = min(parts, key=lambda n: parts[n].lowest)
    return name.removeprefix("gap_min_"), parts[name]


def quantities(layout: Layout, rise_mm: Array, link_mm: Array | None = None,
               gaps: bool = True) -> dict[str, Array]:
    """Every quantity at hub rises from the reference state.

    layout: leading axes (n, 1); rise_mm (n or 1, t); link_mm (n, 1) or None for the present link; gaps: those
    to the hose as well.
    Returns name -> (n, t), in deg, mm or a plain ratio.
    """
    link_mm = assembled_link_mm(layout) if link_mm is None else link_mm
    place = position(layout, rise_mm, link_mm)
    deg = np.degrees
    side, front = link_lean(place)
    ratio, turn = rates(layout, place.arm_turn, link_mm)
    out = {"bar_arm_angle": deg(bar_arm_angle(layout, place.bar_turn)),
           "control_arm_angle": deg(control_arm_angle(layout, place.arm_turn)),
           "link_lean_side": deg(side), "link_lean_front": deg(front),
           "bar_to_link_angle": deg(bar_to_link(layout, place)), "line_up": deg(place.margin),
           "joint_tilt_eye": deg(joint_tilt(layout, place, BAR_EYE)),
           "joint_tilt_foot": deg(joint_tilt(layout, place, LINK_FOOT)),
           "motion_ratio": ratio, "bar_turn_rate": deg(turn)}
    return out | hose_gaps(layout, place, rise_mm) if gaps else out


_RATES = {"motion_ratio": "-", "bar_turn_rate": "deg/mm"}


def _unit_of(name: str) -> str:
    return "mm" if name.startswith("gap") else _RATES.get(name, "deg")


def _sampled(layout: Layout, travel: Travel, change_mm: float,
             hole_mm: float = 0.0) -> dict[str, Array]:
    """quantities of all samples, name -> (n, steps + 1): the last column is ride height itself."""
    steps = np.append(travel.steps_mm, 0.0)
    blocks = []
    for start in range(0, len(layout.bar_axis), _BLOCK):
        part = layout.part(slice(start, start + _BLOCK))
        rise = ride_rise(part, travel) + steps
        link_mm = assembled_link_mm(part) + change_mm
        part = other_hole(part, hole_mm) if hole_mm else part
        blocks.append(quantities(part, rise, link_mm))
    return {name: np.concatenate([b[name] for b in blocks]) for name in blocks[0]}


@dataclass(frozen=True)
class Limits:
    """What the travel is judged by.

    joint_deg: "eye", "foot" -> how far a joint may tilt, where known; gap_mm: gap to the hose that is wanted
    beyond zero.
    """

    joint_deg: Mapping[str, float] = field(default_factory=dict)
    gap_mm: float = 0.0


def over_travel(corner: SampledCorner, travel: Travel, change_mm: float = 0.0,
                sampling: Sampling = Sampling(2000), limits: Limits = Limits(),
                hole_mm: float = 0.0) -> TravelResult | Refusal:
    """The corner over its travel, with the present link or one changed by change_mm.

    corner: Corner or the like; sampling: its budget is not asked for; limits: what is judged; hole_mm:
    another eye hole, so much nearer to the bar's axis.  Returns TravelResult, or Refusal where no figure may
    be given.
    """
    checked = check_corner(corner)
    bad = [f for f in (*checked, check_hole(corner, hole_mm)) if f is not None and f.level == UNUSABLE]
    if bad:
        return Refusal(bad[0])
    nominal = corner.nominal()
    if not reaches_ride_height(nominal, travel):
        return no_ride_height(corner)
    rise = ride_rise(nominal, travel)
    link = (assembled_link_mm(nominal) + change_mm).item()
    at_hole = other_hole(nominal, hole_mm) if hole_mm else nominal
    findings = closing_findings(corner, at_hole, rise + travel.steps_mm, travel.steps_mm, link)
    best = {k: v[0] for k, v in _sampled(nominal, travel, change_mm, hole_mm).items()}
    drawn = _sampled(corner.sample(sampling.samples, sampling.seed), travel, change_mm, hole_mm)
    gone = lost(drawn["bar_arm_angle"])
    if gone.max() > LOST_SHARE and not findings:
        findings.append(
            Finding(
                UNUSABLE, corner.name, f"in {100 * gone.max():.0f} of 100 samples the link does not close"
                " somewhere in the travel: that near its toggle position nothing can be promised",
                "choose a link or a hole farther from the toggle position, or measure the joints better"))
    courses = {name: _course(name, best[name][:-1], drawn[name][:, :-1]) for name in best}
    state = f"travel{change_mm:+.1f}mm" if change_mm else "travel"
    at_ride = {}
    for name in best:
        of = FigureLabel(corner.name, "predicted-ride", name, _datum(name), _unit_of(name))
        made = figure(of, best[name][-1], drawn[name][:, -1])
        if made is not None:
            at_ride[name] = made
    nearest = {}
    for out, name, pick in _extremes(best):
        of = FigureLabel(corner.name, state, out, None, _unit_of(out))
        found = _nearest(travel, of, best[name][:-1], drawn[name][:, :-1], pick)
        if found is not None:
            nearest[out] = found
    nearest, more = judged(corner, travel, nearest, limits.joint_deg, limits.gap_mm)
    return TravelResult(travel.steps_mm, courses, nearest, at_ride, tuple(findings + more) + checked)


def at_ride_alone(corner: SampledCorner, travel: Travel,
                  sampling: Sampling = Sampling(2000)) -> tuple[dict[str, Figure], list[Finding]] | Refusal:
    """What `over_travel` says of ride height itself, with the present link, without going through the travel.

    Returns (name -> Figure, findings), or Refusal where no figure may be given.
    """
    checked = check_corner(corner)
    bad = [f for f in checked if f is not None and f.level == UNUSABLE]
    if bad:
        return Refusal(bad[0])
    nominal = corner.nominal()
    if not reaches_ride_height(nominal, travel):
        return no_ride_height(corner)
    rise = ride_rise(nominal, travel) + travel.steps_mm
    findings = closing_findings(corner, nominal, rise, travel.steps_mm, assembled_link_mm(nominal).item())
    drawn = corner.sample(sampling.samples, sampling.seed)
    best, samples = (quantities(of, ride_rise(of, travel), gaps=False) for of in (nominal, drawn))
    out = {}
    for name in best:
        label = FigureLabel(corner.name, "predicted-ride", name, _datum(name), _unit_of(name))
        made = figure(label, best[name].item(), samples[name].ravel())
        if made is not None:
            out[name] = made
    return out, [*findings, *checked]


def _datum(name: str) -> str | None:
    return "chassis" if ("angle" in name and "to_link" not in name) or "lean" in name else None


def _course(name: str, value: Array, samples: Array) -> Course:
    bad = np.isnan(value) | (lost(samples) > LOST_SHARE)
    low, high, u = (np.where(bad, np.nan, v) for v in interval(np.where(bad, 0.0, samples)))
    return Course(name, _unit_of(name), np.where(bad, np.nan, value), u, low, high)


def _extremes(best: Mapping[str, Array]) -> Iterator[tuple[str, str, Callable[..., Any]]]:
    yield from ((f"gap_min_{k[4:]}", k, np.argmin) for k in best if k.startswith("gap_"))
    yield "line_up_min", "line_up", np.argmin
    yield "joint_tilt_max_eye", "joint_tilt_eye", np.argmax
    yield "joint_tilt_max_foot", "joint_tilt_foot", np.argmax


def _nearest(travel: Travel, of: FigureLabel, value: Array, samples: Array,
             pick: Callable[..., Any]) -> Nearest | None:
    # a sample, or the estimate, that fails anywhere has no least value: it could be lower where it fails
    if np.isnan(value).any():
        return None
    good = ~np.isnan(samples).any(axis=1)
    if good.mean() < 1 - LOST_SHARE:
        return None
    steps = travel.steps_mm
    rows = samples[good]
    where = pick(rows, axis=1)
    made = sure_figure(of, value[pick(value)], rows[np.arange(len(rows)), where])
    low, high = np.quantile(steps[where], (0.025, 0.975))
    at = float(steps[pick(value)])
    beyond = travel.measured_mm is not None and not (
        travel.measured_mm[0] - 1 <= at <= travel.measured_mm[1] + 1)
    least = float(np.quantile(rows[np.arange(len(rows)), where], _HARDLY_EVER))
    return Nearest(made, at, float(low), float(high), beyond, least)
