"""One wheel's corner as it was measured: named points, axes, taped scalars, and their samples.

Everything is in the chassis frame (x forward, y left, z up; level as at ride height), millimetres.
How well that frame is known belongs into the points' covariance, by `turn_lever`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from calib.poses import hat
from photoangle.core.arrays import Array
from photoangle.core.assumed import ARM_AXIS_DEG, BAR_AXIS_DEG
from photoangle.core.roles import (
    ARCH_LIP,
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    HUB,
    LINK_FOOT,
    PIVOTS,
)
from photoangle.linkage import not_given
from photoangle.linkage.draw import Draw
from photoangle.linkage.kinematics.layout import FEET, Layout
from photoangle.linkage.kinematics.turning import unit

NEEDED = (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_BALL_JOINT)
_BODIES = ("chassis", "mid", "knuckle")
_THICK, _STUDS, _HOSES = ("eye", "link", "hose", "bar"), (BAR_EYE, LINK_FOOT), ("hose_a", "hose_b", "hose_c")
# Points that a corner may have; a hose point may have been seen in a second state.
_KNOWN = {*NEEDED, *PIVOTS, HUB, ARCH_LIP, *_HOSES, "bar_bush_far", "upper_pivot_front", "upper_pivot_rear",
          "upper_ball_joint", "strut_top", "strut_low", "tie_rod_inner", "tie_rod_outer"}
ROOT3 = math.sqrt(3)
# Sources that are not the points' own
BAR_AXIS, ARM_AXIS, TAPE, LINK = "bar axis", "arm axis", "hub to arch", "taped link"


@dataclass(frozen=True)
class KnownDirection:
    """A direction: vector (3,), of any length; turn_cov (3, 3): covariance of a small turn, rad^2."""

    vector: Array
    turn_cov: Array

    @classmethod
    def within(cls, vector: ArrayLike, sigma_deg: float) -> KnownDirection:
        """Known to sigma_deg (standard uncertainty) about either axis square to it."""
        return cls(np.asarray(vector, float), np.eye(3) * math.radians(sigma_deg) ** 2)


@dataclass(frozen=True)
class Taped:
    """A taped length in mm and its standard uncertainty."""

    value_mm: float
    u_mm: float


@dataclass(frozen=True)
class Corner:
    """A corner's geometry at its reference state.

    names, positions_mm (n, 3), sources: name -> covariance (3 n, 3 n) mm^2, which add up.  Names as the
    roles: bar_bush (anywhere on the bar's axis), bar_bush_far (another point on it, such as the other
    side's), bar_eye, link_foot, arm_pivot_front, arm_pivot_rear, arm_ball_joint, hub, arch_lip, hose_a,
    hose_b, hose_c, and for the knuckle upper_pivot_front, upper_pivot_rear, upper_ball_joint, strut_top,
    strut_low, tie_rod_inner, tie_rod_outer.

    bar_axis, arm_axis: KnownDirection where two points do not give it (None: straight across, straight
    along); hub_to_arch_mm: state -> Taped; it goes before the points' own.  hub_differs_within: half-width of
    the hub's rise against the ball joint's, as a share, or None where nobody said.  hose_on: hose point ->
    "chassis", "mid" or "knuckle" (where it is not said and the point was measured once, it may be anything
    between); hose_leads_away: beyond its first and last point it comes no nearer; second_state:
    hose point -> the other state that hose_a_second and so on was measured in; radius_mm: "eye", "link",
    "hose", "bar"; stud: "bar_eye", "link_foot" -> KnownDirection; link: the link as taped, in place of its
    joints' distance; dof: source -> degrees of freedom of its covariance.  What is not given is drawn as
    widely as it comes: `linkage.not_given`. Raises ValueError for shapes and covariances that
    are none, unknown points, keys and carriers, and missing points.
    """

    name: str
    state: str
    names: tuple[str, ...]
    positions_mm: Array
    sources: dict[str, Array]
    link_foot_on: str = "control arm"
    bar_axis: KnownDirection | None = None
    arm_axis: KnownDirection | None = None
    hub_to_arch_mm: dict[str, Taped] = field(default_factory=dict)
    hub_differs_within: float | None = None
    hose_on: dict[str, str] = field(default_factory=dict)
    hose_leads_away: bool = False
    radius_mm: dict[str, float] = field(default_factory=dict)
    stud: dict[str, KnownDirection] = field(default_factory=dict)
    link: Taped | None = None
    dof: dict[str, float] = field(default_factory=dict)
    second_state: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        size = 3 * len(self.names)
        if np.shape(self.positions_mm) != (len(self.names), 3):
            raise ValueError("positions_mm must be (number of names, 3)")
        if any(np.shape(c) != (size, size) for c in self.sources.values()):
            raise ValueError(f"every source's covariance must be ({size}, {size})")
        unknown = [n for n in self.names if n.removesuffix("_second") not in _KNOWN]
        if unknown or len(set(self.names)) < len(self.names):
            raise ValueError(f"no such point, or one twice: {', '.join(unknown or self.names)}; there are"
                             f" {', '.join(sorted(_KNOWN))}")
        for source, covariance in self.sources.items():
            c = np.asarray(covariance, float)
            scale = max(float(np.abs(c).max(initial=0.0)), 1e-12)
            if not np.isfinite(c).all() or np.abs(c - c.T).max(initial=0.0) > 1e-6 * scale \
                    or np.linalg.eigvalsh(c).min(initial=0.0) < -1e-6 * scale:
                raise ValueError(f"{source}: no covariance: it must be finite, symmetric and not negative")
        for what, keys, known in (("radius_mm", self.radius_mm, _THICK), ("stud", self.stud, _STUDS),
                                  ("hose_on", self.hose_on, _HOSES)):
            wrong = sorted(set(keys) - set(known))
            if wrong:
                raise ValueError(f"{what}: no such key: {', '.join(wrong)}; there are {', '.join(known)}")
        if self.link_foot_on not in FEET:
            raise ValueError(f"link_foot_on must be one of {FEET}")
        if not set(self.hose_on.values()) <= set(_BODIES):
            raise ValueError(f"hose points ride on one of {_BODIES}")
        missing = [n for n in NEEDED if n not in self.names]
        if missing or not set(PIVOTS) & set(self.names):
            raise ValueError(f"the linkage needs {', '.join(missing or ['an arm pivot'])}")

    @property
    def given(self) -> tuple[str, ...]:
        """Names of the points that were measured."""
        return self.names

    @property
    def source_names(self) -> tuple[str, ...]:
        """Everything that a figure's budget may name."""
        extra = [BAR_AXIS] if "bar_bush_far" not in self.names else []
        if not set(PIVOTS) <= set(self.names):
            extra.append(ARM_AXIS)
        extra += [TAPE] if self.hub_to_arch_mm else []
        extra += [not_given.KNUCKLE] + ([not_given.HUB_AT] if HUB not in self.names else [])
        extra += [LINK] if self.link is not None else []
        extra += [not_given.STUD]
        extra += [not_given.HOSE, not_given.RADIUS] if any(n.startswith("hose") for n in self.names) else []
        return tuple(self.sources) + tuple(extra)

    def nominal(self) -> Layout:
        """Layout with every input at its estimate; leading axes (1, 1)."""
        return self._layout(Draw(1, 0, only=()))

    def sample(self, n: int, seed: int = 1, only: str | None = None) -> Layout:
        """n samples of everything (JCGM 101): Layout with leading axes (n, 1).

        seed: the same seed gives the same samples; only: the name of one source, all others at their
        estimates.
        """
        return self._layout(Draw(n, seed, None if only is None else (only,)))

    def _layout(self, draw: Draw) -> Layout:
        n, points = draw.n, np.asarray(self.positions_mm, float)
        change = np.zeros((n, points.size))
        for source, covariance in self.sources.items():
            change += draw.normal(source, covariance, self.dof.get(source))
        at = {name: (points[k] + change[:, 3 * k:3 * k + 3])[:, None]
              for k, name in enumerate(self.names)}
        if "bar_bush_far" in at:
            bar = unit(at["bar_bush_far"] - at[BAR_BUSH])
        else:
            bar = draw.direction(BAR_AXIS, self.bar_axis or KnownDirection.within([0, 1, 0], BAR_AXIS_DEG))
        if ARM_PIVOT_FRONT in at and ARM_PIVOT_REAR in at:
            arm = unit(at[ARM_PIVOT_FRONT] - at[ARM_PIVOT_REAR])
        else:
            arm = draw.direction(ARM_AXIS, self.arm_axis or KnownDirection.within([1, 0, 0], ARM_AXIS_DEG))
        # left and forward are positive, whichever way the two points were named
        bar = bar * np.where(bar[..., 1:2] < 0, -1.0, 1.0)
        arm = arm * np.where(arm[..., 0:1] < 0, -1.0, 1.0)
        arch = {
            state: draw.scalar(TAPE, t.value_mm, t.u_mm)
            for state, t in sorted(self.hub_to_arch_mm.items())
        }
        if self.state not in arch and HUB in at and ARCH_LIP in at:
            arch[self.state] = (at[ARCH_LIP] - at[HUB])[..., 2]
        out = outboard(at[ARM_BALL_JOINT], at)
        at = not_given.with_hub(draw, at, out)
        top = not_given.knuckle(draw, at, arm, out, self.link_foot_on, self.hub_differs_within)
        known = {k: draw.direction(not_given.STUD, d) for k, d in sorted(self.stud.items())}
        link = None if self.link is None else draw.scalar(LINK, self.link.value_mm, self.link.u_mm)
        return Layout(at | top.points, bar, arm, self.link_foot_on, self.state, arch,
                      stud=not_given.studs(draw, known, at), knuckle_turn=top.turn,
                      steer_rate=top.steer_rate, upper_axis=top.upper_axis, link_mm=link,
                      radius_mm=not_given.radii(draw, self.radius_mm),
                      hose=not_given.hose(draw, self.hose_on, self.hose_leads_away),
                      second_state=self.second_state)


def outboard(ball: Array, at: Mapping[str, Array]) -> float:
    """Which way is out of the car at a corner: 1 to the left, -1 to the right."""
    pivot = next(at[n] for n in PIVOTS if n in at)
    return -1.0 if np.mean(ball[..., 1] - pivot[..., 1]) < 0 else 1.0


def turn_lever(positions_mm: Array) -> Array:
    """Matrix (3 n, 3): how points (n, 3) of a corner's frame shift, mm, by a small turn (rad, in that frame)
    of the frame.

    A frame turned by w sees the points turned by -w: their shift is p x w.
    """
    return np.concatenate([hat(p) for p in positions_mm]) if len(positions_mm) else np.zeros((0, 3))
