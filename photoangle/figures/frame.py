"""What a state's figures are functions of: named points, up, the chassis's axes, the bar's own axis, with all
their errors."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.arrays import Array
from photoangle.core.assumed import ARM_AXIS_DEG, EYE_RADIUS_MM, HOSE_RADIUS_MM, PIVOTS_APART_MM, Assumed
from photoangle.core.estimate import Estimate, Source
from photoangle.core.roles import BAR_EYE, PIVOTS
from photoangle.geometry.bar_axis import BarDirection, bar_as_built
from photoangle.geometry.datums import TURN, Axes, Direction, still
from photoangle.geometry.joints import Points
from photoangle.geometry.states import StateResult

# Half the width of the differences: far above rounding, far below what bends a figure.
STEP_MM, STEP_RAD = 1e-3, 1e-5
# Half the thickness of what comes near the hose: name -> what it may be where nobody measured it, mm.
RADII = {BAR_EYE: EYE_RADIUS_MM, "hose": HOSE_RADIUS_MM}


@dataclass(frozen=True)
class Frame:
    """One set of values that figures are computed from, in the scene's world.

    at: point's name -> (3,) mm; up: (3,) or None; axes: the chassis's (3, 3), columns forward, left, up, or
    None; bar_axis: (3,) or None; arm_axis: (3,) the control arm's pivot axis, forward, or None; pivot: (3,)
    the middle of its pivots, or None; radius_mm: of "bar_eye" and "hose", measured or taken.
    """

    at: dict[str, Array]
    up: Array | None
    axes: Array | None
    ahead: Array | None
    bar_axis: Array | None
    arm_axis: Array | None = None
    pivot: Array | None = None
    radius_mm: dict[str, float] = field(default_factory=dict)

    def vertical(self, datum: str | None) -> Array | None:
        """Up by a datum: "gravity" or "chassis"; None where it is not known."""
        if datum == "chassis":
            return None if self.axes is None else self.axes[:, 2]
        return self.up


@dataclass(frozen=True)
class FrameEstimate:
    """The frame's values as one Estimate, and the way from values to a Frame.

    estimate: coordinates of the points (mm), then small turns (rad) of up, of the axes, of the bar's axis,
    then the radii (mm), then how far the middle of the pivots lies from the one that was seen (mm) and a
    small turn (rad) of the arm's axis from the chassis's forward: both count where one pivot alone was seen.
    """

    points: Points
    up: Direction | None
    axes: Axes | None
    lateral: Axes | None
    bar: BarDirection | None
    estimate: Estimate
    pitch_between_deg: tuple[float, float]

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
        return cls(points, up, axes, lateral, bar,
                   points.estimate.join(*parts, _radii(state), _unseen_pivot(state)), state.pitch_between_deg)

    @property
    def steps(self) -> Array:
        """Half widths of differences for each of the estimate's values."""
        n = 3 * len(self.points.names)
        groups = ((n, STEP_MM), (9, STEP_RAD), (len(RADII) + 1, STEP_MM), (3, STEP_RAD))
        return np.concatenate([np.full(count, step) for count, step in groups])

    def frame(self, values: Array) -> Frame:
        """The Frame of the estimate's values (3 n + 15,)."""
        n = 3 * len(self.points.names)
        up, axes, bar = (rotation_from_vector(values[n + 3 * k:n + 3 * k + 3]) for k in range(3))
        radii, (apart, *lean) = np.split(values[n + 9:], [len(RADII)])
        at = dict(zip(self.points.names, values[:n].reshape(-1, 3), strict=True))
        ahead = None if self.lateral is None else axes @ self.lateral.axes[:, 0]
        arm_axis, pivot = _arm(at, ahead, apart, np.array(lean))
        return Frame(
            at, None if self.up is None else up @ self.up.vector,
            None if self.axes is None else axes @ self.axes.axes, ahead,
            None if self.bar is None else bar @ self.bar.vector, arm_axis, pivot,
            dict(zip(RADII, radii, strict=True)))

    @property
    def nominal(self) -> Frame:
        """The Frame of the best values."""
        return self.frame(self.estimate.values)


def _radii(state: StateResult) -> Estimate:
    """Radii of the bar's end and of the hose, mm: as given, else anything between what is usual."""
    given = state.notes.radius_mm
    parts = []
    for name, (low, high) in RADII.items():
        spread = (high - low) ** 2 / 12
        # one hose and one bar's end in all states of a corner
        assumed = Assumed("EYE_RADIUS_MM") if name == BAR_EYE else Assumed("HOSE_RADIUS_MM", "its markers")
        unknown = Source(("radius", state.scene.origin.corner, name), "radius not given",
                         np.array([[spread]]), assumed=assumed)
        value, source = (given[name], None) if name in given else ((low + high) / 2, unknown)
        parts.append(Estimate.stated((f"radius {name}",), [value], source))
    return parts[0].join(*parts[1:])


def _unseen_pivot(state: StateResult) -> Estimate:
    """What one pivot alone leaves open: how far along the axis the middle of both lies, mm, and how the axis
    lies to the chassis's forward (small turn, rad).  Nothing where both were seen."""
    names = ("pivots apart", "arm axis x", "arm axis y", "arm axis z")
    seen = [n for n in PIVOTS if n in state.points]
    if len(seen) != 1:
        return Estimate.stated(names, np.zeros(4))
    low, high = (v / 2 for v in PIVOTS_APART_MM)
    # the middle lies behind the front pivot, and before the rear one
    sign = -1 if seen == [PIVOTS[0]] else 1
    spread = np.diag([(high - low) ** 2 / 12, *np.full(3, math.radians(ARM_AXIS_DEG) ** 2)])
    other = Source(("other pivot", state.scene.origin.corner), "other pivot not seen", spread,
                   assumed=Assumed("PIVOTS_APART_MM"))
    return Estimate.stated(names, [sign * (low + high) / 2, 0, 0, 0], other)


def _arm(at: dict[str, Array], ahead: Array | None, apart_mm: float,
         lean: Array) -> tuple[Array | None, Array | None]:
    """(the control arm's axis, the middle of its pivots) by both pivots, or by one and what is usual."""
    seen = [at[n] for n in PIVOTS if n in at]
    if len(seen) == 2:
        return seen[0] - seen[1], (seen[0] + seen[1]) / 2
    if not seen:
        return ahead, None
    if ahead is None:
        return None, None
    axis = rotation_from_vector(lean) @ ahead
    return axis, seen[0] + apart_mm * axis
