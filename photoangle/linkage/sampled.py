"""From samples to figures: value, standard uncertainty, 95 % interval (JCGM 101)."""

from __future__ import annotations

import math

import numpy as np

from photoangle.core.figure import Figure

# Samples are as good as they are many; the figure's degrees of freedom are those of a known distribution.
_MOST_DOF = 10_000.0
# More samples than this without a solution and the figure is not given.
LOST_SHARE = 0.025


def interval(samples, axis=0):
    """(low95, high95, u) of samples along an axis: the probabilistically symmetric 95 % interval and the
    standard deviation (JCGM 101, 7.6 and 7.7).  NaN samples are left out: see `lost`."""
    with np.errstate(invalid="ignore"):
        low, high = np.nanquantile(samples, (0.025, 0.975), axis=axis)
        return low, high, np.nanstd(samples, axis=axis, ddof=1)


def lost(samples, axis=0):
    """Share of samples without a solution."""
    return np.mean(np.isnan(samples), axis=axis)


def figure(corner, state, name, datum, unit, value, samples, budget=None):
    """A Figure from its value (with every input at its estimate) and its samples (n,), or None.

    Where that value lies more than a quarter of u from the samples' mean, the mean is given (JCGM 101, 7.6):
    the quantity is then too far from linear, or an input (which way a taped link leans) has no best estimate.

    None where the value is not finite or more than one sample in forty has no solution: such a quantity has
    no honest interval, and the caller says why.
    """
    value = float(value)
    samples = np.asarray(samples, float).ravel()
    if not math.isfinite(value) or lost(samples) > LOST_SHARE:
        return None
    low, high, u = (float(v) for v in interval(samples))
    mean = float(np.nanmean(samples))
    value = mean if abs(value - mean) > u / 4 else value
    return Figure(corner, state, name, datum, unit, value, u, _MOST_DOF, low, high, budget or {})


def shares(corner, function, n=400, seed=1):
    """Share of a quantity's variance by source: each source sampled alone, the others at their estimates.

    corner: has ``source_names`` and ``sample``; function(layout) -> (n, ...) samples.
    Returns source -> share, largest first, summing to one; sources under a thousandth are left out.
    """
    variance = {}
    for source in corner.source_names:
        out = np.asarray(function(corner.sample(n, seed, only=source)), float).reshape(n, -1)[:, 0]
        variance[source] = 0.0 if np.isnan(out).all() else float(np.nanvar(out))
    total = sum(variance.values())
    if total <= 0:
        return {}
    kept = {s: v for s, v in sorted(variance.items(), key=lambda p: -p[1]) if v > 0.001 * total}
    scale = sum(kept.values())
    return {s: v / scale for s, v in kept.items()}
