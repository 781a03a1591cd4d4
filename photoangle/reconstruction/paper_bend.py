"""Paper that is not quite flat: what it does to a marker's pose, whoever takes however many photos.

A marker's corners lie off its plane by a tenth of a millimetre or more, alike in every photo.  Three of the
four ways in which four corners can lie so are a shift along the normal and two tilts, which no photo tells
from the marker's own pose; the fourth, a twist, is seen as what does not fit, and tells how flat this paper
is.
"""

from __future__ import annotations

import numpy as np

from photoangle.core.assumed import PAPER_OFF_FLAT_U
from photoangle.core.estimate import Estimate, Source
from photoangle.reconstruction.problem import TWIST, TWIST_SHARE

BEND = "paper's bend"
# How much the assumption weighs, in markers whose twist was seen; and how much this paper for one of them.
_ASSUMED_MARKERS, _LIKE_THE_OTHERS = 4.0, 3.0
# A twist this many times what the others' paper does is that marker's own.
_MOST_OF_COMMON = 3.0
_ROUNDS = 8


def with_bend(errors, solution, order, prints) -> Estimate:
    """The errors of all unknowns with those of paper that is not flat, a source for each marker.

    errors: Estimate of the bundle's unknowns; solution: calib.bundle Solution; order: what its bodies are;
    prints: the sheets that the markers are of.
    """
    bundle, values = solution.bundle, solution.values
    for (body, share), size in zip(off_flat(solution).items(), _sizes(bundle).values(), strict=True):
        marker = order[body]
        if marker is None:
            continue
        marker = marker[0] if isinstance(marker, tuple) else marker
        half, sigma = size / 2, share * size
        # shift along the normal, tilts about x and y: means of four corners, each off by sigma
        spread = np.diag([sigma**2 / 4, (sigma / (2 * half))**2, (sigma / (2 * half))**2])
        source = Source(("bend", prints, marker), BEND, spread)
        errors = errors.also(source, _effect(bundle, values, body))
    return errors


def _effect(bundle, values, body):
    """How a marker's shift along its normal and its two tilts move the unknowns, (size, 3)."""
    out = np.zeros((bundle.size, 3))
    turn = values.body_rotation[body]
    own = np.zeros((6, 3))
    own[3:, 0] = turn[:, 2]
    own[:3, 1:] = turn[:, :2]
    if body:
        out[bundle.body_slice_of(body)] = own
        return out
    # the world's own marker: its error is everybody else's, the other way round
    for other in range(1, bundle.bodies):
        rows = bundle.body_slice_of(other)
        out[rows.start:rows.start + 3, 1:] = -own[:3, 1:]
        out[rows.start + 3:rows.stop] = -own[3:]
        out[rows.start + 3:rows.stop, 1:] -= np.cross(own[:3, 1:].T, values.body_mm[other]).T
    return out


def _sizes(bundle):
    """body -> side mm of its marker, for bodies that are seen."""
    return {int(body): bundle.tags[int(np.flatnonzero(bundle.tag_body == body)[0])].size_mm
            for body in np.unique(bundle.tag_body)}


def off_flat(solution):
    """body -> how far its corners lie off its plane, standard deviation, as a share of its side.

    By expectation and maximisation (Dempster, Laird and Rubin 1977) of a variance that all markers share,
    with the assumed one as so many markers more.
    """
    sizes = _sizes(solution.bundle)
    seen = {body: _twist(solution, body, size) for body, size in sizes.items()}
    common = PAPER_OFF_FLAT_U**2
    for _ in range(_ROUNDS):
        squares = [min(_square(*seen[body], common), _MOST_OF_COMMON**2 * common) for body in sizes]
        common = ((_ASSUMED_MARKERS * PAPER_OFF_FLAT_U**2 + sum(squares)) / (_ASSUMED_MARKERS + len(squares)))
    # the mean of a variance known from so few
    few = _ASSUMED_MARKERS + len(sizes)
    common *= few / (few - 2)
    out = {}
    for body in sizes:
        own = (_LIKE_THE_OTHERS * common + _square(*seen[body], common)) / (_LIKE_THE_OTHERS + 1)
        out[body] = float(np.sqrt(max(common, own)))
    return out


def _square(twist, variance, common):
    """Expected square of a corner's share off the plane, given its marker's twist (a share), its variance."""
    prior = common / 4
    kept = prior / (prior + variance)
    return 4 * ((kept * twist)**2 + kept * variance)


def _twist(solution, body, size):
    """A marker's twist as its photos show it, and its variance, as shares of its side; infinite where they
    show nothing of it."""
    bundle, values = solution.bundle, solution.values
    rows = np.flatnonzero(bundle.tag_body == body)
    camera, bodies = bundle.tag_camera[rows], bundle.tag_body[rows]
    step = 1e-3 * size
    moved = []
    for sign in (1, -1):
        points = bundle.tag_points[rows] * (1 + values.paper[0])
        points = points + sign * step * np.c_[np.zeros((4, 2)), TWIST]
        moved.append(bundle._group(values, camera, bodies, points, bundle.tag_seen[rows], None, False)[0])
    by_twist = ((moved[0] - moved[1]) / 2e-3).reshape(len(rows), 8, 1)
    by_twist = (bundle.tag_white[rows] @ by_twist).ravel()
    if body:
        by_pose = bundle._whitened(values, True)[1][rows][..., -6:].reshape(-1, 6)
        by_twist = by_twist - by_pose @ np.linalg.lstsq(by_pose, by_twist, rcond=None)[0]
    told = float(by_twist @ by_twist)
    if told < 1e-12:
        return 0.0, np.inf
    # what the rows allow for a twist is no noise of it
    noise = max(1 / told - TWIST_SHARE**2, 0.05 / told)
    return float(by_twist @ solution.tag_residual[rows].ravel()) / told, noise
