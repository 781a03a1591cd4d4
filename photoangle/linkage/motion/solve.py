"""Joints by motion: where the joints and axes are, from how the markers moved between states.

All states of a corner are solved together by weighted least squares (Levenberg and Marquardt's damping), so
that markers may sit anywhere on their parts and no stand-off is needed.  Stand-offs, plates and taped lengths
join in as observations with their sigmas.  What the motion leaves open is found from the singular values and
said.

What it leaves out: parts that bend, bushes that shift (each joint may be off by ``play_mm``, an axis not at
all), and whatever the registration of the states to the chassis has not put into the covariances.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from photoangle.core.findings import UNUSABLE, Finding, Refusal
from photoangle.core.roles import BAR_BUSH
from photoangle.linkage.kinematics.layout import FEET
from photoangle.linkage.motion.model import BODIES, JOINTS, ON_AXIS
from photoangle.linkage.motion.moved import Solution, next_change, solve_with, spectrum
from photoangle.linkage.motion.observed import Changes, GivenOfMotion, Hints, MotionState, Slack
from photoangle.linkage.motion.result import Motion, known_and_open, turns_deg
from photoangle.linkage.motion.said import change_said, misfit_said, open_said, still_said

# More changes than this and the markers say nothing in common.
_MOST_CHANGES = 6
# A part must have turned by this much for its axis to be worth anything.
LEAST_TURN_DEG = 1.0
# One-sided 1 in 1,000 of a normal: chi-squared beyond it widens every uncertainty.
_MISFIT_SIGMAS = 3.1


def solve_motion(states: Iterable[MotionState], bodies: Mapping[int, str], foot_on: str = "control arm",
                 hints: Hints = Hints(), slack: Slack = Slack(), where: str = "") -> Motion | Refusal:
    """Joints and axes from how markers moved.

    states: MotionStates, two or more; bodies: marker id -> "chassis", "bar", "arm", "link" or "knuckle";
    foot_on as in `layout.FEET`; hints, slack.
    Raises ValueError for unknown bodies, markers, joints and states.  Returns Motion, or Refusal where
    nothing moved enough.
    """
    states = tuple(states)
    carrier = "arm" if foot_on == "control arm" else "knuckle"
    given = GivenOfMotion(states, bodies, carrier, tuple(hints.points), tuple(hints.tapes), slack)
    _check(given, hints.new_link_from, foot_on)
    if len(states) < 2:
        return Refusal(Finding(UNUSABLE, where, "joints by motion need the wheel at two heights or more",
                               "take photos at droop and at set, better at one more height in between"))
    changes = Changes(links=tuple(sorted(given.names.index(n) for n in hints.new_link_from)))
    solution, found = solve_with(given, changes), []
    for _ in range(_MOST_CHANGES):
        change = next_change(given, changes, *solution)
        if change is None:
            break
        changes, what, rivals, solution = change
        found.append((what, rivals))
    # a moved marker that a new link explains after all is no longer said
    findings = [change_said(given, what, rivals, where) for what, rivals in found
                if what.kind != "cut" or (what.of, what.state) in changes.cuts]
    return _motion(given, changes, solution, findings, where)


def _check(given: GivenOfMotion, new_link_from: Sequence[str], foot_on: str) -> None:
    states, bodies, names = given.states, given.bodies, given.names
    joints = set(JOINTS) | set(ON_AXIS)
    if len(set(names)) != len(names):
        raise ValueError("two states have the same name")
    if foot_on not in FEET:
        raise ValueError(f"foot_on must be one of {FEET}")
    if not set(bodies.values()) <= set(BODIES):
        raise ValueError(f"a marker rides on one of {BODIES}")
    for s in states:
        if not set(s.markers) <= set(bodies):
            raise ValueError(f"{s.name}: a marker's body is not given")
        if np.shape(s.covariance) != (6 * len(s.markers),) * 2:
            raise ValueError(f"{s.name}: the covariance must be (6 m, 6 m) for m markers")
    if not {p.joint for p in given.points} | {j for t in given.tapes for j in (t.first, t.second)} <= joints:
        raise ValueError(f"joints are {sorted(joints)}")
    named = {t.state for t in given.tapes} | {p.state for p in given.points} | set(new_link_from)
    if not named <= {None, *names}:
        raise ValueError("an observation names a state that is not there")


def _motion(given: GivenOfMotion, changes: Changes, solution: Solution, findings: list[Finding],
            where: str) -> Motion | Refusal:
    plan, model, jacobian, value = solution
    values, vectors, loose = spectrum(jacobian)
    covariance = (vectors[:, ~loose] / values[~loose]) @ vectors[:, ~loose].T
    turns = turns_deg(plan, model, vectors[:, loose])
    turned = {k: np.nan_to_num(np.nanmax(v) - np.nanmin(v)) for k, v in turns.items()}
    still = tuple(k for k, v in turned.items() if v < LEAST_TURN_DEG)
    if len(still) == 2:
        return Refusal(
            Finding(UNUSABLE, where, "neither bar nor control arm turned between the states",
                    "raise or lower the knuckle between them, and keep a marker on each part in view"))
    dof, chi2 = max(len(value) - int((~loose).sum()), 0), float(value @ value)
    if dof and chi2 > dof + _MISFIT_SIGMAS * np.sqrt(2 * dof):
        covariance = covariance * (chi2 / dof)
        findings.append(misfit_said(chi2, dof, where))
    findings += [still_said(k, turned[k], where) for k in still]
    names = tuple(given.names)
    moved = tuple((m, names[s]) for m, s in changes.cuts)
    links = tuple(names[s] for s in changes.links)
    bare = Motion((), names, {}, turns, moved, links, still, chi2, dof, (), model, covariance,
                  vectors[:, loose])
    known, open_ = known_and_open(bare)
    observed = any(p.joint == BAR_BUSH for _, p, _ in plan.points)
    findings += open_said(known, open_, observed, len(names), where)
    return replace(bare, names=tuple(known), open=open_, findings=tuple(findings))
