"""Left against right: the bar's preload, the two links that leave it unstressed, hub to arch on both
sides."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from photoangle.core.assumed import BAR_ARMS_APART_DEG
from photoangle.core.findings import NOTE, Finding, Refusal
from photoangle.core.states import AXLES, FITTED, FREE, SET
from photoangle.linkage.bar_stiffness import BarShape, bar_rate, wheel_rate
from photoangle.linkage.preload import (
    Angle,
    Bar,
    Heights,
    Preload,
    Unstressed,
    preload,
    sides_differ,
    unstressed_links,
)

# Photos of both sides as set, with one link of the axle off, show the bar's free shape.
_FREE_SHAPE = f"with one link off, photograph both sides into their folders {FREE}, both wheels as in set"


@dataclass
class AxleAnswer:
    """One axle: preload: Preload or None; unstressed: Unstressed, Refusal or None; stiffness:
    AxleStiffness or None; figures; findings."""

    axle: str
    preload: Preload | None = None
    unstressed: Unstressed | Refusal | None = None
    stiffness: AxleStiffness | None = None
    figures: list = field(default_factory=list)
    findings: list = field(default_factory=list)


def axle_answers(answers, figures, car):
    """What left and right say together.

    answers: CornerAnswers; figures: the measure run's Figures (bar_arm_angle and bar_lever of the states
    "set" or "fitted" and "free"); car: CarFile.  Returns AxleAnswers of the axles that have something to say.
    """
    out = []
    for axle in AXLES:
        answer = AxleAnswer(axle)
        answer.findings += _other_side(axle, car)
        pair = [
            next((a for a in answers if a.corner == f"{axle}-{side}" and a.base is not None), None)
            for side in ("left", "right")
        ]
        angles = {(side, state): _angle(figures, f"{axle}-{side}", state) for side in ("left", "right")
                  for state in (SET, FITTED, FREE)}
        on = next((s for s in (FITTED, SET) if all(angles[side, s] for side in ("left", "right"))), None)
        free = all(angles[side, FREE] for side in ("left", "right"))
        if on and free:
            _preload(answer, axle, on, angles, figures, pair, car)
        elif on:
            left, right = (angles[side, on].value_deg for side in ("left", "right"))
            answer.findings.append(
                Finding(
                    NOTE,
                    axle,
                    f"bar arms at {left:+.1f} deg left and {right:+.1f} deg right: whether the bar is"
                    f" preloaded does not show"
                    " without its free shape, since a bar need not be straight",
                    _FREE_SHAPE,
                )
            )
        if not (on and free) and all(p is not None for p in pair):
            answer.findings.append(Finding(
                NOTE, axle, "the bar's free shape is not known: its arms are taken as alike within"
                f" {BAR_ARMS_APART_DEG:g} deg for the two links that leave it unstressed", _FREE_SHAPE))
            _unstressed(answer, pair, Angle(0.0, BAR_ARMS_APART_DEG / math.sqrt(3)))
        answer.stiffness = axle_stiffness(axle, pair, figures, car)
        if answer.findings or answer.figures or answer.stiffness is not None:
            out.append(answer)
    return out


def _angle(figures, corner, state):
    f = next((f for f in figures
              if (f.corner, f.state, f.name, f.datum) == (corner, state, "bar_arm_angle", "chassis")), None)
    return None if f is None else Angle(f.value, f.u)


def _preload(answer, axle, on, angles, figures, pair, car):
    levers = [
        f for f in figures
        if f.corner in (f"{axle}-left", f"{axle}-right") and f.state == on and f.name == "bar_lever"
    ]
    if not levers:
        return
    lever = sum(f.value for f in levers) / len(levers)
    notes = car.axle(axle)
    free = [angles[side, FREE] for side in ("left", "right")]
    made = preload(axle, (angles["left", on], angles["right", on]), (free[0], free[1]),
                   Bar(lever, max(f.u for f in levers), notes.bar_rate_n_per_mm, notes.preload_within_mm))
    answer.preload = made
    answer.figures += [
        replace(f, corner=axle, state=on) for f in (made.twist_deg, made.eye_mm, made.force_n)
        if f is not None
    ]
    answer.findings += made.findings
    if all(p is not None for p in pair):
        apart = Angle(free[1].value_deg - free[0].value_deg, math.hypot(free[0].u_deg, free[1].u_deg))
        _unstressed(answer, pair, apart)


def _unstressed(answer, pair, apart):
    """The two links that leave the bar unstressed at each side's own ride height.

    pair: CornerAnswers left and right; apart: the right arm's Angle less the left's with the bar free.
    """
    answer.unstressed = unstressed_links(*((p.base, p.travel) for p in pair), apart, pair[0].wanted)
    if isinstance(answer.unstressed, Refusal):
        answer.findings.append(answer.unstressed.finding)
    else:
        u = answer.unstressed
        answer.figures += [u.left, u.right, u.left_change, u.right_change]


@dataclass(frozen=True)
class AxleStiffness:
    """What a bar adds: rate_n_per_mm: at its eyes, one against the other; by: what that is from, in words;
    roll, single: (value, standard uncertainty), N/mm at each wheel in roll, and at one wheel alone."""

    rate_n_per_mm: float
    by: str
    roll: tuple[float, float]
    single: tuple[float, float]


def axle_stiffness(axle, pair, figures, car):
    """AxleStiffness of a bar whose rate or dimensions car.toml has, at the motion ratio that is to stay; else
    None.

    pair: CornerAnswers left and right or None; figures: the measure run's; car: CarFile.
    """
    notes = car.axle(axle)
    rate, by = notes.bar_rate_n_per_mm, "as given"
    if rate is None and notes.bar_diameter_mm and notes.bar_length_mm:
        mine = [f for f in figures if f.corner in (f"{axle}-left", f"{axle}-right")]
        arms = {name: [f.value for f in mine if f.name == name]
                for name in ("bar_lever", "bar_arm_length")}
        if not all(arms.values()):
            return None
        lever, arm = (sum(v) / len(v) for v in arms.values())
        rate = bar_rate(BarShape(notes.bar_diameter_mm, notes.bar_length_mm, max(arm, lever), lever,
                                 notes.bar_wall_mm))
        by = "by its dimensions"
    last = [p.proposed if p.proposed is not None else p.present for p in pair if p is not None]
    ratios = [r.at_ride["motion_ratio"] for r in last
              if r is not None and not isinstance(r, Refusal) and "motion_ratio" in r.at_ride]
    if rate is None or not ratios:
        return None
    ratio = min(ratios, key=lambda f: f.u)
    return AxleStiffness(rate, by, wheel_rate(rate, ratio, True), wheel_rate(rate, ratio, False))


def _other_side(axle, car):
    """Findings where the two sides' hub to arch differ in a state."""
    left, right = (Heights({state: (row["hub_to_arch"].value_mm, row["hub_to_arch"].u_mm)
                            for state, row in car.corner(f"{axle}-{side}").tape.items()
                            if "hub_to_arch" in row}) for side in ("left", "right"))
    return sides_differ(axle, left, right)
