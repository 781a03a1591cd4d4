"""By tape alone: a corner from heights over a level line and lengths between joints, no photo.

The two triangles, done properly: the bar arm's and the control arm's angles from their ends' heights and
their lengths, the closure in three dimensions, and the car's pitch and roll taken off, since heights are read
against gravity and the answer is wanted against the chassis.  What a tape cannot tell is drawn from what it
may be: which way the link leans, and the bar's and the arm's axes' exact directions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.arrays import Array
from photoangle.core.assumed import (
    ARM_AXIS_DEG,
    BAR_AXIS_DEG,
    FOOT_FROM_BALL_MM,
    LINK_LEANS_DEG,
    STANDS_ROLL_DEG,
)
from photoangle.core.findings import UNUSABLE, Finding, Refusal
from photoangle.core.roles import ARM_BALL_JOINT, ARM_PIVOT_FRONT, BAR_BUSH, BAR_EYE, LINK_FOOT
from photoangle.linkage import not_given
from photoangle.linkage.checks import check_length
from photoangle.linkage.corner import ARM_AXIS, BAR_AXIS, TAPE, KnownDirection, Taped
from photoangle.linkage.draw import Draw
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.ride import no_datum_finding

LENGTHS, HEIGHTS, LEAN, PITCH, ROLL = "taped lengths", "taped heights", "link's lean", "pitch", "roll"
FOOT_AT, POINTS = "link foot's place", "which way the bar's arm points"
_HEIGHTS = (BAR_BUSH, BAR_EYE, "arm_pivot", ARM_BALL_JOINT)
# How far out on the control arm the link's foot can sit, as a share of the arm's length (common practice, no
# source): wide, to catch units and mix-ups only.
_FOOT_OUT = (0.15, 1.15)


@dataclass(frozen=True)
class TapedCorner:
    """A corner by tape.  Use `tape_corner`, which checks the readings.

    heights: bar_bush, bar_eye, arm_pivot, arm_ball_joint and, where taped, link_foot -> Taped, over one level
    line; lengths: bar_arm, control_arm, foot_from_pivot (square to the pivots' axis; not where the foot is on
    strut or knuckle) and, where taped, link -> Taped; link_foot_on: as in `corner.Corner`; eye_ahead: the bar
    arm points forward, None where nobody said; left: a corner of the left side; pitch_deg (nose up) and
    roll_deg (left side up) of the chassis in this state: (value, u); hub_to_arch_mm: state -> Taped.
    ``nominal`` and ``sample`` as for `corner.Corner`.
    """

    name: str
    state: str
    heights: dict[str, Taped]
    lengths: dict[str, Taped]
    hub_to_arch_mm: dict[str, Taped]
    eye_ahead: bool | None = True
    left: bool = True
    pitch_deg: tuple[float, float] = (0.0, 0.0)
    roll_deg: tuple[float, float] = (0.0, 0.0)
    link_foot_on: str = "control arm"
    hub_differs_within: float | None = None
    bar_axis_deg: float = BAR_AXIS_DEG
    arm_axis_deg: float = ARM_AXIS_DEG
    radius_mm: dict[str, float] = field(default_factory=dict)
    stud: dict[str, KnownDirection] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def hose_leads_away(self) -> bool:
        """Nothing is known of a hose."""
        return False

    @property
    def given(self) -> tuple[str, ...]:
        """Names of the points that were measured: no more than the linkage needs."""
        return (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_PIVOT_FRONT, ARM_BALL_JOINT)

    @property
    def source_names(self) -> tuple[str, ...]:
        own: tuple[str, ...] = () if self.link_foot_on == "control arm" else (FOOT_AT,)
        own += (POINTS,) if self.eye_ahead is None else ()
        return (HEIGHTS, LENGTHS, LEAN, PITCH, ROLL, BAR_AXIS, ARM_AXIS, TAPE, not_given.KNUCKLE,
                not_given.HUB_AT, not_given.STUD, *own)

    def nominal(self) -> Layout:
        """Layout with every reading at its estimate and the link leaning across the car; leading axes (1,
        1)."""
        return self._layout(Draw(1, 0, only=()))

    def sample(self, n: int, seed: int = 1, only: str | None = None) -> Layout:
        """n samples (JCGM 101): Layout with leading axes (n, 1); NaN where readings do not make a
        triangle."""
        return self._layout(Draw(n, seed, None if only is None else (only,)))

    def _layout(self, draw: Draw) -> Layout:
        height = {k: draw.scalar(HEIGHTS, t.value_mm, t.u_mm)[:, 0] for k, t in sorted(self.heights.items())}
        size = {k: draw.scalar(LENGTHS, t.value_mm, t.u_mm)[:, 0] for k, t in sorted(self.lengths.items())}
        zero = np.zeros(draw.n)
        # in a mirror across its length the car points the other way and is pitched the other way: an arm that
        # may point either way is one that points forward on a car that may be pitched either way
        ahead, out = (-1.0 if self.eye_ahead is False else 1.0), (1.0 if self.left else -1.0)
        nose = draw.either_way(POINTS) if self.eye_ahead is None else np.ones((draw.n, 1))
        bush = np.stack([zero, zero, height[BAR_BUSH]], -1)
        eye = bush + _leg(size["bar_arm"], height[BAR_EYE] - height[BAR_BUSH], ahead, 0)
        along = _leg(np.ones(draw.n), (height[ARM_BALL_JOINT] - height["arm_pivot"]) / size["control_arm"],
                     out, 1)
        foot_reach = self._foot_from_pivot(draw, height, size, along, out)
        foot_height = height["arm_pivot"] + foot_reach[:, 2]
        # a tape knows how long the link is, not which way it leans; not taped, it leans by anything usual
        drop = eye[:, 2] - foot_height
        lean2 = size["link"] ** 2 - drop**2 if "link" in size else (
            drop * np.tan(draw.rectangular(LEAN, math.radians(LINK_LEANS_DEG))[:, 0])) ** 2
        # a link that stands upright as far as the tape can tell: its lean is nought
        lean = np.sqrt(np.maximum(lean2, 0.0))
        towards = math.pi / 2 * out + draw.rectangular(LEAN, math.pi)[:, 0]
        foot = np.stack([eye[:, 0] - lean * np.cos(towards), eye[:, 1] - lean * np.sin(towards), foot_height],
                        -1)
        pivot = foot - foot_reach
        ball = pivot + along * size["control_arm"][:, None]
        at = {BAR_BUSH: bush, BAR_EYE: eye, LINK_FOOT: foot, ARM_PIVOT_FRONT: pivot, ARM_BALL_JOINT: ball}
        # nose up is a turn about -y, left side up about +x; the chassis sees the opposite
        pitch = nose * np.radians(draw.scalar(PITCH, *self.pitch_deg))
        roll = np.radians(draw.scalar(ROLL, *self.roll_deg))
        level = rotation_from_vector(pitch * np.array([[0.0, 1.0, 0.0]])) @ rotation_from_vector(
            -roll * np.array([[1.0, 0.0, 0.0]]))
        at = {k: ((level @ (p - bush)[..., None])[..., 0])[:, None] for k, p in at.items()}
        bar = draw.direction(BAR_AXIS, KnownDirection.within([0, 1, 0], self.bar_axis_deg))
        arm = draw.direction(ARM_AXIS, KnownDirection.within([1, 0, 0], self.arm_axis_deg))
        arch = {s: draw.scalar(TAPE, t.value_mm, t.u_mm) for s, t in sorted(self.hub_to_arch_mm.items())}
        at = not_given.with_hub(draw, at, out)
        top = not_given.knuckle(draw, at, arm, out, self.link_foot_on, self.hub_differs_within)
        return Layout(at | top.points, bar, arm, self.link_foot_on, self.state, arch,
                      stud=not_given.studs(draw, {}, at), knuckle_turn=top.turn, steer_rate=top.steer_rate)

    def _foot_from_pivot(self, draw: Draw, height: dict[str, Array], size: dict[str, Array], along: Array,
                         out: float) -> Array:
        """The link's foot from the arm's pivot, (n, 3)."""
        if self.link_foot_on != "control arm":
            ahead, inboard = (draw.between(FOOT_AT, limits)[:, 0] for limits in FOOT_FROM_BALL_MM)
            ball = along * size["control_arm"][:, None]
            return np.stack([ahead, ball[:, 1] - out * inboard, height[LINK_FOOT] - height["arm_pivot"]], -1)
        # the foot lies on the line from pivot to ball joint, unless its own height says that it stands off it
        if LINK_FOOT not in height:
            return along * size["foot_from_pivot"][:, None]
        return _leg(size["foot_from_pivot"], height[LINK_FOOT] - height["arm_pivot"], out, 1)


def _leg(size: Array, rise: Array, way: float, axis: int) -> Array:
    """A line of a length and a rise, level along one axis (0: x, 1: y): (n, 3); NaN where the rise is the
    longer."""
    with np.errstate(invalid="ignore"):
        run = np.sqrt(size**2 - rise**2)
    out = np.zeros(rise.shape + (3,))
    out[:, axis], out[:, 2] = way * run, rise
    return out


@dataclass(frozen=True)
class Readings:
    """What was read of a corner in one state.

    heights, lengths, hub_to_arch_mm as in `TapedCorner`; pitch_deg, roll_deg: (value, u) or None where not
    known; pitch_between_deg: what an unknown pitch lies between, nose up.
    """

    heights: Mapping[str, Taped]
    lengths: Mapping[str, Taped]
    hub_to_arch_mm: Mapping[str, Taped]
    pitch_deg: tuple[float, float] | None = None
    roll_deg: tuple[float, float] | None = None
    pitch_between_deg: tuple[float, float] = (0.0, 0.0)


def tape_corner(name: str, state: str, readings: Readings, eye_ahead: bool | None = True, left: bool = True,
                link_foot_on: str = "control arm", **rest: Any) -> TapedCorner | Refusal:
    """A TapedCorner from readings, or Refusal where they contradict each other.

    eye_ahead, left, link_foot_on and the rest: as TapedCorner's.  Where the pitch is not known a finding says
    so.
    """
    heights, lengths = readings.heights, readings.lengths
    where = f"{name}/{state}"
    # a foot beside the arm is found by its height, one on the arm by its distance from the pivots
    by_height = link_foot_on != "control arm"
    own = [LINK_FOOT] if by_height else []
    missing = [f"height of {h}" for h in (*_HEIGHTS, *own) if h not in heights]
    own = [] if by_height else ["foot_from_pivot"]
    missing += [f"length of {k}" for k in ("bar_arm", "control_arm", *own) if k not in lengths]
    if missing:
        return Refusal(
            Finding(UNUSABLE, where, f"not taped: {', '.join(missing)}", "tape it, or take photos instead"))
    for key, kind in (("bar_arm", "bar lever"), ("control_arm", "control arm"), ("link", "link")):
        if key in lengths:
            bad = check_length(kind, lengths[key].value_mm, where)
            if bad is not None:
                return Refusal(bad)
    for at, taped in readings.hub_to_arch_mm.items():
        bad = check_length("hub to arch", taped.value_mm, f"{name}/{at}")
        if bad is not None:
            return Refusal(bad)
    bad = _contradiction(where, heights, lengths, by_height)
    if bad is not None:
        return Refusal(bad)
    findings = []
    pitch_deg = readings.pitch_deg
    if pitch_deg is None:
        low, high = readings.pitch_between_deg
        findings.append(no_datum_finding(where, (low, high)))
        pitch_deg = ((low + high) / 2, (high - low) / math.sqrt(12))
    return TapedCorner(name, state, dict(heights), dict(lengths), dict(readings.hub_to_arch_mm), eye_ahead,
                       left, pitch_deg, readings.roll_deg or (0.0, STANDS_ROLL_DEG),
                       link_foot_on=link_foot_on, findings=tuple(findings), **rest)


def _contradiction(where: str, heights: Mapping[str, Taped], lengths: Mapping[str, Taped],
                   by_height: bool) -> Finding | None:
    for a, b, key in ((BAR_BUSH, BAR_EYE, "bar_arm"), ("arm_pivot", ARM_BALL_JOINT, "control_arm")):
        rise = abs(heights[b].value_mm - heights[a].value_mm)
        if rise >= lengths[key].value_mm:
            return Finding(
                UNUSABLE, where, f"{b} and {a} differ by {rise:.0f} mm in height but the {key} is only"
                f" {lengths[key].value_mm:.0f} mm long",
                "two readings are mixed up, or one is in another unit")
    if by_height:
        foot = heights[LINK_FOOT].value_mm
    else:
        bad, foot = _foot_on_arm(where, heights, lengths)
        if bad is not None:
            return bad
    drop = heights[BAR_EYE].value_mm - foot
    u = math.hypot(heights[BAR_EYE].u_mm, heights["arm_pivot"].u_mm, heights[ARM_BALL_JOINT].u_mm)
    if "link" in lengths and abs(drop) > lengths["link"].value_mm + 4 * math.hypot(u, lengths["link"].u_mm):
        bush = heights[BAR_BUSH].value_mm - foot
        asks = "were the bar bush's and the bar eye's heights exchanged? " \
            if abs(bush) <= lengths["link"].value_mm else ""
        return Finding(
            UNUSABLE, where, f"the link is taped {lengths['link'].value_mm:.0f} mm but its ends differ by"
            f" {abs(drop):.0f} mm in height",
            asks + "tape it again from centre to centre, and the heights from one level line")
    if "link" not in lengths and abs(drop) < 40:
        return Finding(UNUSABLE, where,
                       "without the link's length it is taken as near upright, but its ends are at one"
                       " height",
                       "tape the link from centre to centre")
    return None


def _foot_on_arm(where: str, heights: Mapping[str, Taped],
                 lengths: Mapping[str, Taped]) -> tuple[Finding | None, float]:
    """(a contradiction or None, the height of a foot on the control arm, mm)."""
    radius, arm = lengths["foot_from_pivot"].value_mm, lengths["control_arm"].value_mm
    nearest, farthest = _FOOT_OUT
    if not nearest <= radius / arm <= farthest:
        return Finding(
            UNUSABLE, where, f"the link's foot cannot be {radius:.0f} mm from the pivot of a control arm of"
            f" {arm:.0f} mm", "measure along the arm from its pivot to the link's foot"), 0.0
    pivot = heights["arm_pivot"].value_mm
    if LINK_FOOT not in heights:
        return None, pivot + (heights[ARM_BALL_JOINT].value_mm - pivot) / arm * radius
    foot = heights[LINK_FOOT].value_mm
    if abs(foot - pivot) >= radius:
        return Finding(
            UNUSABLE, where, f"link foot and pivot differ by {abs(foot - pivot):.0f} mm in height but are"
            f" only {radius:.0f} mm apart", "two readings are mixed up, or one is in another unit"), foot
    return None, foot
