"""Tape readings beside the photos' figures: the tape's own figures, and E_n between the two."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.lengths import LengthError
from photoangle.core.agreement import e_n
from photoangle.core.figure import Figure
from photoangle.figures.triangles import angle_from_heights

# lengths that a tape takes as they stand
_DIRECT = ("hub_to_arch", "bar_arm_length", "control_arm_length", "link_length", "bar_lever",
           "hose_gap_a", "hose_gap_b", "hose_gap_c")
# angle: (lower end's height, upper end's height, length)
_ANGLES = {"bar_arm_angle": ("bar_bush_height", "bar_eye_height", "bar_arm_length"),
           "control_arm_angle": ("arm_pivot_front_height", "arm_ball_joint_height", "control_arm_length"),
           "link_elevation": ("link_foot_height", "bar_eye_height", "link_length")}
_K = 1.959964


@dataclass(frozen=True)
class Comparison:
    """A tape figure beside the photos': e_n, and whether they agree (|E_n| <= 1)."""

    photo: Figure
    tape: Figure
    e_n: float

    @property
    def agrees(self):
        return abs(self.e_n) <= 1


def _figure(corner, state, name, datum, unit, value, u):
    return Figure(corner, state, f"tape:{name}", datum, unit, value, u, 10_000.0, value - _K * u,
                  value + _K * u, {"tape": 1.0})


def tape_figures(car, photo_figures, states):
    """Figures of the tape in every state, and their comparison with the photos'.

    Parameters: car: CarFile; photo_figures: list of Figure; states: (corner, state) pairs measured.
    Returns (tape figures, comparisons).
    """
    figures = []
    for corner in sorted(car.corners):
        for state, readings in sorted(car.corners[corner].tape.items()):
            for name in _DIRECT:
                if name in readings:
                    r = readings[name]
                    figures.append(_figure(corner, state, name, None, "mm", r.value_mm, r.u_mm))
            for name, needs in _ANGLES.items():
                if all(n in readings for n in needs):
                    low, high, length = (readings[n] for n in needs)
                    try:
                        t = angle_from_heights((low.value_mm, low.u_mm), (high.value_mm, high.u_mm),
                                               (length.value_mm, length.u_mm))
                    except LengthError:
                        continue
                    figures.append(_figure(corner, state, name, "gravity", "deg", t.angle_deg, t.u_deg))
    comparisons = []
    for tape in figures:
        name = tape.name.removeprefix("tape:")
        photo = next((f for f in photo_figures if (f.corner, f.state, f.name, f.datum)
                      == (tape.corner, tape.state, name, tape.datum)), None)
        if photo is not None and math.isfinite(photo.u):
            comparisons.append(Comparison(photo, tape, e_n(tape.value, tape.u, photo.value, photo.u)))
    return figures, comparisons
