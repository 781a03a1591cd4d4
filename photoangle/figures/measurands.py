"""The table of measurands: each quantity once, as the photos give it and as a tape does.

A row says what the quantity is (a function of a `frame.Frame`), what it needs, and how tape readings come to
the same quantity.  A tape cannot see everything that a figure is about (how far a joint lies along its axis,
whether the other pivot is as high): a tape rule takes that from the photos' frame where there is one, and
from `core.assumed` otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Container
from dataclasses import dataclass

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.roles import (
    ARCH_LIP,
    ARM_BALL_JOINT,
    BAR_BUSH,
    BAR_EYE,
    HOSES,
    HUB,
    LINK_FOOT,
    PIVOTS,
    SILL_FRONT,
    SILL_REAR,
    SILLS,
)
from photoangle.figures.frame import Frame
from photoangle.figures.tape_rules import TapeRule, angle_rule, direct, held_upright, rise_rule
from photoangle.geometry.angles import angle_about, angle_between, elevation

DATUMS = ("gravity", "chassis")
# Functions of a frame: a line, an axis that may not be known, a quantity that may not be had.
# A part or an axis as a vector (3,), None where the frame does not know it.
Line = Callable[[Frame], Array | None]
Value = Callable[[Frame], float | None]


@dataclass(frozen=True)
class Measurand:
    """One quantity.

    name: as in the JSON; title: in words; unit: "deg" or "mm"; datum: "gravity", "chassis" or None; needs:
    points, "pivot" for either of the control arm's; value(Frame) -> number, None where it has none; tape: how
    readings come to it, or None.
    """

    name: str
    title: str
    unit: str
    datum: str | None
    needs: tuple[str, ...]
    value: Value
    tape: TapeRule | None = None

    @property
    def key(self) -> tuple[str, str | None]:
        return self.name, self.datum

    def known_from(self, points: Container[str]) -> bool:
        """Whether named points suffice."""
        return all(n in points or (n == "pivot" and any(p in points for p in PIVOTS)) for n in self.needs)

    def __reduce__(self) -> tuple[Callable[..., Measurand], tuple[str, str | None]]:
        """Pickled as its row of the table: its functions are code, not data."""
        return row_of, self.key


_ARM = (BAR_BUSH, BAR_EYE)
_LINK = (LINK_FOOT, BAR_EYE)
_CONTROL = (ARM_BALL_JOINT, "pivot")


def _bar_arm(f: Frame) -> Array:
    return f.at[BAR_EYE] - f.at[BAR_BUSH]


def _link(f: Frame) -> Array:
    return f.at[BAR_EYE] - f.at[LINK_FOOT]


def _control_arm(f: Frame) -> Array | None:
    return None if f.pivot is None else f.at[ARM_BALL_JOINT] - f.pivot


def _sill(f: Frame) -> Array:
    return f.at[SILL_FRONT] - f.at[SILL_REAR]


def _length(line: Line) -> Value:
    def value(f: Frame) -> float | None:
        vector = line(f)
        return None if vector is None else float(np.linalg.norm(vector))

    return value


def _lever(f: Frame) -> float | None:
    """Distance of the eye from the bar's axis."""
    if f.bar_axis is None:
        return None
    arm = _bar_arm(f)
    return float(np.linalg.norm(arm - f.bar_axis * (arm @ f.bar_axis)))


def _elevation(line: Line, datum: str | None) -> Value:
    def value(f: Frame) -> float | None:
        vector, up = line(f), f.vertical(datum)
        return None if vector is None or up is None else elevation(vector, up)

    return value


def _angle(line: Line, axis: Line, datum: str | None) -> Value:
    def value(f: Frame) -> float | None:
        vector, about, up = line(f), axis(f), f.vertical(datum)
        return None if vector is None or about is None or up is None else angle_about(vector, about, up)

    return value


def _bar_axis(f: Frame) -> Array | None:
    return f.bar_axis


def _arm_axis(f: Frame) -> Array | None:
    return f.arm_axis


def _hub_to_arch(f: Frame) -> float | None:
    """Along the chassis's vertical; against gravity where no chassis datum is known."""
    up = f.vertical("chassis" if f.axes is not None else "gravity")
    return None if up is None else float((f.at[ARCH_LIP] - f.at[HUB]) @ up)


def _gap(hose: str) -> Value:
    """From the bar's end to the hose's face: radii taken off, those measured and those taken."""
    return lambda f: float(np.linalg.norm(f.at[BAR_EYE] - f.at[hose])) - sum(f.radius_mm.values())


def _against(datum: str) -> list[Measurand]:
    """The angles against one datum.  A tape's heights are over a level line: only against gravity."""
    level = datum == "gravity"
    return [
        Measurand("bar_arm_elevation", "bar arm as a line", "deg", datum, _ARM, _elevation(_bar_arm, datum)),
        Measurand("bar_arm_angle", "bar arm angle", "deg", datum, _ARM, _angle(_bar_arm, _bar_axis, datum),
                  angle_rule((BAR_BUSH,), BAR_EYE, "bar_arm_length", _bar_axis) if level else None),
        Measurand("link_elevation", "drop link", "deg", datum, _LINK, _elevation(_link, datum),
                  rise_rule(LINK_FOOT, BAR_EYE, "link_length") if level else None),
        Measurand("control_arm_elevation", "control arm as a line", "deg", datum, _CONTROL,
                  _elevation(_control_arm, datum)),
        Measurand("control_arm_angle", "control arm angle", "deg", datum, _CONTROL,
                  _angle(_control_arm, _arm_axis, datum),
                  angle_rule(PIVOTS, ARM_BALL_JOINT, "control_arm_length", _arm_axis) if level else None),
    ]


def measurands() -> list[Measurand]:
    """The whole table."""
    rows = [
        Measurand("bar_arm_length", "bar arm length", "mm", None, _ARM, _length(_bar_arm),
                  direct("bar_arm_length")),
        Measurand("bar_lever", "bar's lever", "mm", None, _ARM, _lever, direct("bar_lever")),
        Measurand("link_length", "link length", "mm", None, _LINK, _length(_link), direct("link_length")),
        Measurand("control_arm_length", "control arm length", "mm", None, _CONTROL, _length(_control_arm),
                  direct("control_arm_length")),
        Measurand("bar_to_link_angle", "bar arm to link", "deg", None, _ARM + _LINK,
                  lambda f: angle_between(-_bar_arm(f), -_link(f))),
        Measurand("sill_slope", "sill, nose up", "deg", "gravity", SILLS, _elevation(_sill, "gravity")),
    ]
    for datum in DATUMS:
        rows += _against(datum)
    rows.append(Measurand("hub_to_arch", "hub to arch", "mm", None, (HUB, ARCH_LIP), _hub_to_arch,
                          held_upright("hub_to_arch", HUB, ARCH_LIP)))
    rows += [
        Measurand(f"hose_gap_{h[-1]}", f"eye to hose {h[-1].upper()}", "mm", None, (BAR_EYE, h),
                  _gap(h), direct(f"hose_gap_{h[-1]}")) for h in HOSES
    ]
    return rows


def row_of(name: str, datum: str | None) -> Measurand:
    """The row of a name and a datum.  Raises KeyError."""
    return _ROWS[name, datum]


_ROWS = {m.key: m for m in measurands()}
TITLES = {m.name: m.title for m in _ROWS.values()}
