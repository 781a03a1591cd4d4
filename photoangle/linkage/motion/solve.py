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

from calib.arrays import Array
from photoangle.core.findings import UNUSABLE, Finding, Refusal
from photoangle.core.roles import BAR_BUSH
from photoangle.linkage.kinematics.layout import FEET
from photoangle.linkage.motion.model import BODIES, JOINTS, ON_AXIS, Model, Plan
from photoangle.linkage.motion.moved import next_change, solve_with, spectrum
from photoangle.linkage.motion.observed import MotionState, PointOnMarker, TapedLength
from photoangle.linkage.motion.plan import Changes, Given
from photoangle.linkage.motion.result import Motion, known_and_open, turns_deg
from photoangle.linkage.motion.said import change_said, misfit_said, open_said, still_said

# More changes than this and the markers say nothing in common.
_MOST_CHANGES = 6
# A part must have turned by this much for its axis to be worth anything.
LEAST_TURN_DEG = 1.0
# One-sided 1 in 1,000 of a normal: chi-squared beyond it widens every uncertainty.
_MISFIT_SIGMAS = 3.1


def solve_motion(states: Iterable[MotionState], bodies: Mapping[int, str], foot_on: str = "control arm",
                 points: Iterable[PointOnMarker] = (), tapes: Iterable[TapedLength] = (),
                 new_link_from: Sequence[str] = (), play_mm: float = 0.02, flex_mm: float = 0.02,
                 flex_deg: float = 0.005, where: str = "") -> Motion | Refusal:
    """Joints and axes from how markers moved.

    states: MotionStates, two or more; bodies: marker id -> "chassis", "bar", "arm", "link" or "knuckle";
    foot_on as in `layout.FEET`; points: PointOnMarkers; tapes: TapedLengths; new_link_from: names of states
    from which on the link is another one, or has another length (where it is not said but shows, it is
    found); play_mm: sigma of a joint's play; flex_mm, flex_deg: sigmas that every sighting is widened by,
    since parts and paper are not quite rigid.
    Raises ValueError for unknown bodies, markers, joints and states.  Returns Motion, or Refusal where
    nothing moved enough.
    """
    states, points, tapes = tuple(states), tuple(points), tuple(tapes)
    _check(states, bodies, points, tapes, new_link_from, foot_on)
    if len(states) < 2:
        return Refusal(Finding(UNUSABLE, where, "joints by motion need the wheel at two heights or more",
                               "take photos at droop and at set, better at one more height in between"))
    carrier = "arm" if foot_on == "control arm" else "knuckle"
    given = Given(states, bodies, carrier, points, tapes, play_mm, (flex_mm, flex_deg))
    changes = Changes(links=tuple(sorted(given.names.index(n) for n in new_link_from)))
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
    return _motion(given, changes, *solution, findings, where)


def _check(states: Sequence[MotionState], bodies: Mapping[int, str], points: Sequence[PointOnMarker],
           tapes: Sequence[TapedLength], new_link_from: Sequence[str], foot_on: str) -> None:
    names = [s.name for s in states]
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
    if not {p.joint for p in points} | {j for t in tapes for j in (t.first, t.second)} <= joints:
        raise ValueError(f"joints are {sorted(joints)}")
    if not {t.state for t in tapes} | {p.state for p in points} | set(new_link_from) <= {None, *names}:
        raise ValueError("an observation names a state that is not there")


def _motion(given: Given, changes: Changes, plan: Plan, model: Model, jacobian: Array, value: Array,
            findings: list[Finding], where: str) -> Motion | Refusal:
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
