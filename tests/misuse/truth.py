"""The exact figures of an invented car."""

from __future__ import annotations

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.figures.frame import Frame
from photoangle.figures.measurands import measurands


def true_frame(car, state):
    """The Frame of a state without any error, in the world of gravity."""
    nose, left = np.radians(car.tilt_deg[state])
    axes = rotation_from_vector([0, -nose, 0]) @ rotation_from_vector([left, 0, 0])
    at = {role: axes @ place for role, place in car.places[state].items()}
    pivots = at["arm_pivot_front"], at["arm_pivot_rear"]
    return Frame(at, np.array([0, 0, 1.0]), axes, axes[:, 0], axes[:, 1], pivots[0] - pivots[1], sum(pivots) / 2)


def errors(car, measurement, state):
    """(name, datum, error, u, whether inside) of each figure of a state whose truth the car knows."""
    frame, out = true_frame(car, state), []
    value = {m.key: m for m in measurands()}
    for f in measurement.figures:
        if f.state != state:
            continue
        try:
            true = value[f.name, f.datum].value(frame)
        except KeyError:
            continue  # a radius, or a hose that this car has not
        if true is not None:
            out.append((f.name, f.datum, f.value - true, f.u, f.low95 <= true <= f.high95))
    return out
