"""First values for joints by motion: relative poses of the bodies, their axes, and the poles they share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from calib.poses import Pose, fit_rigid, vector_from_rotation
from photoangle.core.arrays import Array
from photoangle.core.roles import ARM_BALL_JOINT, BAR_EYE, LINK_FOOT
from photoangle.linkage.motion.model import MotionEstimate
from photoangle.linkage.motion.observed import Changes, GivenOfMotion, MotionState

# A body's poses relative to its reference, state by state; None where a state does not show it.
Path = list[Pose | None]
# Where a marker sits on its body, by (marker, piece, reference state).
Places = dict[tuple[int, int, int], Pose]

_TRIAD = np.array([[0.0, 0, 0], [40, 0, 0], [0, 40, 0], [0, 0, 40]])


def body_paths(states: Sequence[MotionState], bodies: Mapping[int, str], first: Mapping[str, Sequence[int]],
               cuts: Sequence[tuple[int, int]] = ()) -> tuple[dict[str, Path], Places]:
    """How each body moved, from its markers.

    states: MotionStates; bodies: marker -> body; first: body -> (s,) reference states; cuts: (marker, state)
    from which on a marker has another place.
    Returns (body -> (s,) list of Pose or None, relative to its reference; (marker, piece, reference state) ->
    Pose of its place).
    """
    paths: dict[str, Path] = {}
    places: Places = {}
    for body, starts in first.items():
        path: Path = [None] * len(states)
        for start in sorted(set(starts)):
            # outwards from the reference, so that markers chain from state to state
            span = [s for s in range(len(states)) if starts[s] == start]
            for s in sorted(span, key=lambda k: (abs(k - start), k)):
                seen = {i: p for i, p in states[s].markers.items() if bodies[i] == body}
                if s == start:
                    there: Pose | None = Pose.identity()
                else:
                    there = _fitted(seen, places, start, cuts, s)
                path[s] = there
                if there is not None:
                    for i in seen:
                        places.setdefault((i, _piece(i, s, cuts), start), there.inverse() @ seen[i])
        paths[body] = path
    return paths, places


def _piece(marker: int, state: int, cuts: Sequence[tuple[int, int]]) -> int:
    return sum(state >= c for m, c in cuts if m == marker)


def _fitted(seen: Mapping[int, Pose], places: Places, start: int,
            cuts: Sequence[tuple[int, int]], state: int) -> Pose | None:
    """Where a body's known markers put it; where all of them were moved, the place before is the best first
    guess."""
    known = {
        i: places[i, _piece(i, state, cuts), start]
        for i in seen if (i, _piece(i, state, cuts), start) in places
    }
    if not known:
        known = {i: places[i, 0, start] for i in seen if (i, 0, start) in places}
    if not known:
        return None
    return fit_rigid(np.concatenate([p.apply(_TRIAD) for p in known.values()]),
                     np.concatenate([seen[i].apply(_TRIAD) for i in known]))


def turning_axis(path: Path, about: Array) -> tuple[Array, Array, Array]:
    """The line that a body turned about: (point (3,), axis (3,), turns (s,) rad).

    path: relative Poses or None; about (3,): the point is the line's nearest to it.  The axis is the
    principal direction of the rotation vectors, the point the least-squares solution of (1 - R) p = t.
    """
    vectors = np.array([np.zeros(3) if p is None else vector_from_rotation(p.rotation) for p in path])
    values, directions = np.linalg.eigh(vectors.T @ vectors)
    axis = directions[:, np.argmax(values)]
    axis = axis * (1.0 if axis[np.argmax(np.abs(axis))] > 0 else -1.0)
    turns = vectors @ axis
    left = np.concatenate([np.eye(3) - p.rotation for p in path if p is not None])
    right = np.concatenate([p.translation_mm for p in path if p is not None]) - left @ about
    return about + np.linalg.lstsq(left, right, rcond=0.15)[0], axis, turns


def shared_pole(path: Path, other: Path, first: Sequence[int], start: int, near: Array) -> Array:
    """The point that two bodies share: relative Poses of both, first: the other's reference states, start:
    the path's.

    Returns (3,) in the path's frame, as near to ``near`` as the motion leaves open.
    """
    left, right = [], []
    for s, (a, b) in enumerate(zip(path, other, strict=False)):
        j = first[s]
        before = path[j]
        if a is None or b is None or s == j or before is None:
            continue
        left.append(b.rotation @ before.rotation - a.rotation)
        right.append(a.translation_mm - b.rotation @ before.translation_mm - b.translation_mm)
    if not left:
        return near
    matrix, shift = np.concatenate(left), np.concatenate(right)
    out: Array = near + np.linalg.lstsq(matrix, shift - matrix @ near, rcond=0.1)[0]
    return out


def first_estimate(given: GivenOfMotion, changes: Changes, first: Mapping[str, Sequence[int]],
                   place_keys: Sequence[tuple[int, str, int, int]], along: Sequence[str]) -> MotionEstimate:
    """The MotionEstimate that the solution starts from."""
    states, bodies, carrier = given.states, given.bodies, given.carrier
    paths, places = body_paths(states, bodies, first, changes.cuts)

    def middle(*names: str) -> Array | None:
        at = [p.translation_mm for (i, _, _), p in places.items() if bodies[i] in names]
        return np.mean(at, axis=0) if at else None

    everything: Array = np.mean([p.translation_mm for p in places.values()], axis=0)

    def near(a: str, b: str) -> Array:
        ends = [[p.translation_mm for (i, _, _), p in places.items() if bodies[i] == body] for body in (a, b)]
        if not all(ends):
            found = middle(a, b)
            return everything if found is None else found
        one, other = min(((p, q) for p in ends[0] for q in ends[1]),
                         key=lambda pair: float(np.linalg.norm(pair[0] - pair[1])))
        between: Array = (one + other) / 2
        return between

    point, axis, turn = {}, {}, {}
    for body, straight in (("bar", [0, 1.0, 0]), ("arm", [1.0, 0, 0])):
        about = middle(body)
        about = everything if about is None else about
        point[body], axis[body], turn[body] = turning_axis(paths[body], about)
        if axis[body] @ straight < 0:
            axis[body], turn[body] = -axis[body], -turn[body]
        if np.abs(turn[body]).max() < 1e-6:
            axis[body] = np.array(straight)
    joint = {
        BAR_EYE: shared_pole(paths["bar"], paths["link"], first["link"], 0, near("bar", "link")),
        LINK_FOOT: shared_pole(paths[carrier], paths["link"], first["link"], 0, near(carrier, "link")),
        ARM_BALL_JOINT: shared_pole(paths["arm"], paths["knuckle"], first["knuckle"], 0,
                                    near("arm", "knuckle"))
    }
    rotation, shift = {}, {}
    for body in ("link", "knuckle"):
        path = [Pose.identity() if p is None else p for p in paths[body]]
        rotation[body] = np.array([p.rotation for p in path])
        shift[body] = np.array([p.translation_mm for p in path])
    at = []
    for marker, body, piece, state in place_keys:
        start = first[body][state]
        if (marker, piece, start) in places:
            at.append(places[marker, piece, start])
        else:
            carried = paths[body][state] or Pose.identity()
            at.append(carried.inverse() @ states[state].markers[marker])
    return MotionEstimate(point, axis, turn, joint, dict.fromkeys(along, 0.0), rotation, shift,
                    np.array([p.rotation for p in at]).reshape(-1, 3, 3),
                    np.array([p.translation_mm for p in at]).reshape(-1, 3))
