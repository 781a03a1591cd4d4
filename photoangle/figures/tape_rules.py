"""How tape readings come to a measurand: the same function of the same points, with what a tape cannot see
made up for.

Heights are over one level line, lengths from joint to joint.  What a tape cannot see (how far the outer joint
lies along the axis, how the axis climbs, how high a pivot is that was not taped) comes from the photos' frame
where it has it, and is otherwise an unknown of `core.assumed` with its spread.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from photoangle.carfile.lengths import Reading
from photoangle.core.arrays import Array
from photoangle.core.assumed import ALONG_AXIS_MM, AXIS_CLIMBS_DEG, PIVOT_HEIGHT_MM
from photoangle.core.estimate import Estimate, Source
from photoangle.core.roles import PIVOTS
from photoangle.figures.frame import STEP_MM, Frame, FrameEstimate
from photoangle.geometry.angles import unit

_ROOT3 = math.sqrt(3)
_VALUE = ("value",)
# Readings of one state by name; an axis by a frame, None where it is not known.
Readings = Mapping[str, Reading]
AxisOf = Callable[[Frame], Array | None]


@dataclass(frozen=True)
class TapedState:
    """Readings of one state: of: name -> carfile Reading (value_mm, u_mm); corner and state for the sources'
    keys."""

    of: Readings
    corner: str
    state: str

    def estimate(self, names: Sequence[str]) -> Estimate:
        """The named readings, mm, each with its own error."""
        parts = [Estimate.stated((n,), [self.of[n].value_mm], Source(
            ("tape", self.corner, self.state, n), "tape", np.array([[self.of[n].u_mm**2]]))) for n in names]
        return parts[0].join(*parts[1:])


@dataclass(frozen=True)
class TapeRule:
    """needs(readings) -> whether they suffice; value(TapedState, FrameEstimate or None) -> Estimate of the
    figure, named "value", or None where the readings cannot be; photo(FrameEstimate) -> Estimate of what a
    tape would read where that is not the figure itself."""

    needs: Callable[[Readings], bool]
    value: Callable[[TapedState, FrameEstimate | None], Estimate | None]
    photo: Callable[[FrameEstimate], Estimate] | None = None


def direct(name: str) -> TapeRule:
    """A length that a tape takes as it stands."""
    return TapeRule(lambda readings: name in readings, lambda taped, _: taped.estimate((name,)).named(_VALUE))


def held_upright(name: str, low: str, high: str) -> TapeRule:
    """A height between two points, taped without a plumb: anything from the vertical (of the chassis or of
    gravity) to the straight line, since nobody holds a tape truer than the eye tells."""
    def ways(frame: Frame, pitch_between_deg: tuple[float, float]) -> list[float]:
        line = frame.at[high] - frame.at[low]
        ups = [up for up in map(frame.vertical, ("gravity", "chassis")) if up is not None]
        if frame.axes is None and frame.up is not None and frame.ahead is not None:
            # the chassis's own vertical: pitched by what nobody read, back where the nose is up
            ups += [math.cos(p) * frame.up - math.sin(p) * unit(frame.ahead)
                    for p in map(math.radians, pitch_between_deg)]
        return [float(np.linalg.norm(line)), *(float(line @ up) for up in ups)]

    def photo(known: FrameEstimate) -> Estimate:
        between = known.pitch_between_deg
        every = ways(known.nominal, between)
        middle = known.estimate.map(
            lambda v: np.array([(min(w) + max(w)) / 2 for w in [ways(known.frame(v), between)]]), _VALUE,
            known.steps)
        held = Source(("tape held", name, known.points.origin.state), "how the tape was held",
                      np.array([[((max(every) - min(every)) / 2 / _ROOT3) ** 2]]))
        return middle.also(held, np.ones((1, 1)))

    return TapeRule(lambda readings: name in readings, lambda taped, _: taped.estimate(
        (name,)).named(_VALUE), photo)


def rise_rule(low: str, high: str, length: str) -> TapeRule:
    """asin of the rise over the length: the elevation of a line."""
    names = (f"{low}_height", f"{high}_height", length)

    def value(taped: TapedState, _: FrameEstimate | None) -> Estimate | None:
        readings = taped.estimate(names)
        z_low, z_high, along = readings.values
        if not abs(z_high - z_low) < along:
            return None
        return readings.map(lambda v: np.degrees([math.asin((v[1] - v[0]) / v[2])]), _VALUE, STEP_MM)

    return TapeRule(lambda readings: all(n in readings for n in names), value)


def angle_rule(inner: tuple[str, ...], outer: str, length: str, axis_of: AxisOf) -> TapeRule:
    """Angle of an arm against level in the plane square to its axis, from heights of its ends and its length.

    With L the length, h the rise of the outer end over the middle of the inner ones, a how far the outer end
    lies along the axis and s the sine of the axis's climb, the part of the arm square to the axis has the
    length sqrt(L^2 - a^2) and rises (h - a s) / sqrt(1 - s^2) in its plane: the angle is the asin of their
    ratio.
    """
    heights = tuple(f"{n}_height" for n in inner)
    end = f"{outer}_height"

    def needs(readings: Readings) -> bool:
        return any(h in readings for h in heights) and end in readings and length in readings

    def value(taped: TapedState, known: FrameEstimate | None) -> Estimate | None:
        there = [n for n in inner if known is None or n in known.points] or list(inner)
        read = [h for h in heights if h in taped.of]
        readings = taped.estimate((*read, end, length))
        unseen = _unseen(there, read, outer, axis_of, taped, known)
        n = len(read)

        def angle(v: Array) -> Array:
            z_outer, along = v[n], v[n + 1]
            offset, square, climb = v[n + 2:]
            rise = z_outer - (np.mean(v[:n]) + offset)
            flat = along**2 - abs(square)
            sine = (rise - math.copysign(math.sqrt(abs(square)), square) * climb) / math.sqrt(
                (1 - climb**2) * flat) if flat > 0 else 2.0
            return np.degrees([math.asin(sine)]) if abs(sine) < 1 else np.array([np.nan])

        whole = readings.join(unseen)
        if not math.isfinite(angle(whole.values)[0]):
            return None
        return whole.map(angle, _VALUE, [STEP_MM] * (n + 2) + [STEP_MM, 1.0, 1e-6])

    return TapeRule(needs, value)


def _unseen(there: Sequence[str], read: Sequence[str], outer: str, axis_of: AxisOf, taped: TapedState,
            known: FrameEstimate | None) -> Estimate:
    """What the heights and the length leave open, as an Estimate of three values: how much higher the middle
    of the inner joints is than the mean of those taped (mm); the square (mm^2) of how far the outer joint
    lies along the axis, signed as that is; and the sine of the axis's climb."""
    names = ("offset", "square", "climb")
    pivots = [h.removesuffix("_height") for h in read]

    def seen(frame: Frame) -> Array:
        axis, up = axis_of(frame), frame.up
        assert axis is not None and up is not None  # as in the nominal frame
        axis = unit(axis)
        middle = frame.pivot if set(there) <= set(PIVOTS) else frame.at[there[0]]
        assert middle is not None
        taped_at = np.mean([frame.at[n] for n in pivots], axis=0) if set(pivots) <= set(frame.at) else None
        along = float((frame.at[outer] - middle) @ axis)
        return np.array([
            0.0 if taped_at is None else float((middle - taped_at) @ up), along * abs(along),
            float(axis @ up)
        ])

    own = (taped.corner, taped.state, outer)
    if (known is not None and known.up is not None and outer in known.points
            and set(there) <= set(known.points.names) and axis_of(known.nominal) is not None):
        frame_of = known.frame
        out = known.estimate.map(lambda v: seen(frame_of(v)), names, known.steps)
        if set(pivots) <= set(known.points.names):
            return out
        spread = np.diag([PIVOT_HEIGHT_MM**2, 0, 0])
    else:
        # the mean and the spread of a square whose root has no preferred side
        out = Estimate.stated(names, [0.0, ALONG_AXIS_MM**2, 0.0])
        spread = np.diag([0.0 if set(there) == set(pivots) else PIVOT_HEIGHT_MM**2, 2 * ALONG_AXIS_MM**4,
                          math.sin(math.radians(AXIS_CLIMBS_DEG)) ** 2])
    return out.also(Source(("not taped", *own), "not taped", spread), np.eye(3))
