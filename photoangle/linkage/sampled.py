"""From samples to figures: value, standard uncertainty, 95 % interval (JCGM 101)."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from photoangle.core.arrays import Array, Floats
from photoangle.core.figure import Figure
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.sampled_corner import SampledCorner

# Samples are as good as they are many; the figure's degrees of freedom are those of a known distribution.
_MOST_DOF = 10_000.0
# More samples than this without a solution and the figure is not given.
LOST_SHARE = 0.025


def interval(samples: Array, axis: int = 0) -> tuple[Array, Array, Array]:
    """(low95, high95, u) of samples along an axis: the probabilistically symmetric 95 % interval and the
    standard deviation (JCGM 101, 7.6 and 7.7).  NaN samples are left out: see `lost`."""
    with np.errstate(invalid="ignore"):
        low, high = np.nanquantile(samples, (0.025, 0.975), axis=axis)
        return low, high, np.nanstd(samples, axis=axis, ddof=1)


def lost(samples: Array, axis: int = 0) -> Array:
    """Share of samples without a solution."""
    out: Array = np.mean(np.isnan(samples), axis=axis)
    return out


@dataclass(frozen=True)
class Sampling:
    """How an answer is sampled: how many samples; seed: the same gives the same samples; budget: whether each
    source is sampled alone as well, which says what the uncertainty comes from."""

    samples: int
    seed: int = 1
    budget: bool = True


@dataclass(frozen=True)
class FigureLabel:
    """What a figure is of: whose, in which state, and its name, datum and unit."""

    corner: str | None
    state: str | None
    name: str
    datum: str | None
    unit: str


def figure(of: FigureLabel, value: Floats, samples: Array) -> Figure | None:
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
    return Figure(of.corner, of.state, of.name, of.datum, of.unit, value, u, _MOST_DOF, low, high)


def sure_figure(of: FigureLabel, value: Floats, samples: Array) -> Figure:
    """`figure` of what has been seen to have an interval.  Raises ValueError where it has none."""
    made = figure(of, value, samples)
    if made is None:
        raise ValueError(f"{of.name} has no honest interval")
    return made


def shares(corner: SampledCorner, function: Callable[[Layout], Array], n: int = 400,
           seed: int = 1) -> dict[str, float]:
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
