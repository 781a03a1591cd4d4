"""Up where the plumb swung: each photo has its own, and what they differ by says how far off their mean is.

A plumb that swings hangs true on the average of the times at which the photos were taken.  With u_k the up of
photo k, seen with covariance V_k, and every one of them off by an independent swing of standard deviation s
about either level direction, the vertical is their generalised least-squares mean.  How large s is the
misfit tells (restricted likelihood; Harville 1977), with what is known of swings beforehand; everything is
averaged over s, so that two photos, which tell little of it, give a wide answer.
"""

from __future__ import annotations

import math

import numpy as np

from calib.poses import hat, rotation_from_vector
from photoangle.core.assumed import PLUMB_SWINGS_DEG, Assumed
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.roles import PLUMB_BOTTOM, PLUMB_TOP
from photoangle.geometry.angles import level_pair
from photoangle.geometry.joints import Points
from photoangle.reconstruction.scene import Scene

# Swings between which everything is averaged, deg.
_LEAST_DEG, _MOST_DEG, _STEPS = 0.01, 20.0, 60
# By so many times more or less than is assumed a plumb may swing.
_TIMES = 3.0


def swung(up: np.ndarray, turn: Estimate, points: Points, scene: Scene, standoff_mm: float,
          where: str = "") -> tuple[np.ndarray, Estimate, Finding]:
    """Up by all photos of a plumb that hangs elsewhere in each.

    Parameters: up (3,) by one photo's markers, and the errors of its small turn, rad, of which those of
    sticking and hanging all photos partake; points; scene, in which the plumb swings; standoff_mm: from a
    marker's face to the string, nothing for a strip.
    Returns (up (3,) in the scene's world, Estimate of its small turn, rad, Finding).
    """
    spans = _spans(points, scene, standoff_mm)
    if len(spans) < 2:
        # the mean square of a log-normal size
        square = (math.radians(PLUMB_SWINGS_DEG) * _TIMES**math.log(_TIMES)) ** 2
        alone = turn.also(_source(scene, np.eye(3) * square, 1), np.eye(3))
        return up, alone, _told(where, "elsewhere in each")
    first = np.sum([span / np.linalg.norm(span) for span, _ in spans], 0)
    first /= np.linalg.norm(first)
    e = level_pair(first)
    seen = scene.errors.linear(*_leans(spans, first, e))
    values, pixels = seen.values, seen.covariance()
    sizes = np.geomspace(_LEAST_DEG, _MOST_DEG, _STEPS)
    trials = [_mean(values, pixels, math.radians(s)) for s in sizes]
    log = np.array([t[3] for t in trials])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = weight @ np.array([t[0] for t in trials])
    gain = np.tensordot(weight, [t[2] for t in trials], 1)
    total = np.tensordot(weight, [t[1] + np.outer(t[0] - mean, t[0] - mean) for t in trials], 1)
    rest = total - gain @ pixels @ gain.T
    variances, way = np.linalg.eigh((rest + rest.T) / 2)
    errors = seen.linear(e @ gain, turn.names, np.zeros(3)).also(
        _source(scene, np.diag(variances.clip(0)), 2 * len(spans) - 1), e @ way).plus(_shared(turn))
    typical = math.exp(weight @ np.log(sizes))
    told = _told(where, f"elsewhere in each, by about {typical:.1g} deg; up is their mean")
    return rotation_from_vector(e @ mean) @ first, errors, told


def _source(scene, covariance, dof):
    # two degrees of freedom for each photo but the first, and what is known beforehand for one more
    return Source(("swing", scene.origin.state), "level", covariance, dof, Assumed("PLUMB_SWINGS_DEG"))


def _told(where, how):
    return Finding(ATTENTION, where, "the plumb swung or was touched between these photos: it hangs"
                   f" {how}, and the plus-or-minus is that much wider",
                   "let it hang free and come to rest, out of the wind, and take the photos again")


def _spans(points, scene, standoff_mm):
    """(from the lower marker's string to the upper's (3,), its derivative (3, size) by the unknowns) of each
    photo that shows both."""
    bundle, values = scene.solution.bundle, scene.solution.values
    offset = np.array([0, 0, 0.0 if points.strip else standoff_mm])
    out = []
    for photo in range(bundle.cameras):
        span, by = np.zeros(3), np.zeros((3, bundle.size))
        seen = 0
        for role, sign in ((PLUMB_TOP, 1), (PLUMB_BOTTOM, -1)):
            body = _body(scene, points.marker[role], photo)
            if body is None:
                continue
            seen += 1
            arm = values.body_rotation[body] @ offset
            span = span + sign * (values.body_mm[body] + arm)
            if body:
                by[:, bundle.body_slice_of(body)] += sign * np.concatenate([-hat(arm), np.eye(3)], 1)
        if seen == 2:
            out.append((span, by))
    return out


def _body(scene, marker, photo):
    """The body that a plumb marker is in a photo, or None where it does not show it."""
    for row in scene.solution.bundle.tags:
        own = scene.order[row.body]
        if row.camera == photo and (own[0] if isinstance(own, tuple) else own) == marker:
            return row.body
    return None


def _leans(spans, first, e):
    """(derivative (2 k, size), names, values (2 k,)) of the small turns about the level pair e that take the
    first direction to each photo's."""
    rows, names, values = [], [], []
    for k, (span, by) in enumerate(spans):
        length = np.linalg.norm(span)
        to_turn = e.T @ hat(first)
        values.append(to_turn @ span / (first @ span))
        rows.append(to_turn @ by / length)
        names += [f"lean {k} a", f"lean {k} b"]
    return np.concatenate(rows), names, np.concatenate(values)


def _mean(values, pixels, swing):
    """(mean (2,), its covariance (2, 2), gain (2, 2 k), log likelihood with the prior) for one size of the
    swing, rad."""
    design = np.tile(np.eye(2), (len(values) // 2, 1))
    covariance = pixels + (swing**2 + 1e-18) * np.eye(len(values))
    weight = np.linalg.inv(covariance)
    information = design.T @ weight @ design
    gain = np.linalg.solve(information, design.T @ weight)
    residual = values - design @ gain @ values
    away = math.log(math.degrees(swing) / PLUMB_SWINGS_DEG) / math.log(_TIMES)
    log = -0.5 * (np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(information)[1]
                  + residual @ weight @ residual + away**2)
    return gain @ values, np.linalg.inv(information), gain, float(log)


def _shared(turn):
    """What all photos' up has wrong alike: how the markers sit on the string, or the strip hangs."""
    return Estimate(turn.names, np.zeros(3), {s: e for s, e in turn.effects.items() if s.title == "level"})
