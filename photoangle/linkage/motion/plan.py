"""Joints by motion: from what was given to the least-squares problem, and its solution."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from photoangle.core.arrays import Array, Indices
from photoangle.linkage.motion.model import BODIES, ON_AXIS, Model, Plan
from photoangle.linkage.motion.observed import Changes, GivenOfMotion, MotionState, PointOnMarker, What
from photoangle.linkage.motion.start import first_estimate

ITERATIONS = 60


def planned(given: GivenOfMotion, changes: Changes) -> tuple[Plan, Model]:
    """Plan and Model of what was given, with some changes."""
    states, bodies = given.states, given.bodies
    names, count = given.names, len(states)
    on = {b: [s for s in range(count) if any(bodies[i] == b for i in states[s].markers)] for b in BODIES}
    first = {b: [(on[b] or [0])[0]] * count for b in BODIES}
    starts = sorted({0} | set(changes.links))
    for begin, end in zip(starts, starts[1:] + [count], strict=False):
        with_marker = [s for s in on["link"] if begin <= s < end]
        first["link"][begin:end] = [(with_marker or [begin])[0]] * (end - begin)
    keys: list[tuple[int, str, int, int]] = []
    sightings, index = [], {}
    for s, state in enumerate(states):
        for i in state.markers:
            body = bodies[i]
            piece = sum(s >= c for m, c in changes.cuts if m == i)
            start = first[body][s]
            # a new link is another body: its markers' places are new as well
            key = (i, piece, start)
            if key not in index:
                index[key] = len(keys)
                keys.append((i, body, piece, s))
            sightings.append((s, BODIES.index(body), index[key], i))
    rows = np.array(sightings)
    whiten, at = [], 0
    for state in states:
        m = len(state.markers)
        if m:
            flex = np.r_[np.full(3, np.radians(given.slack.flex_deg)**2), np.full(3, given.slack.flex_mm**2)]
            covariance = np.asarray(state.covariance, float) + np.diag(np.tile(flex, m))
            root = np.linalg.inv(np.linalg.cholesky(covariance))
            whiten.append((slice(at, at + m), root))
        at += m
    points = _placed(given, changes, rows, names)
    tapes = tuple((k, t, 0 if t.state is None else names.index(t.state)) for k, t in enumerate(given.tapes)
                  if What("tape", k) not in changes.unused)
    along = [j for j in ON_AXIS if any(p.joint == j for _, p, _ in points)]
    seen = {b: set(v) for b, v in on.items()}
    plan = Plan(count, rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3], seen, first, whiten, given.carrier,
                points, tapes, given.slack.play_mm, tuple(keys))
    estimate = first_estimate(given, changes, first, keys, along)
    rotation, shift = _sightings(states)
    return plan, Model(plan, estimate).with_sightings(rotation, shift)


def _placed(given: GivenOfMotion, changes: Changes, rows: Indices,
            names: Sequence[str]) -> tuple[tuple[int, PointOnMarker, int], ...]:
    """Points with the place of their marker: (index, PointOnMarker, place), each place and joint once.

    A marker that was not touched was stuck once, however many states show it: its sticking error is one.
    """
    out, taken = [], set()
    for k, point in enumerate(given.points):
        if What("point", k) in changes.unused:
            continue
        of = [(s, place) for s, _, place, marker in rows if marker == point.marker]
        of = of[:1] if point.state is None else [(s, p) for s, p in of if s == names.index(point.state)]
        if of and (of[0][1], point.joint) not in taken:
            taken.add((of[0][1], point.joint))
            out.append((k, point, int(of[0][1])))
    return tuple(out)


def _sightings(states: Sequence[MotionState]) -> tuple[Array, Array]:
    poses = [p for s in states for p in s.markers.values()]
    return np.array([p.rotation for p in poses]), np.array([p.translation_mm for p in poses])


def solved(plan: Plan, model: Model, iterations: int = ITERATIONS) -> tuple[Model, Array, Array]:
    """Levenberg-Marquardt, at most so many iterations.  Returns (Model there, Jacobian, residuals)."""
    rotation, shift = model.seen_rotation, model.seen_shift
    zero = np.zeros((1, model.size))
    value = model.residuals(zero)[0]
    damping = 1e-4
    for _ in range(iterations):
        jacobian = model.jacobian(model.residuals)
        normal, gradient = jacobian.T @ jacobian, jacobian.T @ value
        better = False
        for _ in range(12):
            # damped against a step of a millimetre: what is open stays where it was
            step = -np.linalg.solve(normal + damping * np.eye(model.size), gradient)
            moved = Model(plan, model.advanced(step)).with_sightings(rotation, shift)
            new = moved.residuals(zero)[0]
            if new @ new <= value @ value + 1e-9:
                better = True
                break
            damping = max(damping, 1e-6) * 10
        if not better:
            break
        gain = value @ value - new @ new
        model, value, damping = moved, new, max(damping / 10, 1e-9)
        if gain < 1e-6 and np.abs(step).max() < 1e-2:
            break
    return model, model.jacobian(model.residuals), value
