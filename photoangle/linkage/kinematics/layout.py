"""A corner as arrays: what the mechanics is computed from, one sample or many at once."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.roles import PIVOTS
from photoangle.core.states import DROOP
from photoangle.linkage.kinematics.turning import unit

FEET = ("control arm", "strut", "knuckle")


@dataclass(frozen=True)
class Layout:
    """Joint centres and axes at the state they were measured in (the reference state).

    Chassis frame (x forward, y left, z up), mm.  Every array has the same leading axes ``...``, normally
    (samples, 1) so that steps of the travel broadcast along the second.

    at: name -> (..., 3); bar_axis, arm_axis: unit vectors (..., 3); hub_share (...): the hub's rise over the
    ball joint's, where the knuckle is not modelled; foot_on: one of FEET; hub_to_arch_mm: state -> (...);
    stud: "bar_eye", "link_foot" -> (..., 3) unit vectors where known; link_mm: the link's own length (...),
    or None for the distance of its joints.  hose_share, hose_wander, second_state: see `linkage.hose`.
    """

    at: dict[str, Array]
    bar_axis: Array
    arm_axis: Array
    hub_share: Array
    foot_on: str = "control arm"
    state: str = DROOP
    hub_to_arch_mm: dict[str, Array] = field(default_factory=dict)
    stud: dict[str, Array] = field(default_factory=dict)
    link_mm: Array | None = None
    hose_share: Array | float = 0.5
    hose_wander: Array | float = 0.0
    second_state: str | None = None

    @property
    def second_rise_mm(self) -> Array | None:
        """The hub's rise (...) from the reference state to the one whose hose points are known too, or
        None."""
        arch = self.hub_to_arch_mm
        if self.second_state in arch and self.state in arch:
            return arch[self.state] - arch[self.second_state]
        return None

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
    def upper_axis(self) -> Array:
        """The upper arm's pivot axis, from its two pivots; the lower one's direction where one is known."""
        if "upper_pivot_rear" in self.at:
            return unit(self.at["upper_pivot_front"] - self.at["upper_pivot_rear"])
        return self.arm_axis

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
                       hub_share=cut(self.hub_share),
                       hub_to_arch_mm={k: cut(v)
                                       for k, v in self.hub_to_arch_mm.items()},
                       stud={k: cut(v)
                             for k, v in self.stud.items()},
                       link_mm=None if self.link_mm is None else cut(self.link_mm),
                       hose_share=cut(self.hose_share),
                       hose_wander=cut(self.hose_wander))
