"""What did not stay as it was between states: markers re-stuck or knocked, a link of another length, a
reading that does not fit.

Each of these is a hypothesis that lowers chi-squared.  A score test ranks them from one solution; the best
few are then solved in earnest, since a marker moved by centimetres is far outside of what a linear test can
weigh.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from photoangle.core.arrays import Array, Mask
from photoangle.linkage.motion.model import Model, Plan
from photoangle.linkage.motion.observed import Changes, GivenOfMotion, What
from photoangle.linkage.motion.plan import ITERATIONS, planned, solved

# Plan, Model at the solution, Jacobian, residuals.
Solution = tuple[Plan, Model, Array, Array]

# Directions of the unknowns with a standard uncertainty beyond this are open (steps of a millimetre).
OPEN = 500.0
# Chi-squared with six degrees of freedom exceeds 40 once in two million, with three 25 once in 60,000, and
# with one 18 once in 45,000: chance does not reach it among the few dozen hypotheses of a corner.
_GAIN = {"cut": 40.0, "point": 25.0, "tape": 18.0, "link": 40.0}
# What a hypothesis must earn for each unknown that it adds or observation that it drops, so that the simpler
# one of two is taken; of two alike a moved marker before another link.
_PRICE, _SIMPLER = 4.0, {"link": 4.0}
_TIE, _TRIED, _TRIAL_ITERATIONS = 8.0, 6, 8


def spectrum(jacobian: Array) -> tuple[Array, Array, Mask]:
    """Eigenvalues and vectors of the normal matrix, and which directions are open."""
    values, vectors = np.linalg.eigh(jacobian.T @ jacobian)
    return values, vectors, values < 1 / OPEN**2


def inverse_of(jacobian: Array) -> Array:
    """The covariance of the unknowns that are not open, from the whitened Jacobian."""
    values, vectors, loose = spectrum(jacobian)
    kept = vectors[:, ~loose]
    return (kept / values[~loose]) @ kept.T


def next_change(given: GivenOfMotion, changes: Changes, plan: Plan, model: Model, jacobian: Array,
                value: Array) -> tuple[Changes, What, tuple[int, ...], Solution] | None:
    """The change that explains most of what does not fit, if it explains more than chance does.

    Returns (Changes, What, other markers that would do as well, its solution as `solve_with` gives it), or
    None.
    """
    scored = _cuts(plan, model, jacobian, value) + _observations(plan, jacobian, value)
    scored = sorted((s for s in scored if s[0] > _GAIN[s[1].kind]), reverse=True)
    if not scored:
        return None
    seen = sorted(plan.seen["link"])
    hypotheses = [what for _, what in scored[:_TRIED]] + [
        What("link", s, s) for s in seen[1:] if s not in changes.links]
    before = float(value @ value)
    tried = []
    for what in hypotheses:
        new = _with(given, changes, what)
        solution = solve_with(given, new, _TRIAL_ITERATIONS)
        gain = before - float(solution[3] @ solution[3])
        freedom = solution[1].size - model.size + len(value) - len(solution[3])
        tried.append((gain - _PRICE * freedom - _SIMPLER.get(what.kind, 0.0), gain, what, new, solution))
    worth = [t for t in tried if t[1] > _GAIN[t[2].kind]]
    if not worth:
        return None
    best, _, what, new, solution = max(worth, key=lambda t: t[0])
    rivals: tuple[int, ...] = ()
    if what.kind == "cut":
        body = given.bodies[what.of]
        rivals = tuple(sorted({w.of for score, _, w, _, _ in worth if w.kind == "cut" and w.of != what.of
                               and given.bodies[w.of] == body and score > best - _TIE}))
    return new, what, rivals, (solution[0], *solved(*solution[:2]))


def solve_with(given: GivenOfMotion, changes: Changes, iterations: int = ITERATIONS) -> Solution:
    """(plan, model, Jacobian, residuals) of the solution with some changes."""
    plan, model = planned(given, changes)
    return plan, *solved(plan, model, iterations)


def _with(given: GivenOfMotion, changes: Changes, what: What) -> Changes:
    if what.kind == "cut":
        return replace(changes, cuts=changes.cuts + ((what.of, what.state),))
    if what.kind == "link":
        # a new link's markers have new places by themselves
        kept = tuple((m, s) for m, s in changes.cuts if given.bodies[m] != "link" or s != what.of)
        return replace(changes, links=changes.links + (what.of,), cuts=kept)
    return replace(changes, unused=changes.unused + (what,))


def _cuts(plan: Plan, model: Model, jacobian: Array, value: Array) -> list[tuple[float, What]]:
    """Score test: giving extra unknowns E lowers chi-squared by g' (E'E - E'J (J'J)^-1 J'E)^-1 g, g = E'
    residual."""
    inverse = inverse_of(jacobian)
    raw_slope = model.jacobian(lambda x: model.raw(x)[0].reshape(len(x), -1))
    count = len(plan.state)
    places = model.blocks["places"].start
    out = []
    for p, (marker, body, _, _) in enumerate(plan.place_keys):
        mine = np.flatnonzero(plan.place == p)
        if len(mine) < 2 or (body == "chassis" and len(set(plan.place[plan.body == 0])) < 2):
            continue
        columns = raw_slope[:, places + 6 * p:places + 6 * p + 6].reshape(count, 6, 6)
        for k in range(1, len(mine)):
            extra = np.zeros((count, 6, 6))
            extra[mine[k:]] = columns[mine[k:]]
            white = model.whitened(np.moveaxis(extra, -1, 0)).T
            full = np.concatenate([white, np.zeros((len(value) - len(white), 6))])
            cross = jacobian.T @ full
            inner = full.T @ full - cross.T @ inverse @ cross
            score = full.T @ value
            values, vectors = np.linalg.eigh(inner)
            good = values > 1e-6 * max(np.trace(full.T @ full), 1e-300)
            along = vectors[:, good].T @ score
            what = What("cut", marker, int(plan.state[mine[k]]))
            out.append((float(np.sum(along**2 / values[good])), what))
    return out


def _observations(plan: Plan, jacobian: Array, value: Array) -> list[tuple[float, What]]:
    """What leaving an observation out lowers chi-squared by: r' (1 - J C J')^-1 r of its own rows."""
    inverse = inverse_of(jacobian)
    at = len(value) - 3 * len(plan.points) - len(plan.tapes)
    rows = [("point", k, slice(at + 3 * n, at + 3 * n + 3)) for n, (k, _, _) in enumerate(plan.points)]
    at += 3 * len(plan.points)
    rows += [("tape", k, slice(at + n, at + n + 1)) for n, (k, _, _) in enumerate(plan.tapes)]
    out = []
    for kind, index, own in rows:
        left = np.eye(own.stop - own.start) - jacobian[own] @ inverse @ jacobian[own].T
        values, vectors = np.linalg.eigh(left)
        # what only this observation fixes has no residual to judge it by
        good = values > 1e-6
        along = vectors[:, good].T @ value[own]
        out.append((float(np.sum(along**2 / values[good])), What(kind, index)))
    return out
