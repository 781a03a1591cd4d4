"""The plumb string itself as level: gravity from the line it draws in every picture.

Where a plumb hangs at rest the free stretches of its string are vertical, each of them: the weights that hang
on it pull straight down, so that the string's pull has no level part, wherever a marker or a strip shifts it
aside.  A marker's sticking, and how true a strip hangs, are not in them.  Each stretch in each photo gives a
plane through the lens that holds the vertical; together with what the markers say, weighted by their
covariance, they give it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from calib.differences import jacobian
from calib.lens import moved_lens, project, trusted_radius, unproject
from calib.poses import rotation_from_vector
from photoangle.core.assumed import STRING_SWINGS_DEG, Assumed
from photoangle.core.estimate import Source
from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.roles import PLUMB, PLUMB_BOTTOM, PLUMB_TOP
from photoangle.detection.thin_line import ThinLine, find_thin_line
from photoangle.geometry.angles import level_pair
from photoangle.geometry.datums import TURN, Direction
from photoangle.geometry.joints import Points
from photoangle.reconstruction.scene import Scene

# A marker's paper, above its middle and below it, where its caption is; the strip's end above its upper
# marker.
_ABOVE_MM, _BELOW_MM, _STRIP_END_MM = 24.0, 36.0, 50.0
# So far above the upper marker and below the lower one the string is looked for, and so far aside.
_FAR_MM, _REACH_MM = 400.0, 7.0
_LEAST_STRETCH_MM = 30.0
# Lines that do not go with the others and the markers are left out while so many of them are kept.
_LEAST_KEPT = 0.67


@dataclass(frozen=True)
class PlumbLine:
    """One stretch of the string in one photo: photo: its index in the scene; line: ThinLine."""

    photo: int
    line: ThinLine


def plumb_lines(points: Points, scene: Scene, up: Direction,
                picture: Callable[[str], np.ndarray]) -> tuple[PlumbLine, ...]:
    """The stretches of the plumb string that the photos show.

    points, scene, up: of one state; picture(photo's name) -> (H, W) uint8.  Nothing where a plumb marker is
    missing.
    """
    if not set(PLUMB) <= set(points.names) or up.by not in ("strip", "string"):
        return ()
    values, found = scene.solution.values, []
    for k, name in enumerate(scene.photos):
        lens = moved_lens(values.lens, values.shift[k])
        grey = None
        for start, stop in _stretches(points):
            course, scale = _course(points[PLUMB_TOP], up.vector, (start, stop), scene.cameras[k], lens)
            if len(course) < 2:
                continue
            grey = picture(name) if grey is None else grey
            line = find_thin_line(grey, course, scale, _REACH_MM)
            if line is not None:
                found.append(PlumbLine(k, line))
    # what one photo alone shows once may be anything that runs there
    return tuple(found) if len(found) > 1 else ()


def _stretches(points):
    """(start, stop) of each free stretch, mm down from the upper marker's middle."""
    apart = float(np.linalg.norm(points[PLUMB_TOP] - points[PLUMB_BOTTOM]))
    if points.strip:
        return ((-_FAR_MM, -_STRIP_END_MM),)
    every = ((-_FAR_MM, -_ABOVE_MM), (_BELOW_MM, apart - _ABOVE_MM), (apart + _BELOW_MM, apart + _FAR_MM))
    return tuple(s for s in every if s[1] - s[0] > _LEAST_STRETCH_MM)


def _course(top, up, between_mm, camera, lens):
    """(points (n, 2) px about a pixel apart where the string should run, px for each mm there)."""
    mm = np.linspace(*between_mm, 60)
    at = camera.apply(top - mm[:, None] * up)
    ahead = at[:, 2] > 50
    tangent = np.hypot(at[:, 0], at[:, 1]) / np.where(ahead, at[:, 2], 1)
    good = ahead & (tangent < trusted_radius(lens))
    if good.sum() < 2:
        return np.zeros((0, 2)), 0.0
    seen = project(at[good], lens)
    steps = np.r_[0, np.cumsum(np.linalg.norm(np.diff(seen, axis=0), axis=1))]
    even = np.arange(0, steps[-1], 1.0)
    course = np.stack([np.interp(even, steps, seen[:, k]) for k in (0, 1)], 1)
    return course, float(lens[0] / np.median(at[good, 2]))


def steadied(up: Direction, lines: Sequence[PlumbLine], scene: Scene,
             where: str = "") -> tuple[Direction, list[Finding]]:
    """Up by the markers and by the string's lines together, weighted by their covariance.

    Where they contradict each other the markers' own is kept, widened to hold both, and it is said.  Returns
    (Direction, findings).
    """
    if not lines:
        return up, []
    e = level_pair(up.vector)
    tilts, rows = _tilts(up, lines, scene, e)
    read = up.turn.linear(e.T, ("a", "b"), np.zeros(2)).join(tilts)
    design, covariance = np.concatenate([np.eye(2), rows]), read.covariance()
    fit = _together(read.values, design, covariance)
    kept = list(range(len(read.names)))
    # a few lines that are not the string's, or a photo in which it swung
    while fit.misfit > _limit(len(kept)) and len(kept) - 2 > max(2, _LEAST_KEPT * len(lines)):
        trials = [[i for i in kept if i != gone] for gone in kept[2:]]
        kept, fit = min(((t, _together(read.values[t], design[t], covariance[np.ix_(t, t)])) for t in trials),
                        key=lambda trial: trial[1].misfit)
    if fit.misfit > _limit(len(kept)):
        apart = e @ fit.turn
        both = Source(("plumb line against markers", scene.origin.state), "level", np.outer(apart, apart))
        return Direction(up.vector, up.turn.also(both, np.eye(3)), up.by), [
            Finding(ATTENTION, where, "the plumb string's line and the plumb markers disagree on which way is"
                    f" up by {math.degrees(float(np.linalg.norm(apart))):.2f} deg: both are allowed for",
                    "let the plumb hang free and still, its markers on the string, and take the photos again")
        ]
    turn = read.pick([read.names[i] for i in kept]).linear(e @ fit.gain, TURN, np.zeros(3))
    return Direction(rotation_from_vector(e @ fit.turn) @ up.vector, turn, up.by), []


@dataclass(frozen=True)
class _Fit:
    """turn (2,): of up, rad, about the level pair; gain (2, n): its derivative by what was read; misfit:
    squared, against the covariance."""

    turn: np.ndarray
    gain: np.ndarray
    misfit: float


def _together(values, design, covariance):
    """Generalised least squares: values (n,) = design (n, 2) turn, with covariance (n, n).  Returns _Fit."""
    weight = np.linalg.inv(covariance + 1e-18 * np.eye(len(values)))
    gain = np.linalg.solve(design.T @ weight @ design, design.T @ weight)
    residual = values - design @ gain @ values
    return _Fit(gain @ values, gain, float(residual @ weight @ residual))


def _limit(count):
    """The squared misfit of so many readings that still agree: beyond 1 in 10,000."""
    from scipy.special import chdtri

    return float(chdtri(count - 2, 1e-4))


def _tilts(up, lines, scene, e):
    """By how much up leans out of each line's plane, rad: (Estimate, design (m, 2) of small turns of up about
    the level pair e that would bring it in)."""
    bundle, values = scene.solution.bundle, scene.solution.values
    n, per = bundle.lens_size, bundle.per_camera
    parts, rows = [], []
    for k, seen in enumerate(lines):
        camera, line = scene.cameras[seen.photo], seen.line
        unknowns = np.r_[np.arange(n), bundle.camera_start + per * seen.photo + np.arange(per)]

        def normal(change, aside=np.zeros(2), camera=camera, seen=seen):
            lens = moved_lens(values.lens + change[:n],
                              values.shift[seen.photo] + (change[n + 6:] if bundle.shifts else 0))
            rotation = rotation_from_vector(change[n:n + 3]) @ camera.rotation
            rays = unproject(seen.line.ends_px + aside[:, None] * seen.line.across_px, lens)
            out = np.cross(*np.c_[rays, np.ones(2)]) @ rotation
            return out / np.linalg.norm(out)

        still = np.zeros(len(unknowns))
        steps = np.maximum(0.1 * np.sqrt(scene.covariance.diagonal()[unknowns]), 1e-9)
        by_unknown = np.zeros((1, bundle.size))
        by_unknown[:, unknowns] = up.vector @ jacobian(normal, still, steps)
        by_pixel = up.vector[None] @ jacobian(partial(normal, still), np.zeros(2), 0.05)
        plane = normal(still)
        state = scene.origin.state
        own = Source(("plumb line", state, k), "level", np.eye(2) * line.sigma_px**2)
        swings = Source(("plumb swings", state, seen.photo), "level",
                        np.array([[math.radians(STRING_SWINGS_DEG) ** 2]]),
                        assumed=Assumed("STRING_SWINGS_DEG"))
        # a turn w of up moves it against the plane by w . (up x normal); seen up leans by -(normal . up)
        parts.append(scene.errors.linear(-by_unknown, (f"line {k}",), [-plane @ up.vector]).also(
            own, -by_pixel).also(swings, np.ones((1, 1))))
        rows.append(np.cross(up.vector, plane) @ e)
    return parts[0].join(*parts[1:]), np.array(rows)
