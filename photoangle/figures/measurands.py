"""Figures: angles, lengths and gaps with their uncertainty and its sources.

Every figure is a function of named points, of up, and of the chassis axes; its uncertainty follows by central
differences (JCGM 100, 5.1), source by source, and its degrees of freedom by Welch and Satterthwaite.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.figure import make_figure

# The bar runs straight across the car by its build (common practice, no source), within about this.
BAR_AXIS_DEG = 1.0
_END_ON = math.cos(math.radians(80))


@dataclass(frozen=True)
class Frame:
    """What figures are computed from: points name -> (3,), up (3,) or None, chassis axes (3, 3) or None,
    lateral: axes by which the plane of the bar's turning is known, and the bar's own axis (3,)."""

    at: dict
    up: np.ndarray | None
    axes: np.ndarray | None
    bar_axis: np.ndarray | None
    ahead: np.ndarray | None

    def has(self, *names):
        return all(n in self.at for n in names)


def _unit(v):
    return v / np.linalg.norm(v)


def elevation(line, up):
    """asin of the rise over the length, deg."""
    return math.degrees(math.asin(np.clip(line @ up / np.linalg.norm(line), -1, 1)))


def angle_about(line, axis, up):
    """Angle of a line against level in the plane square to ``axis``, deg within +-90, up positive.

    None where the line is seen nearly end-on in that plane, or the axis stands upright.
    """
    axis = _unit(axis)
    rise = up - axis * (up @ axis)
    if np.linalg.norm(rise) < 0.2:
        return None
    rise = _unit(rise)
    level = np.cross(axis, rise)
    flat = line - axis * (line @ axis)
    if np.linalg.norm(flat) < _END_ON * np.linalg.norm(line):
        return None
    return math.degrees(math.atan2(flat @ rise, abs(flat @ level)))


def _bar_arm(f):
    return f.at["bar_eye"] - f.at["bar_bush"]


def _pivot(f):
    both = [f.at[n] for n in ("arm_pivot_front", "arm_pivot_rear") if n in f.at]
    return np.mean(both, axis=0) if both else None


def _control_arm(f):
    return f.at["arm_ball_joint"] - _pivot(f)


def _link(f):
    return f.at["bar_eye"] - f.at["link_foot"]


def _control_arm_axis(f):
    if f.has("arm_pivot_front", "arm_pivot_rear"):
        return f.at["arm_pivot_front"] - f.at["arm_pivot_rear"]
    return f.ahead


def _between(a, b):
    cosine = a @ b / np.linalg.norm(a) / np.linalg.norm(b)
    return math.degrees(math.acos(np.clip(cosine, -1, 1)))


def _lever(f):
    if f.bar_axis is None:
        return None
    arm = _bar_arm(f)
    return float(np.linalg.norm(arm - f.bar_axis * (arm @ f.bar_axis)))


_ARM = ("bar_bush", "bar_eye")
_LINK = ("link_foot", "bar_eye")


def _definitions(radius_mm):
    """(name, datum or None, unit, needed roles, function of a Frame); function may return None."""
    rows = [
        ("bar_arm_length", None, "mm", _ARM, lambda f: np.linalg.norm(_bar_arm(f))),
        ("bar_lever", None, "mm", _ARM, _lever),
        ("link_length", None, "mm", _LINK, lambda f: np.linalg.norm(_link(f))),
        ("control_arm_length", None, "mm", ("arm_ball_joint", "pivot"),
         lambda f: np.linalg.norm(_control_arm(f))),
        ("bar_to_link_angle", None, "deg", _ARM + _LINK, lambda f: _between(-_bar_arm(f), -_link(f))),
        ("sill_slope", "gravity", "deg", ("sill_front", "sill_rear"),
         lambda f: None if f.up is None else elevation(f.at["sill_front"] - f.at["sill_rear"], f.up)),
    ]
    for datum in ("gravity", "chassis"):
        def up_of(f, datum=datum):
            if datum == "gravity":
                return f.up
            return None if f.axes is None else f.axes[:, 2]

        def lifted(make, up_of=up_of):
            return lambda f: None if up_of(f) is None else elevation(make(f), up_of(f))

        def turned(make, axis, up_of=up_of):
            def value(f):
                a = axis(f)
                return None if a is None or up_of(f) is None else angle_about(make(f), a, up_of(f))
            return value

        rows += [
            ("bar_arm_elevation", datum, "deg", _ARM, lifted(_bar_arm)),
            ("bar_arm_angle", datum, "deg", _ARM, turned(_bar_arm, lambda f: f.bar_axis)),
            ("link_elevation", datum, "deg", _LINK, lifted(_link)),
            ("control_arm_elevation", datum, "deg", ("arm_ball_joint", "pivot"), lifted(_control_arm)),
            ("control_arm_angle", datum, "deg", ("arm_ball_joint", "pivot"),
             turned(_control_arm, _control_arm_axis)),
        ]

    def arch(f):
        up = f.axes[:, 2] if f.axes is not None else f.up
        return None if up is None else (f.at["arch_lip"] - f.at["hub"]) @ up

    rows.append(("hub_to_arch", None, "mm", ("hub", "arch_lip"), arch))
    radii = [radius_mm.get("bar_eye"), radius_mm.get("hose")]
    less = sum(radii) if all(r is not None for r in radii) else 0.0
    for letter in "abc":
        name = f"hose_{letter}"
        rows.append((f"hose_gap_{letter}", None, "mm", ("bar_eye", name),
                     lambda f, name=name: np.linalg.norm(f.at["bar_eye"] - f.at[name]) - less))
    return rows


def measure_figures(points, up, axes, lateral, corner_name, state, scene_dof, radius_mm=None,
                    bar_axis=None, only=None):
    """All figures that the points allow.

    Parameters: points: joints.Points; up: datum.Direction or None; axes: chassis datum.Axes or None;
    lateral: datum.Axes by which the bar's axis and forward are taken where ``axes`` is None; radius_mm: radii of eye and
    hose; bar_axis: (unit vector, covariance (3, 3) of its
    small turn, rad) where the bar's own axis is known by motion; only: one (name, datum) in place of all.
    Returns a list of Figure.
    """
    out = []
    for name, datum, unit, value, slope, stack in _slopes(points, up, axes, lateral, radius_mm, bar_axis, only):
        shares = {source: float(slope @ c @ slope) for source, c in stack.sources.items()}
        out.append(make_figure(corner_name, state, name, datum, unit, value, shares, scene_dof))
    return out


def figure_slopes(points, up, axes, lateral, radius_mm=None, bar_axis=None):
    """The figures' values and derivatives, for whoever knows better how the errors hang together.

    Parameters as in `measure_figures`.  Returns a list of (name, datum, unit, value, slope); slope (3 n + 9,) by the
    points' coordinates (mm) and by small turns (rad) of up, of the axes and of the bar's axis.
    """
    return [row[:5] for row in _slopes(points, up, axes, lateral, radius_mm, bar_axis)]


def _slopes(points, up, axes, lateral, radius_mm, bar_axis, only=None):
    stack = _Stack(points, up, axes, axes or lateral, bar_axis)
    present = set(points.names)
    if present & {"arm_pivot_front", "arm_pivot_rear"}:
        present.add("pivot")
    for name, datum, unit, needs, function in _definitions(radius_mm or {}):
        if set(needs) <= present and only in (None, (name, datum)):
            found = stack.slope(function)
            if found is not None:
                yield name, datum, unit, *found, stack


class _Stack:
    """Points and directions as one vector of small changes, with a covariance for each source."""

    def __init__(self, points, up, axes, frame_axes, bar_axis):
        self.points, self.up, self.axes = points, up, axes
        self.frame_axes, self.bar_axis = frame_axes, bar_axis
        n = 3 * len(points.names)
        self.n = n
        self.size = n + 9  # up's turn, the axes' turn, the bar axis's own turn
        self.sources = {}
        for name, c in points.sources.items():
            self._add(name, slice(0, n), c)
        if up is not None:
            for name, c in up.sources.items():
                self._add(_shared_name(name, "level"), slice(n, n + 3), c)
        if frame_axes is not None:
            for name, c in frame_axes.sources.items():
                # without a chassis datum the axes hang on the same plumb as up
                where = "level" if axes is None else "chassis"
                self._add(_shared_name(name, where), slice(n + 3, n + 6), c)
            if axes is None and up is not None:
                self._couple(up)
        own = np.eye(3) * math.radians(BAR_AXIS_DEG) ** 2 if bar_axis is None else bar_axis[1]
        self._add("bar axis", slice(n + 6, n + 9), own)
        self.steps = np.where(np.arange(self.size) < n, 1e-3, 1e-5)
        self.middle = self.frame(np.zeros(self.size))
        self.around = [tuple(self.frame(sign * np.eye(self.size)[k] * self.steps[k])
                             for sign in (1, -1)) for k in range(self.size)]

    def _add(self, name, where, covariance):
        matrix = self.sources.setdefault(name, np.zeros((self.size, self.size)))
        matrix[where, where] += covariance

    def _couple(self, up):
        """The same error of the plumb turns up and the axes alike."""
        n = self.n
        for name, c in up.sources.items():
            matrix = self.sources[_shared_name(name, "level")]
            matrix[n:n + 3, n + 3:n + 6] += c
            matrix[n + 3:n + 6, n:n + 3] += c

    def frame(self, change):
        n = self.n
        at = self.points.positions_mm + change[:n].reshape(-1, 3)
        up = None if self.up is None else rotation_from_vector(change[n:n + 3]) @ self.up.vector
        turn = rotation_from_vector(change[n + 3:n + 6])
        axes = None if self.axes is None else turn @ self.axes.axes
        lateral = None if self.frame_axes is None else turn @ self.frame_axes.axes
        if self.bar_axis is not None:
            bar = self.bar_axis[0]
        else:
            bar = None if lateral is None else lateral[:, 1]
        if bar is not None:
            bar = rotation_from_vector(change[n + 6:]) @ bar
        return Frame(dict(zip(self.points.names, at)), up, axes, bar,
                     None if lateral is None else lateral[:, 0])

    def slope(self, function):
        """(value, derivatives (size,)) of a function of a Frame, or None where it has no value."""
        value = function(self.middle)
        if value is None:
            return None
        slope = np.zeros(self.size)
        for k, (above, below) in enumerate(self.around):
            high, low = function(above), function(below)
            if high is None or low is None:
                return None
            slope[k] = (high - low) / (2 * self.steps[k])
        return float(value), slope


def _shared_name(name, where):
    """Source names as the user reads them: what reaches a figure through the level, or the chassis."""
    return where if name in ("pixels", "lens", "print", "sticking", "stand-off", "plumb", "level") else name

