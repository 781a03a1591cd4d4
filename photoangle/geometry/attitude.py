"""The car's attitude in a state, shared by its corners: one chassis, one set of stands.

A corner without ride photos of its own can take the chassis's pitch and roll from another corner that was measured in
the same state: relative to gravity and the car's forward direction the chassis stands the same.
"""

from __future__ import annotations

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.findings import NOTE, Finding
from photoangle.figures.measurands import measure_figures
from photoangle.geometry.datums import STANDS_ROLL_DEG, Axes

# How alike the car stands while one corner after the other is photographed (common practice, no source).
STANCE_DEG = 0.15
# A slope read with a level or a phone, standard uncertainty (common practice, no source).
LEVEL_U_DEG = 0.15


def share_stance(states, report, level):
    """Give corners without a chassis datum the attitude of another corner in the same state, or what a level
    read on the wheels; say where there is neither."""
    for result in states:
        if result.axes is not None or result.up is None or result.lateral is None or not result.corner:
            continue
        donor = _donor(result, states)
        if donor is None:
            result.axes = by_level(result, level)
            continue
        result.axes, result.stance = _carried(donor, result), donor
        report.tell(Finding(NOTE, f"{result.corner}/{result.state}", f"the chassis's pitch and roll are taken from {donor.corner}/{donor.state}:"
                            f" the car is taken to stand alike in both within {STANCE_DEG:g} deg",
                            "leave the car as it stands while all corners of a state are photographed"))
    for corner in sorted({s.corner for s in states if s.corner}):
        mine = [s for s in states if s.corner == corner]
        if all(s.axes is None for s in mine) and not any(s.state == "ride" for s in mine):
            report.tell(Finding(NOTE, corner, "no ride photos: angles are against gravity only, and the car's own"
                                " pitch on the stands is in them", "take two photos on its wheels on the floor (sill"
                                f" markers, plumb, card) into {corner}/ride; or read the sill's slope there with a level and write"
                                " sill_slope_deg under tape.ride"))


def by_level(result, level):
    """Axes from the sill's slope in the photos and the same as a level read it with the car on its wheels, or None.

    At ride height the chassis is level against the floor, so that the sill's own rake is what was read there less the floor's slope.
    level: carfile's Level, for the floor.  The roll follows in the same way where it was read in both states.
    """
    ride, here = (result.notes.attitude.get(s, {}) for s in ("ride", result.state))
    if "sill_slope_deg" not in ride:
        return None
    slope = measure_figures(result.points, result.up, None, result.lateral, result.corner, result.state, 1000,
                            only=("sill_slope", "gravity"))
    if not slope:
        return None
    pitch = np.radians(slope[0].value - ride["sill_slope_deg"] + level.floor_slope_along_deg)
    x, y, _ = result.lateral.axes.T
    within = np.radians(level.floor_within_deg) / np.sqrt(3)
    sources = dict(result.lateral.sources)
    read = (np.radians(LEVEL_U_DEG) ** 2 + np.radians(slope[0].u) ** 2)
    turn = rotation_from_vector(-pitch * y)
    if "roll_deg" in ride and "roll_deg" in here:
        roll = np.radians(here["roll_deg"] - ride["roll_deg"] + level.floor_slope_across_deg)
        turn = turn @ rotation_from_vector(roll * x)
        # two readings in place of the usual roll on stands
        sources["forward"] = sources["forward"] + (2 * np.radians(LEVEL_U_DEG) ** 2 - np.radians(STANDS_ROLL_DEG) ** 2) * np.outer(x, x)
    sources["level reading"] = read * np.outer(y, y)
    sources["floor"] = within**2 * (np.outer(x, x) + np.outer(y, y))
    return Axes(turn @ result.lateral.axes, sources, "a level on the sill")


def _donor(result, states):
    for other in states:
        if (other.state == result.state and other.corner != result.corner and other.axes is not None and other.up is not None
                and other.lateral is not None and "stance" not in other.axes.sources):
            return other
    return None


def _carried(donor, result):
    spin = result.lateral.axes @ donor.lateral.axes.T
    axes = spin @ donor.axes.axes
    sources = {name: spin @ c @ spin.T for name, c in donor.axes.sources.items()}
    for name, c in donor.up.sources.items():
        sources[name] = sources.get(name, 0) + spin @ c @ spin.T
    for name, c in result.up.sources.items():
        sources[name] = sources.get(name, 0) + c
    sources["stance"] = np.eye(3) * np.radians(STANCE_DEG) ** 2
    return Axes(axes, sources, f"{donor.corner} ({donor.axes.by})")
