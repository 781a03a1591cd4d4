"""One wheel's corner as it was measured: named points, axes, taped scalars, and their samples.

Everything is in the chassis frame (x forward, y left, z up; level as at ride height), millimetres.
How well that frame is known belongs into the points' covariance, by `turn_lever`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from calib.poses import hat, rotation_from_vector
from photoangle.core.arrays import Array
from photoangle.core.assumed import ARM_AXIS_DEG, BAR_AXIS_DEG, HUB_DIFFERS_WITHIN
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
from photoangle.linkage.kinematics.layout import FEET, Layout
from photoangle.linkage.kinematics.turning import unit

NEEDED = (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_BALL_JOINT)
_BODIES = ("chassis", "mid", "knuckle")
ROOT3 = math.sqrt(3)
# Sources that are not the points' own
BAR_AXIS, ARM_AXIS, TAPE, STUD = "bar axis", "arm axis", "hub to arch", "stud"
HUB_SHARE, LINK, HOSE = "hub against ball joint", "taped link", "hose"


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
    the hub's rise against the ball joint's, as a share.  hose_on: hose point -> "chassis", "mid" or "knuckle"
    (where it is not said and the point was measured once, it may be anything between); second_state: the
    state that points named hose_a_second and so on were measured in; radius_mm: "eye", "link", "hose"; stud:
    "bar_eye", "link_foot" -> KnownDirection; link: the link as taped, in place of its joints' distance; dof:
    source -> degrees of freedom of its covariance.
    Raises ValueError for shapes that do not fit, unknown carriers and missing points.
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
    hub_differs_within: float = HUB_DIFFERS_WITHIN
    hose_on: dict[str, str] = field(default_factory=dict)
    radius_mm: dict[str, float] = field(default_factory=dict)
    stud: dict[str, KnownDirection] = field(default_factory=dict)
    link: Taped | None = None
    dof: dict[str, float] = field(default_factory=dict)
    second_state: str | None = None

    def __post_init__(self) -> None:
        size = 3 * len(self.names)
        if np.shape(self.positions_mm) != (len(self.names), 3):
            raise ValueError("positions_mm must be (number of names, 3)")
        if any(np.shape(c) != (size, size) for c in self.sources.values()):
            raise ValueError(f"every source's covariance must be ({size}, {size})")
        if self.link_foot_on not in FEET:
            raise ValueError(f"link_foot_on must be one of {FEET}")
        if not set(self.hose_on.values()) <= set(_BODIES):
            raise ValueError(f"hose points ride on one of {_BODIES}")
        missing = [n for n in NEEDED if n not in self.names]
        if missing or not set(PIVOTS) & set(self.names):
            raise ValueError(f"the linkage needs {', '.join(missing or ['an arm pivot'])}")

    @property
    def source_names(self) -> tuple[str, ...]:
        """Everything that a figure's budget may name."""
        extra = [BAR_AXIS] if "bar_bush_far" not in self.names else []
        if not set(PIVOTS) <= set(self.names):
            extra.append(ARM_AXIS)
        extra += [TAPE] if self.hub_to_arch_mm else []
        extra += [HUB_SHARE] if self.nominal().knuckle_by is None else []
        extra += [LINK] if self.link is not None else []
        extra += [STUD] if self.stud else []
        extra += [HOSE] if any(n.startswith("hose") for n in self.names) else []
        return tuple(self.sources) + tuple(extra)

    def nominal(self) -> Layout:
        """Layout with every input at its estimate; leading axes (1, 1)."""
        return self._layout(_Draw(1, 0, only=()))

    def sample(self, n: int, seed: int = 1, only: str | None = None) -> Layout:
        """n samples of everything (JCGM 101): Layout with leading axes (n, 1).

        seed: the same seed gives the same samples; only: the name of one source, all others at their
        estimates.
        """
        return self._layout(_Draw(n, seed, None if only is None else (only,)))

    def _layout(self, draw: _Draw) -> Layout:
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
        share = 1 + draw.rectangular(HUB_SHARE, self.hub_differs_within)
        stud = {k: draw.direction(STUD, d) for k, d in sorted(self.stud.items())}
        link = None if self.link is None else draw.scalar(LINK, self.link.value_mm, self.link.u_mm)
        return Layout(at, bar, arm, share, self.link_foot_on, self.state, arch, stud, link,
                      0.5 + draw.rectangular(HOSE, 0.5), draw.scalar(HOSE, 0.0, 1.0), self.second_state)


class _Draw:
    """Random numbers, a stream of their own for each source, so that one source can be drawn alone."""

    def __init__(self, n: int, seed: int, only: tuple[str, ...] | None) -> None:
        self.n, self.seed, self.only = n, seed, only
        self.streams: dict[str, np.random.Generator] = {}

    def _stream(self, source: str) -> np.random.Generator | None:
        if self.only is not None and source not in self.only:
            return None
        if source not in self.streams:
            key = [self.seed, *source.encode()]
            self.streams[source] = np.random.default_rng(key)
        return self.streams[source]

    def normal(self, source: str, covariance: Array, dof: float | None = None) -> Array:
        stream = self._stream(source)
        if stream is None:
            return np.zeros((self.n, len(covariance)))
        values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
        root = vectors * np.sqrt(np.maximum(values, 0))
        out: Array = stream.standard_normal((self.n, len(covariance))) @ root.T
        if dof is not None and dof < 1000:
            # few degrees of freedom: a t distribution (JCGM 101, 6.4.9)
            out *= np.sqrt(dof / stream.chisquare(dof, self.n))[:, None]
        return out

    def scalar(self, source: str, value: float, u: float) -> Array:
        return value + self.normal(source, np.array([[u * u]]))

    def rectangular(self, source: str, half: float) -> Array:
        stream = self._stream(source)
        return np.zeros((self.n, 1)) if stream is None else stream.uniform(-half, half, (self.n, 1))

    def either_way(self, source: str) -> Array:
        """(n, 1) of 1 and -1, as likely one as the other; their mean, 0, where nothing is drawn, and 1 where
        another source is drawn alone."""
        stream = self._stream(source)
        if stream is None:
            return np.full((self.n, 1), 1.0 if self.only else 0.0)
        return stream.choice([-1.0, 1.0], (self.n, 1))

    def direction(self, source: str, direction: KnownDirection) -> Array:
        turn = rotation_from_vector(self.normal(source, np.asarray(direction.turn_cov, float)))
        out: Array = (turn @ unit(direction.vector))[:, None]
        return out


def turn_lever(positions_mm: Array) -> Array:
    """Matrix (3 n, 3): how points (n, 3) of a corner's frame shift, mm, by a small turn (rad, in that frame)
    of the frame.

    A frame turned by w sees the points turned by -w: their shift is p x w.
    """
    return np.concatenate([hat(p) for p in positions_mm]) if len(positions_mm) else np.zeros((0, 3))
