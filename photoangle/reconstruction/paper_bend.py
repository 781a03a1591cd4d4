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
# How far off flat paper may be in general, in units of what is assumed: 0.006 to 0.5 mm of 30, all sizes
# alike likely up to about the assumed, larger ones less and less.
_SIZES = np.exp(np.linspace(np.log(1 / 16), np.log(5.0), 57))
_BELIEF = 1 / (1 + _SIZES**2)
# Most markers of a job are bent alike, some so many times as much: shares, and times.
_KINDS = np.array([[0.93, 1.0], [0.06, 3.0], [0.01, 6.0]])
# Photos that show less of a twist than this show none.
_LEAST_TOLD = 1e-6


def with_bend(errors, solution, order, prints, inverse) -> Estimate:
    """The errors of all unknowns with those of paper that is not flat, a source for each marker.

    errors: Estimate of the bundle's unknowns; solution: calib.bundle Solution; order: what its bodies are;
    prints: the sheets that the markers are of; inverse (size, size): of the normal matrix.
    """
    bundle, values = solution.bundle, solution.values
    for (body, share), size in zip(off_flat(solution, inverse).items(), _sizes(bundle).values(), strict=True):
        marker = order[body]
        marker = marker[0] if isinstance(marker, tuple) else marker
        half, sigma = size / 2, share * size
        # shift along the normal, tilts about x and y: means of four corners, each off by sigma
        spread = np.diag([sigma**2 / 4, *2 * [(sigma / (2 * half))**2]])
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


def off_flat(solution, inverse):
    """body -> how far its corners lie off its plane, standard deviation, as a share of its side.

    One size for all markers' paper, unknown over the range that paper has (`_SIZES`), is told by all their
    twists together, and a marker's own twist tells whether it is bent more than the rest (`_KINDS`): the mean
    square after them (Bayes), so that many photos of flat paper show that it is flat and few leave it open.
    inverse (size, size): of the normal matrix.
    """
    size = (PAPER_OFF_FLAT_U * _SIZES)**2
    twists = _twists(solution, inverse)
    told = np.log(_BELIEF)
    squares = {}
    for body, (twist, variance) in twists.items():
        # of each kind (rows) at each size; a corner's variance is four times its twist's
        square = _KINDS[:, 1:]**2 * size
        like = _KINDS[:, :1] * np.ones(len(size))
        if np.isfinite(variance):
            whole = square / 4 + variance
            like = like * np.exp(-0.5 * twist**2 / whole) / np.sqrt(whole) + 1e-300
            told += np.log(like.sum(0))
        squares[body] = (square * like).sum(0) / like.sum(0)
    weight = np.exp(told - told.max())
    return {body: float(np.sqrt(weight @ square / weight.sum())) for body, square in squares.items()}


def _twists(solution, inverse):
    """body -> (a marker's twist as its photos show it, its variance), as shares of its side; infinite where
    they show nothing of it.

    All else gives way to a twist: its information is the Schur complement beside all unknowns.
    """
    bundle, values = solution.bundle, solution.values
    tag_r, tag_j, card_r, _ = bundle.whitened(values, True)
    weight = bundle.weights(tag_r, card_r)[0]
    by_twist = _by_twist(bundle, values)
    plain = weight * (by_twist**2).sum(1)
    fit = weight * (by_twist * tag_r).sum(1)
    local = np.einsum("tij,ti,t->tj", tag_j, by_twist, weight)
    out = {}
    for body in _sizes(bundle):
        rows = np.flatnonzero(bundle.tag_body == body)
        pull = np.zeros(bundle.size + 6)
        np.add.at(pull, bundle.tag_columns[rows], local[rows])
        pull = pull[:bundle.size]
        told = float(plain[rows].sum() - pull @ inverse @ pull)
        if told < max(1e-12, _LEAST_TOLD * float(plain[rows].sum())):
            out[body] = 0.0, np.inf
            continue
        # what the rows allow for a twist, in proportion to their number, is no noise of it
        allowed = len(rows) * TWIST_SHARE**2 * float(plain[rows] @ plain[rows]) / plain[rows].sum()**2
        out[body] = float(fit[rows].sum()) / told, max(1 / told - allowed, 0.02 / told)
    return out


def _by_twist(bundle, values):
    """Whitened derivative (t, 8) of tag rows by a twist of their marker, a share of its side."""
    side = np.array([r.size_mm for r in bundle.tags]).reshape(-1, 1, 1)
    moved = []
    for sign in (1, -1):
        points = bundle.tag_points * (1 + values.paper[0])
        points = points + sign * 1e-3 * side * np.c_[np.zeros((4, 2)), TWIST]
        moved.append(bundle._group(values, bundle.tag_camera, bundle.tag_body, points, bundle.tag_seen, None,
                                   False)[0])
    by_twist = ((moved[0] - moved[1]) / 2e-3).reshape(len(points), 8, 1)
    return (bundle.tag_white @ by_twist)[..., 0]
