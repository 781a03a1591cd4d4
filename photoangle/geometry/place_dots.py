"""Plain dots that the user tapped in several photos of a state: points in space, without a marker.

A dot is placed after everything else is solved, where the rays through it meet best.  It adds nothing to the
photos' poses, which the card and the markers hold far better; its own covariance carries theirs, by the
derivatives.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.differences import jacobian
from calib.lens import moved_lens, project, unproject
from calib.poses import rotation_from_vector
from photoangle.core.estimate import Source
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.roles import ROLE_BY_KEY
from photoangle.geometry.joints import ROOT3, coordinates, scale_source

EDGE = "dot's edge"
# Squared misfit of one view, in its own sigmas, beyond which it is another dot or a slip of the finger.
_MOST_MISFIT = 25.0
_STEP_MM = 0.01
# Rays that meet at less than this tell no depth.
_LEAST_ANGLE_RAD = np.radians(4.0)


def with_dots(points, scene, dots, corner, scale=(1.0, 0.0), where=""):
    """The points of a scene with those of its dots.

    Parameters: points: Points of the markers; scene; dots: photo name -> role key -> (x, y, sigma) px in the
    sensor's frame; corner: carfile's Corner; scale: true size of the print over its nominal size, and its
    standard uncertainty; where: for messages.
    Returns (Points, findings).
    """
    views = {}
    for index, name in enumerate(scene.photos):
        for role, (x, y, u) in dots.get(name, {}).items():
            views.setdefault(role, []).append((index, np.array([x, y]), u))
    new, findings = {}, []
    for role, seen in sorted(views.items()):
        title = ROLE_BY_KEY[role].title
        if role in points:
            findings.append(Finding(NOTE, where, f"{title}: a marker stands for it, its dot was left out",
                                    "dismiss the marker in all photos to have the dot count"))
            continue
        made, told = _placed(scene, seen, title, where)
        findings += told
        if made is None:
            continue
        new[role] = made
        given = role in corner.standoff_mm or role in corner.offset_mm
        findings.append(
            Finding(
                ATTENTION if given else NOTE,
                where,
                f"the dot {title} counts as the joint's own middle, within"
                f" {corner.stuck_within_mm:g}"
                f" mm{': the stand-off given for its marker is not used' if given else ''}",
                "where a dot stands off its joint, use a marker with a stand-off" if given else "",
            )
        )
    return (_joined(points, new, scale, scene, corner.stuck_within_mm / ROOT3) if new else points), findings


def _placed(scene, seen, title, where):
    """((position, by_unknown, covariance), findings) of one dot, or (None, findings)."""
    findings = []
    while True:
        rays = [_ray(scene, k, at) for k, at, _ in seen]
        if len(seen) < 2 or _widest(rays) < _LEAST_ANGLE_RAD:
            findings.append(
                Finding(ATTENTION, where, f"the dot {title} is known from one place alone and was left out",
                        "tap it in another photo, taken from another side"))
            return None, findings
        place = _met(rays)
        for _ in range(10):
            residual, by_place = _misfits(scene, seen, place)
            step = np.linalg.lstsq(by_place, residual, rcond=None)[0]
            place = place + step
            if np.linalg.norm(step) < 1e-6:
                break
        residual, by_place = _misfits(scene, seen, place)
        each = (residual.reshape(-1, 2) ** 2).sum(1)
        if each.max() < _MOST_MISFIT:
            break
        worst = int(each.argmax())
        findings.append(
            Finding(
                ATTENTION, scene.photos[seen[worst][0]],
                f"the dot {title} lies elsewhere in this photo than in the others"
                " and was left out here", "tap it again"))
        seen = seen[:worst] + seen[worst + 1:]
    inverse = np.linalg.inv(by_place.T @ by_place)
    by_unknown = np.zeros((3, scene.solution.bundle.size))
    for row, (k, _, u) in enumerate(seen):
        which, by = _by_unknowns(scene, k, place)
        by_unknown[:, which] -= inverse @ by_place[2 * row:2 * row + 2].T @ by / u
    return (place, by_unknown, inverse), findings


def _lens(scene, k, change=0.0, shift_change=0.0):
    values = scene.solution.values
    return moved_lens(values.lens + change, values.shift[k] + shift_change)


def _ray(scene, k, at):
    """(origin, direction) of the ray through a pixel, world frame."""
    camera = scene.cameras[k]
    way = camera.rotation.T @ np.r_[unproject(at[None], _lens(scene, k))[0], 1.0]
    return -camera.rotation.T @ camera.translation_mm, way / np.linalg.norm(way)


def _widest(rays):
    ways = np.array([way for _, way in rays])
    return float(np.arccos(np.clip(ways @ ways.T, -1, 1)).max())


def _met(rays):
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
    for k, at, u in seen:
        residual.append((at - _seen_at(scene, k, place)) / u)
        by_place.append(jacobian(lambda p, k=k: _seen_at(scene, k, p), place, _STEP_MM) / u)
    return np.concatenate(residual), np.concatenate(by_place)


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


def _joined(points, new, scale, scene, stuck_mm):
    """Points with new ones, in the order of their names.  stuck_mm: how well a dot was put on its joint, 1
    sigma."""
    names = tuple(sorted(new))
    positions = np.array([new[n][0] for n in names])
    by_unknown = np.concatenate([new[n][1] for n in names])
    made = scene.errors.linear(by_unknown, coordinates(names), scale[0] * positions.ravel())
    made = made.also(scale_source(scene.origin, scale[1]), (positions - points.centre_mm).reshape(-1, 1))
    for k, name in enumerate(names):
        effect = np.zeros((3 * len(names), 3))
        effect[3 * k:3 * k + 3] = np.eye(3)
        # nothing tells whether a dot was painted anew, so that its place is the state's own
        for kind, covariance in ((EDGE, new[name][2]), ("sticking", np.eye(3) * stuck_mm**2)):
            made = made.also(Source((kind, scene.origin.state, name), kind, covariance), effect)
    every = tuple(sorted((*points.names, *names)))
    return replace(points, names=every, estimate=points.estimate.join(made).pick(coordinates(every)),
                   marker=points.marker | dict.fromkeys(names))
