"""Where lines of sight meet: a place that several photos of a solved scene show, without a marker.

It is placed after everything else is solved and adds nothing to the photos' poses, which the card and the
markers hold far better; its own covariance carries theirs, by the derivatives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.differences import jacobian
from calib.lens import moved_lens, project, unproject
from calib.poses import rotation_from_vector
from photoangle.core.findings import ATTENTION, Finding

# Squared misfit of one view, in its own sigmas, beyond which it is another place or a slip of the finger.
_MOST_MISFIT = 25.0
_STEP_MM = 0.01
# Rays that meet at less than this tell no depth.
_LEAST_ANGLE_RAD = np.radians(4.0)


@dataclass(frozen=True, eq=False)
class Met:
    """place (3,) mm, world frame; by_unknown (3, size): derivatives by the scene's unknowns; covariance
    (3, 3) from the pixels' own; photos: indices of those it rests on."""

    place: np.ndarray
    by_unknown: np.ndarray
    covariance: np.ndarray
    photos: tuple


def met(scene, seen, title, where):
    """The place that photos show.

    Parameters: scene; seen: (index of photo, at (2,) px, sigma px or covariance (2, 2)) each; title: what it
    is, in words; where: for messages.
    Returns (Met or None, findings).
    """
    seen = [(k, at, np.linalg.inv(np.linalg.cholesky(u) if np.ndim(u) else np.eye(2) * u))
            for k, at, u in seen]
    findings = []
    while True:
        rays = [ray(scene, k, at) for k, at, _ in seen]
        if len(seen) < 2 or _widest(rays) < _LEAST_ANGLE_RAD:
            findings.append(
                Finding(ATTENTION, where, f"{title} is known from one place alone and was left out",
                        "tap it in another photo, taken from another side"))
            return None, findings
        place = _nearest(rays)
        for _ in range(10):
            residual, by_place = _misfits(scene, seen, place)
            step = np.linalg.lstsq(by_place, residual, rcond=None)[0]
            place = place + step
            if np.linalg.norm(step) < 1e-6:
                break
        residual, by_place = _misfits(scene, seen, place)
        each = np.array([_misfit(scene, k, place, whiten, r)
                         for (k, _, whiten), r in zip(seen, residual.reshape(-1, 2), strict=True)])
        if each.max() < _MOST_MISFIT:
            break
        worst = int(each.argmax())
        findings.append(
            Finding(
                ATTENTION, scene.photos[seen[worst][0]],
                f"{title} lies elsewhere in this photo than in the others"
                " and was left out here", "tap it again"))
        seen = seen[:worst] + seen[worst + 1:]
    inverse = np.linalg.inv(by_place.T @ by_place)
    by_unknown = np.zeros((3, scene.solution.bundle.size))
    for row, (k, _, whiten) in enumerate(seen):
        which, by = _by_unknowns(scene, k, place)
        by_unknown[:, which] -= inverse @ by_place[2 * row:2 * row + 2].T @ whiten @ by
    return Met(place, by_unknown, inverse, tuple(k for k, *_ in seen)), findings


def _lens(scene, k, change=0.0, shift_change=0.0):
    values = scene.solution.values
    return moved_lens(values.lens + change, values.shift[k] + shift_change)


def ray(scene, k, at):
    """(origin, direction) of the ray through a pixel, world frame."""
    camera = scene.cameras[k]
    way = camera.rotation.T @ np.r_[unproject(at[None], _lens(scene, k))[0], 1.0]
    return -camera.rotation.T @ camera.translation_mm, way / np.linalg.norm(way)


def _widest(rays):
    ways = np.array([way for _, way in rays])
    return float(np.arccos(np.clip(ways @ ways.T, -1, 1)).max())


def _nearest(rays):
    """The point nearest to all rays."""
    across = [np.eye(3) - np.outer(way, way) for _, way in rays]
    return np.linalg.solve(sum(across), sum(a @ origin for a, (origin, _) in zip(across, rays, strict=False)))


def _seen_at(scene, k, place, change=None):
    """Where a photo shows a place (3,), px; change: of lens, pose and the photo's own shift."""
    n, camera = scene.solution.bundle.lens_size, scene.cameras[k]
    if change is None:
        return project(camera.apply(place[None]), _lens(scene, k))[0]
    at = rotation_from_vector(
        change[n:n + 3]) @ camera.rotation @ place + camera.translation_mm + change[n + 3:n + 6]
    return project(at[None], _lens(scene, k, change[:n], change[n + 6:] if len(change) > n + 6 else 0.0))[0]


def _misfits(scene, seen, place):
    """Residuals (2 m,) in sigmas and the derivatives (2 m, 3) of what is expected."""
    residual, by_place = [], []
    for k, at, whiten in seen:
        residual.append(whiten @ (at - _seen_at(scene, k, place)))
        by_place.append(whiten @ jacobian(lambda p, k=k: _seen_at(scene, k, p), place, _STEP_MM))
    return np.concatenate(residual), np.concatenate(by_place)


def _misfit(scene, k, place, whiten, residual):
    """A photo's squared misfit with its pose's own error allowed for.  residual (2,): whitened."""
    which, by = _by_unknowns(scene, k, place)
    by = whiten @ by
    spread = np.eye(2) + by @ scene.covariance[np.ix_(which, which)] @ by.T
    return residual @ np.linalg.solve(spread, residual)


def _by_unknowns(scene, k, place):
    """Which of the scene's unknowns a photo hangs on, and the derivatives (2, m) of a place's pixel by
    them."""
    bundle = scene.solution.bundle
    which = np.r_[np.arange(bundle.lens_size),
                  bundle.camera_start + bundle.per_camera * k + np.arange(bundle.per_camera)]
    # steps in proportion to how well each is known, so that the difference stays in reach of what it stands
    # for
    steps = 0.1 * np.sqrt(scene.covariance.diagonal()[which])
    return which, jacobian(lambda change: _seen_at(scene, k, place, change), np.zeros(len(which)), steps)
