"""Many bodies' poses at once, each by itself: cameras, lens and paper held as they are.

With everything else held the normal equations fall apart into one block of six for each body, so that all are
solved side by side as arrays instead of one after the other.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.bundle import Bundle
from calib.poses import rotation_from_vector
from calib.rows import Values
from calib.running.cancellation import may_leave

_GIVEN_UP = 1e10


def fit_bodies_alone(bundle: Bundle, start: Values, most_rounds: int = 25,
                     tolerance: float = 1e-9) -> tuple[Values, np.ndarray]:
    """Levenberg-Marquardt on each body of a Bundle of tags.

    Parameters: bundle: its bodies from 1 on are the ones fitted, each seen by one row or more; start: where
    from; most_rounds and tolerance as for `Bundle.solve`.
    Returns (Values, cost (bodies,): each body's own, `Bundle.loss` of its rows; inf where a body is not seen
    well enough).
    """
    values, bodies = start, len(start.body_mm)
    own = bundle.tag_body
    residual, slopes, _, _ = bundle.whitened(values, True)
    cost = _costs(bundle, residual, bodies)
    damping = np.full(bodies, 1e-4)
    going = np.ones(bodies, bool)
    going[0] = False
    for _ in range(most_rounds):
        may_leave()
        matrix, gradient = _blocks(bundle, residual, slopes[..., -6:], own, bodies)
        diagonal = np.diagonal(matrix, axis1=1, axis2=2).copy()
        seen = np.isfinite(diagonal).all(1) & (diagonal > 0).all(1)
        cost[going & ~seen] = np.inf
        going &= seen
        if not going.any():
            break
        damped = matrix.copy()
        damped[:, np.arange(6), np.arange(6)] = diagonal * (1 + damping[:, None])
        damped[~going] = np.eye(6)
        change = -np.linalg.solve(damped, gradient[..., None])[..., 0]
        change[~going] = 0
        trial = replace(values, body_rotation=rotation_from_vector(change[:, :3]) @ values.body_rotation,
                        body_mm=values.body_mm + change[:, 3:])
        tried = _costs(bundle, bundle.whitened(trial, False)[0], bodies)
        better = going & np.isfinite(tried) & (tried <= cost)
        gained = cost - tried
        cost = np.where(better, tried, cost)
        values = replace(values, body_rotation=np.where(better[:, None, None], trial.body_rotation,
                                                        values.body_rotation),
                         body_mm=np.where(better[:, None], trial.body_mm, values.body_mm))
        damping = np.where(better, np.maximum(damping / 10, 1e-10), damping * 10)
        going &= ~(better & (gained < tolerance * np.maximum(cost, 1.0))) & (damping < _GIVEN_UP)
        if not going.any():
            break
        residual, slopes, _, _ = bundle.whitened(values, True)
    return values, cost


def _costs(bundle, residual, bodies):
    return np.bincount(bundle.tag_body, bundle.loss((residual**2).sum(-1), 8), bodies)


def _blocks(bundle, residual, slopes, own, bodies):
    """Normal matrices (bodies, 6, 6) and gradients (bodies, 6), with the robust weights of each row."""
    weight = bundle.weights(residual, np.zeros((0, 0, 2)))[0]
    weighted = slopes * weight[:, None, None]
    matrix, gradient = np.zeros((bodies, 6, 6)), np.zeros((bodies, 6))
    np.add.at(matrix, own, np.swapaxes(slopes, 1, 2) @ weighted)
    np.add.at(gradient, own, (np.swapaxes(weighted, 1, 2) @ residual[..., None])[..., 0])
    return matrix, gradient
