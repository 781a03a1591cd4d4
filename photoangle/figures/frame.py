"""What a state's figures are functions of: named points, up, the chassis's axes, the bar's own axis, with all
their errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.arrays import Array
from photoangle.core.estimate import Estimate
from photoangle.core.roles import PIVOTS
from photoangle.geometry.bar_axis import BarDirection, bar_as_built
from photoangle.geometry.datums import TURN, Axes, Direction, still
from photoangle.geometry.joints import Points
from photoangle.geometry.states import StateResult

# Half the width of the differences: far above rounding, far below what bends a figure.
STEP_MM, STEP_RAD = 1e-3, 1e-5


@dataclass(frozen=True)
class Frame:
    """One set of values that figures are computed from, in the scene's world.

    at: point's name -> (3,) mm; up: (3,) or None; axes: the chassis's (3, 3), columns forward, left, up, or
    None; ahead: (3,) forward or None; bar_axis: (3,) or None.
    """

    at: dict[str, Array]
    up: Array | None
    axes: Array | None
    ahead: Array | None
    bar_axis: Array | None

    def has(self, *names: str) -> bool:
        return all(n in self.at for n in names)

    def vertical(self, datum: str | None) -> Array | None:
        """Up by a datum: "gravity" or "chassis"; None where it is not known."""
        if datum == "chassis":
            return None if self.axes is None else self.axes[:, 2]
        return self.up

    @property
    def pivot(self) -> Array | None:
        """The middle of the control arm's pivots, or the one there is."""
        both = [self.at[n] for n in PIVOTS if n in self.at]
        return np.mean(both, axis=0) if both else None

    @property
    def arm_axis(self) -> Array | None:
        """The control arm's pivot axis, forward; the chassis's own forward where only one pivot is known."""
        return self.at[PIVOTS[0]] - self.at[PIVOTS[1]] if self.has(*PIVOTS) else self.ahead


@dataclass(frozen=True)
class FrameEstimate:
    """The frame's values as one Estimate, and the way from values to a Frame.

    estimate: coordinates of the points (mm), then small turns (rad) of up, of the axes, of the bar's axis.
    """

    points: Points
    up: Direction | None
    axes: Axes | None
    lateral: Axes | None
    bar: BarDirection | None
    estimate: Estimate

    @classmethod
    def of(cls, state: StateResult) -> FrameEstimate:
        """Of a geometry.states.StateResult."""
        points, up, axes = state.points, state.up, state.axes
        # without the chassis's own axes, forward and the bar's side are taken from the sill and the plumb
        lateral = axes or state.lateral
        bar = state.bar_axis
        if bar is None and lateral is not None:
            built = bar_as_built(lateral, state.scene.origin)
            # what turns the axes turns the bar that lies along one of them
            bar = type(built)(built.vector, built.turn.plus(lateral.turn))
        turns = (("up", up), ("axes", lateral), ("bar", bar))
        parts = [(still() if d is None else d.turn).named(tuple(f"{name} {t}" for t in TURN))
                 for name, d in turns]
        return cls(points, up, axes, lateral, bar, points.estimate.join(*parts))

    @property
    def steps(self) -> Array:
        """Half widths of differences for each of the estimate's values."""
        n = 3 * len(self.points.names)
        return np.where(np.arange(n + 9) < n, STEP_MM, STEP_RAD)

    def frame(self, values: Array) -> Frame:
        """The Frame of the estimate's values (3 n + 9,)."""
        n = 3 * len(self.points.names)
        up, axes, bar = (rotation_from_vector(values[n + 3 * k:n + 3 * k + 3]) for k in range(3))
        return Frame(
            dict(zip(self.points.names, values[:n].reshape(-1, 3), strict=True)),
            None if self.up is None else up @ self.up.vector,
            None if self.axes is None else axes @ self.axes.axes,
            None if self.lateral is None else axes @ self.lateral.axes[:, 0],
            None if self.bar is None else bar @ self.bar.vector)

    @property
    def nominal(self) -> Frame:
        """The Frame of the best values."""
        return self.frame(self.estimate.values)
