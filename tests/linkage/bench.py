"""Measurements of the linkage itself: how true its intervals are, and how fast it is.

Called by the bench command and, with fewer corners, by the tests.  Each prints nothing unless ``show`` is
set.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass

import numpy as np

from photoangle.linkage.motion.solve import solve_motion
from tests.linkage.corners import corner
from tests.linkage.invented import invented_motion
from tests.linkage.reference.closed_form import arm_terms


@dataclass(frozen=True)
class Coverage:
    """Of stated 95 % intervals: share that contain the truth; median over quantities of stated u (RMS) over
    actual RMS error; by quantity name -> (share, u over RMS error, number)."""

    share: float
    u_over_error: float
    by_name: dict


def coverage(rows, show):
    by_name = {}
    for name, values in rows.items():
        value, u, low, high, truth = np.array(values).T
        # each error over its own stated u, so that a corner known badly does not drown the others
        by_name[name] = (float(np.mean((low <= truth) & (truth <= high))),
                         float(1 / np.sqrt(np.mean(((value - truth) / u) ** 2))), len(values))
    inside = sum(s * n for s, _, n in by_name.values()) / sum(n for *_, n in by_name.values())
    out = Coverage(inside, float(np.median([r for _, r, _ in by_name.values()])), by_name)
    if show:
        print(f"{100 * out.share:.1f} of 100 intervals true; u over RMS error, median {out.u_over_error:.3f}")
        for name, (share, ratio, n) in by_name.items():
            print(f"  {name:24s} {100 * share:5.1f}  {ratio:.3f}  ({n})")
    return out


def coverage_of_motion(corners=200, seed=2025, show=False, **motion):
    """Joints by motion without any stand-off: intervals of the shared joints' coordinates and of distances.

    motion: as for `invented_motion`.  Returns Coverage."""
    rows = {}
    for k in range(corners):
        states, bodies, truth, axes = invented_motion(np.random.default_rng([seed, k]), **motion)
        solved = solve_motion(states, bodies)
        names, at, covariance = solved.points()
        for i, name in enumerate(names):
            if name in ("bar_eye", "link_foot", "arm_ball_joint"):
                block = covariance[3 * i:3 * i + 3, 3 * i:3 * i + 3]
                for axis, letter in enumerate("xyz"):
                    _row(rows, f"{name} {letter}", at[i, axis], block[axis, axis], truth[0][name][axis])
            elif name in ("bar_bush", "arm_pivot_front"):
                # only square to the axis: along it nothing is known by motion
                axis = axes["bar" if name == "bar_bush" else "arm"]
                across = np.cross(axis, [0, 0, 1.0])
                across /= np.linalg.norm(across)
                for letter, direction in (("across", across), ("up", np.cross(axis, across))):
                    block = direction @ covariance[3 * i:3 * i + 3, 3 * i:3 * i + 3] @ direction
                    _row(rows, f"{name} {letter}", at[i] @ direction, block, truth[0][name] @ direction)
    return coverage(rows, show)


def _row(rows, name, value, variance, truth):
    u = math.sqrt(variance)
    rows.setdefault(name, []).append((value, u, value - 1.96 * u, value + 1.96 * u, truth))


@dataclass(frozen=True)
class Speed:
    """seconds for all closures; seconds that the root finder would take for as many; ratio; worst difference,
    rad."""

    seconds: float
    root_finder_seconds: float
    ratio: float
    worst_rad: float


def closure_speed(samples=20_000, steps=61, subset=3000, seed=3, show=False):
    """The closure of samples x steps positions against SciPy's brentq called for each one.

    The root finder is given the residual as plain floating-point arithmetic and a bracket of 0.6 rad, its
    best case; it is timed on a subset.  Returns Speed."""
    from scipy.optimize import brentq

    measured = corner(0.6)
    layout = measured.sample(samples, seed)
    angles = np.broadcast_to(np.radians(np.linspace(0, 20, steps)), (samples, steps))
    start = time.perf_counter()
    turn = np.empty(angles.shape)
    for at in range(0, samples, 500):
        part = layout.part(slice(at, at + 500))
        terms = arm_terms(part.at["bar_eye"], part.at["bar_bush"], part.bar_axis, part.at["link_foot"],
                          part.arm_origin, part.arm_axis)
        turn[at:at + 500] = terms.close(angles[at:at + 500]).turn
    seconds = time.perf_counter() - start
    whole = arm_terms(layout.at["bar_eye"], layout.at["bar_bush"], layout.bar_axis, layout.at["link_foot"],
                      layout.arm_origin, layout.arm_axis)
    rng = np.random.default_rng(seed)
    rows, columns = rng.integers(0, samples, subset), rng.integers(0, steps, subset)
    cases = [
        tuple(float(v) for t in (whole.a, whole.b, whole.c) for v in t[:, r, 0])
        + (float(angles[r, c]), float(turn[r, c]))
        for r, c in zip(rows, columns, strict=False)
    ]
    worst, start = 0.0, time.perf_counter()
    for a0, a1, a2, b0, b1, b2, c0, c1, c2, arm, ours in cases:
        cosine, sine = math.cos(arm), math.sin(arm)
        a, b, c = a0 + a1 * cosine + a2 * sine, b0 + b1 * cosine + b2 * sine, c0 + c1 * cosine + c2 * sine
        root = brentq(lambda x, a=a, b=b, c=c: a * math.cos(x) + b * math.sin(x) - c, ours - 0.31, ours + 0.29, xtol=1e-12)
        worst = max(worst, abs(root - ours))
    theirs = (time.perf_counter() - start) / subset * samples * steps
    out = Speed(seconds, theirs, theirs / seconds, worst)
    if show:
        print(f"{samples} x {steps} closures: {seconds:.2f} s; one by one with a root finder {theirs:.0f} s:"
              f" {out.ratio:.0f} times; differences up to {worst:.1e} rad")
    return out
