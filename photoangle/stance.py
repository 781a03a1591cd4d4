"""The car's attitude in a state, shared by its corners: one chassis, one set of stands.

A corner without ride photos of its own can take the chassis's pitch and roll from another corner that was measured in
the same state: relative to gravity and the car's forward direction the chassis stands the same.
"""

from __future__ import annotations

import numpy as np

from photoangle.datum import Axes
from photoangle.model import NOTE, Finding

# How alike the car stands while one corner after the other is photographed (common practice, no source).
STANCE_DEG = 0.15


def share_stance(states, report):
    """Give corners without a chassis datum the attitude of another corner in the same state; say where there is none."""
    for result in states:
        if result.axes is not None or result.up is None or result.lateral is None or not result.corner:
            continue
        donor = _donor(result, states)
        if donor is None:
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
                                f" markers, plumb, card) into {corner}/ride"))


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
