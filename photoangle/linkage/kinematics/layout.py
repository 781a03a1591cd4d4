"""A corner as arrays: what the mechanics is computed from, one sample or many at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.roles import PIVOTS
from photoangle.core.states import DROOP
from photoangle.linkage.kinematics.turning import unit

FEET = ("control arm", "strut", "knuckle")


@dataclass(frozen=True)
class KnuckleTurn:
    """How the knuckle turns where nothing that holds its top is known: by rate s + bend s^2 / 2 about the
    chassis's axes when its ball joint has risen by s.

    rate (..., 3), rad for each mm: camber, caster and steer; bend (...), rad / mm^2: of the camber.
    """

    rate: Array
    bend: Array

    def at(self, rise_mm: Array) -> Array:
        """Rotation vectors (..., 3), rad, at rises (...) of the ball joint."""
        camber = self.bend * rise_mm**2 / 2
        out: Array = self.rate * rise_mm[..., None]
        out = np.concatenate([out[..., :1] + camber[..., None], out[..., 1:]], -1)
        return out


@dataclass(frozen=True)
class HoseDraw:
    """What is not known of a brake hose, all with the layout's leading axes.

    share: point -> of the knuckle's movement that it follows; sway: point -> (..., 3), and to the sides of
    it, in standard uncertainties; wander: the same beyond two measured heights; bows: to the side of each
    piece (..., 3), in standard uncertainties; bends: for either end the rotation vectors (..., 3), rad, from
    one piece beyond it to the next; beyond (...): 1 where those pieces count, 0 where the hose leads away;
    along (..., 3): the direction of a hose of which one point alone is known.
    """

    share: dict[str, Array]
    sway: dict[str, Array]
    wander: Array
    bends: tuple[list[Array], list[Array]]
    bows: list[Array]
    beyond: Array
    along: Array

    def part(self, cut: Callable[[Array], Array]) -> HoseDraw:
        """Some of the samples, as ``cut`` takes them."""
        share, sway = ({k: cut(v) for k, v in of.items()} for of in (self.share, self.sway))
        bends = [cut(b) for b in self.bends[0]], [cut(b) for b in self.bends[1]]
        bows = [cut(b) for b in self.bows]
        return HoseDraw(share, sway, cut(self.wander), bends, bows, cut(self.beyond), cut(self.along))


@dataclass(frozen=True)
class Layout:
    """Joint centres and axes at the state they were measured in (the reference state).

    Chassis frame (x forward, y left, z up), mm.  Every array has the same leading axes ``...``, normally
    (samples, 1) so that steps of the travel broadcast along the second.

    at: name -> (..., 3); bar_axis, arm_axis: unit vectors (..., 3); knuckle_turn: the knuckle's turn where
    what holds its top is not known (None: it does not turn); steer_rate (...): rad of steering about the
    knuckle's line for each mm that its ball joint rises, where no tie rod is known; foot_on: one of FEET;
    hub_to_arch_mm: state -> (...); stud: "bar_eye", "link_foot" -> (..., 3) unit vectors where known;
    upper_axis: the upper arm's pivot axis (None: from its points, or the lower arm's); link_mm: the link's
    own length (...), or None for the distance of its joints; radius_mm: "eye", "link", "hose", "bar" -> half
    the thickness (...); hose, second_state: see `linkage.kinematics.hose`.
    """

    at: dict[str, Array]
    bar_axis: Array
    arm_axis: Array
    foot_on: str = "control arm"
    state: str = DROOP
    hub_to_arch_mm: dict[str, Array] = field(default_factory=dict)
    stud: dict[str, Array] = field(default_factory=dict)
    knuckle_turn: KnuckleTurn | None = None
    steer_rate: Array | float = 0.0
    upper_axis: Array | None = None
    link_mm: Array | None = None
    radius_mm: dict[str, Array] = field(default_factory=dict)
    hose: HoseDraw | None = None
    second_state: dict[str, str] = field(default_factory=dict)

    def second_rise_mm(self, name: str) -> Array | None:
        """The hub's rise (...) from the reference state to the other one in which a hose point was seen, or
        None."""
        arch, other = self.hub_to_arch_mm, self.second_state.get(name)
        return arch[self.state] - arch[other] if other in arch and self.state in arch else None

    @property
    def arm_origin(self) -> Array:
        """A point on the control arm's pivot axis, (..., 3)."""
        both = [self.at[n] for n in PIVOTS if n in self.at]
        return both[0] if len(both) == 1 else (both[0] + both[1]) / 2

    @property
    def knuckle_by(self) -> str | None:
        """What holds the knuckle's top: "upper arm", "strut", or None where it is not known."""
        if "upper_ball_joint" in self.at and "upper_pivot_front" in self.at:
            return "upper arm"
        return "strut" if "strut_top" in self.at else None

    @property
    def upper_pivots(self) -> Array:
        """The upper arm's pivot axis (..., 3): from its two pivots, else as it was given, else the lower
        arm's."""
        if "upper_pivot_rear" in self.at:
            return unit(self.at["upper_pivot_front"] - self.at["upper_pivot_rear"])
        return self.arm_axis if self.upper_axis is None else self.upper_axis

    def with_points(self, **points: Array) -> Layout:
        """The same layout with other points."""
        return replace(self, at=self.at | points)

    def part(self, rows: slice | Array) -> Layout:
        """Some of the samples: ``rows`` indexes the first axis."""
        def cut(value: Any) -> Any:
            return value[rows] if np.ndim(value) else value

        return replace(self,
                       at={k: cut(v)
                           for k, v in self.at.items()},
                       bar_axis=cut(self.bar_axis),
                       arm_axis=cut(self.arm_axis),
                       knuckle_turn=None if self.knuckle_turn is None else KnuckleTurn(
                           cut(self.knuckle_turn.rate), cut(self.knuckle_turn.bend)),
                       steer_rate=cut(self.steer_rate),
                       upper_axis=cut(self.upper_axis),
                       hub_to_arch_mm={k: cut(v)
                                       for k, v in self.hub_to_arch_mm.items()},
                       stud={k: cut(v)
                             for k, v in self.stud.items()},
                       link_mm=None if self.link_mm is None else cut(self.link_mm),
                       radius_mm={k: cut(v)
                                  for k, v in self.radius_mm.items()},
                       hose=None if self.hose is None else self.hose.part(cut))
