"""Joints by motion: the unknowns of a moving corner and what is seen of them.

The bar and the control arm turn about lines fixed in the chassis; link and knuckle move freely but for the
joints they share with them: bar eye (bar and link), link foot (link and arm, or knuckle), ball joint (arm and
knuckle). Every body's own frame is the chassis frame in the first state that the body was seen in.

The unknowns are small changes about a current estimate, in steps of about a millimetre (a hundredth of a
radian for turns), so that their scales match.  Residuals take any number of changes at once, which makes
central differences cheap: the whole Jacobian is one call.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from calib.differences import jacobian_of_many
from calib.poses import rotation_from_vector, vector_from_rotation
from photoangle.core.arrays import Array, Indices
from photoangle.core.roles import (
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    LINK_FOOT,
)
from photoangle.linkage.kinematics.turning import applied, dot, length
from photoangle.linkage.motion.observed import PointOnMarker, TapedLength

BODIES = ("chassis", "bar", "arm", "link", "knuckle")
JOINTS = (BAR_EYE, LINK_FOOT, ARM_BALL_JOINT)
# Joints that lie on an axis: how far along it is an unknown of its own where it was observed.
ON_AXIS = {BAR_BUSH: "bar", ARM_PIVOT_FRONT: "arm", ARM_PIVOT_REAR: "arm"}
RAD = 0.01
_STEP = 1e-4


@dataclass
class MotionEstimate:
    """The current estimate, s states and p places.

    point, axis: "bar", "arm" -> (3,); turn: "bar", "arm" -> (s,) rad; joint: name -> (3,), bar_eye in the
    bar's frame, arm_ball_joint in the arm's, link_foot in its carrier's; along: on-axis joint -> mm from the
    axis's point; rotation, shift: "link", "knuckle" -> (s, 3, 3), (s, 3); place_rotation (p, 3, 3),
    place_shift (p, 3).
    """

    point: dict[str, Array]
    axis: dict[str, Array]
    turn: dict[str, Array]
    joint: dict[str, Array]
    along: dict[str, float]
    rotation: dict[str, Array]
    shift: dict[str, Array]
    place_rotation: Array
    place_shift: Array


@dataclass(frozen=True)
class Plan:
    """Which marker was seen when and on what; all by index.

    state, body, place: (o,) of each sighting; seen: body -> states it was seen in; first: body -> (s,) the
    state whose pose is the body's frame (differs between states where the link was made anew); marker: (o,)
    ids; whiten: list over states of (rows, lower-triangular inverse root); foot_on: "arm" or "knuckle";
    points: (index as given, PointOnMarker, place); tapes: (index as given, TapedLength, state); place_keys:
    (marker, body, how often it had been moved, first state) of each place.
    """

    states: int
    state: Indices
    body: Indices
    place: Indices
    marker: Indices
    seen: dict[str, set[int]]
    first: dict[str, list[int]]
    whiten: list[tuple[slice, Array]]
    foot_on: str
    points: tuple[tuple[int, PointOnMarker, int], ...]
    tapes: tuple[tuple[int, TapedLength, int], ...]
    play_mm: float
    place_keys: tuple[tuple[int, str, int, int], ...] = ()


@dataclass(frozen=True)
class Moved:
    """The estimate after b changes at once.

    joint: name -> (b, 3), each in its body's frame; lines: "bar", "arm" -> (point (b, 3), axis (b, 3), turn
    (b, s) rad); along: on-axis joint -> (b, 1) mm; rotation (b, bodies, s, 3, 3), shift (b, bodies, s, 3): of
    each body, in the order of BODIES; place_rotation (b, p, 3, 3), place_shift (b, p, 3).
    """

    joint: dict[str, Array]
    lines: dict[str, tuple[Array, Array, Array]]
    along: dict[str, Array]
    rotation: Array
    shift: Array
    place_rotation: Array
    place_shift: Array


class Model:
    """The least-squares problem about one estimate."""

    def __init__(self, plan: Plan, estimate: MotionEstimate) -> None:
        self.plan, self.estimate = plan, estimate
        self.blocks: dict[str, slice] = {}
        at = 0
        self.basis = {k: _square_pair(estimate.axis[k]) for k in ("bar", "arm")}
        sizes = {}
        for k in ("bar", "arm"):
            moving = [s for s in range(plan.states) if s != plan.first[k][0]]
            sizes[f"{k} point"], sizes[f"{k} axis"], sizes[f"{k} turn"] = 2, 2, len(moving)
        for k in JOINTS:
            sizes[k] = 3
        for k in estimate.along:
            sizes[f"along {k}"] = 1
        for k in ("link", "knuckle"):
            self_moving = [s for s in sorted(plan.seen[k]) if s != plan.first[k][s]]
            sizes[f"{k} pose"] = 6 * len(self_moving)
        sizes["places"] = 6 * len(estimate.place_shift)
        for name, size in sizes.items():
            self.blocks[name] = slice(at, at + size)
            at += size
        self.size = at

    def moved(self, x: Array) -> Moved:
        """The estimate after changes x (b, size): arrays with b leading."""
        e, plan, b = self.estimate, self.plan, len(x)
        lines = {}
        rotation = np.broadcast_to(np.eye(3), (b, 5, plan.states, 3, 3)).copy()
        shift = np.zeros((b, 5, plan.states, 3))
        for k in ("bar", "arm"):
            basis = self.basis[k]
            point = e.point[k] + x[:, self.blocks[f"{k} point"]] @ basis
            axis = applied(rotation_from_vector(RAD * x[:, self.blocks[f"{k} axis"]] @ basis), e.axis[k])
            turn = np.broadcast_to(e.turn[k], (b, plan.states)).copy()
            moving = [s for s in range(plan.states) if s != plan.first[k][0]]
            turn[:, moving] += RAD * x[:, self.blocks[f"{k} turn"]]
            r = rotation_from_vector(axis[:, None] * turn[..., None])
            i = BODIES.index(k)
            rotation[:, i], shift[:, i] = r, point[:, None] - applied(r, point[:, None])
            lines[k] = (point, axis, turn)
        for k in ("link", "knuckle"):
            i = BODIES.index(k)
            moving = [s for s in sorted(plan.seen[k]) if s != plan.first[k][s]]
            change = x[:, self.blocks[f"{k} pose"]].reshape(b, len(moving), 6)
            rotation[:, i], shift[:, i] = e.rotation[k], e.shift[k]
            if moving:
                spin = rotation_from_vector(RAD * change[..., :3])
                # a turn about the moved body itself, not about a far origin, keeps turn and shift apart
                rotation[:, i, moving] = spin @ e.rotation[k][moving]
                middle = e.shift[k][moving] + applied(e.rotation[k][moving], self._middle(k))
                shift[:, i, moving] = applied(spin, e.shift[k][moving] - middle) + middle + change[..., 3:]
        change = x[:, self.blocks["places"]].reshape(b, -1, 6)
        return Moved({k: e.joint[k] + x[:, self.blocks[k]] for k in JOINTS}, lines,
                     {k: e.along[k] + x[:, self.blocks[f"along {k}"]] for k in e.along}, rotation, shift,
                     rotation_from_vector(RAD * change[..., :3]) @ e.place_rotation,
                     e.place_shift + change[..., 3:])

    def _middle(self, body: str) -> Array:
        at = [p for p, key in enumerate(self.plan.place_keys) if key[1] == body]
        return self.estimate.place_shift[at].mean(0) if at else np.zeros(3)

    def carried(self, m: Moved, body: str, state: int, point: Array) -> Array:
        """A point of a body's frame (b, 3) in the chassis at a state."""
        i = BODIES.index(body)
        return applied(m.rotation[:, i, state], point) + m.shift[:, i, state]

    def joint(self, m: Moved, name: str, state: int) -> Array:
        """A joint (b, 3) in the chassis at a state."""
        if name in ON_AXIS:
            point, axis, _ = m.lines[ON_AXIS[name]]
            if name in m.along:
                return point + axis * m.along[name]
            # never seen along the axis: square to the eye, or 100 mm either side of the ball joint, by
            # definition
            about = self.estimate.joint[BAR_EYE if name == BAR_BUSH else ARM_BALL_JOINT]
            far = {BAR_BUSH: 0.0, ARM_PIVOT_FRONT: 100.0, ARM_PIVOT_REAR: -100.0}[name]
            return point + axis * (dot(about - point, axis) + far)[:, None]
        if name == "bar_bush_far":
            return self.joint(m, BAR_BUSH, state) + 300.0 * m.lines["bar"][1]
        body = {BAR_EYE: "bar", ARM_BALL_JOINT: "arm", LINK_FOOT: self.plan.foot_on}[name]
        return self.carried(m, body, state, m.joint[name])

    def raw(self, x: Array) -> tuple[Array, Moved]:
        """Sightings' residuals before whitening (b, o, 6): turn (rad), shift (mm), predicted less seen."""
        m, plan = self.moved(x), self.plan
        r, t = m.rotation[:, plan.body, plan.state], m.shift[:, plan.body, plan.state]
        pr, pt = m.place_rotation[:, plan.place], m.place_shift[:, plan.place]
        turn = vector_from_rotation(r @ pr @ np.swapaxes(self.seen_rotation, -1, -2))
        return np.concatenate([turn, applied(r, pt) + t - self.seen_shift], -1), m

    def with_sightings(self, rotation: Array, shift: Array) -> Model:
        """Sets what was seen: rotation (o, 3, 3), shift (o, 3)."""
        self.seen_rotation, self.seen_shift = rotation, shift
        return self

    def residuals(self, x: Array) -> Array:
        """All residuals in units of their sigma, (b, rows): sightings first, state by state."""
        raw, m = self.raw(x)
        out = [self.whitened(raw)]
        out += [r / self.plan.play_mm for r in self._shared(m)]
        out += [self._on_marker(m, point, place) for _, point, place in self.plan.points]
        for _, tape, s in self.plan.tapes:
            apart = length(self.joint(m, tape.first, s) - self.joint(m, tape.second, s))
            out.append(((apart - tape.value_mm) / tape.sigma_mm)[:, None])
        return np.concatenate(out, -1)

    def whitened(self, raw: Array) -> Array:
        """Sightings' residuals or derivatives (b, o, 6) over their sigmas, (b, 6 o)."""
        return np.concatenate(
            [raw[:, rows].reshape(len(raw), -1) @ root.T for rows, root in self.plan.whiten], -1)

    def _shared(self, m: Moved) -> Iterator[Array]:
        """Joints as their two bodies see them: differences in mm, each (b, n)."""
        plan = self.plan
        for s in range(plan.states):
            first = plan.first["link"][s]
            if first is not None and s != first and (plan.foot_on == "arm"
                                                     or {s, first} <= plan.seen["knuckle"]):
                eye, foot = (self.joint(m, k, first) for k in (BAR_EYE, LINK_FOOT))
                eye_now, foot_now = (self.joint(m, k, s) for k in (BAR_EYE, LINK_FOOT))
                if s in plan.seen["link"]:
                    yield self.carried(m, "link", s, eye) - eye_now
                    yield self.carried(m, "link", s, foot) - foot_now
                else:
                    yield (length(eye_now - foot_now) - length(eye - foot))[:, None]
            first = plan.first["knuckle"][s]
            if s in plan.seen["knuckle"] and s != first:
                ball = self.joint(m, ARM_BALL_JOINT, first)
                yield self.carried(m, "knuckle", s, ball) - self.joint(m, ARM_BALL_JOINT, s)

    def _on_marker(self, m: Moved, point: PointOnMarker, place: int) -> Array:
        _, body, _, first = self.plan.place_keys[place]
        joint, of = self.joint(m, point.joint, first), BODIES.index(body)
        r, t = m.rotation[:, of, first], m.shift[:, of, first]
        marker = r @ m.place_rotation[:, place]
        origin = applied(r, m.place_shift[:, place]) + t
        seen = applied(np.swapaxes(marker, -1, -2), joint - origin)
        out: Array = (seen - np.asarray(point.offset_mm)) / np.asarray(point.sigma_mm)
        return out

    def jacobian(self, function: Callable[[Array], Array]) -> Array:
        """Central differences of function((b, size)) -> (b, rows) at nought: (rows, size)."""
        return jacobian_of_many(function, self.size, _STEP)

    def advanced(self, x: Array) -> MotionEstimate:
        """The MotionEstimate after one change x (size,)."""
        m = self.moved(x[None])
        rotation, shift = {}, {}
        for k in ("link", "knuckle"):
            i = BODIES.index(k)
            rotation[k], shift[k] = m.rotation[0, i].copy(), m.shift[0, i].copy()
        point, axis, turn = ({k: line[part][0] for k, line in m.lines.items()} for part in range(3))
        return MotionEstimate(point, axis, turn, {k: v[0] for k, v in m.joint.items()},
                        {k: float(v[0, 0]) for k, v in m.along.items()}, rotation, shift,
                        m.place_rotation[0], m.place_shift[0])


def _square_pair(axis: Array) -> Array:
    """Two unit vectors square to an axis and to each other, (2, 3)."""
    other = np.eye(3)[np.argmin(np.abs(axis))]
    first = np.cross(axis, other)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(axis, first)])
