"""What two heights over a level line and a length make of a line's angle."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.lengths import LengthError


@dataclass(frozen=True)
class Triangle:
    """An angle from two heights and a length: angle_deg with u_deg, rise_mm with u_rise_mm."""

    angle_deg: float
    u_deg: float
    rise_mm: float
    u_rise_mm: float


def angle_from_heights(low, high, length):
    """Angle of a line against level from the heights of its ends and its length.

    asin((high - low) / length), each a (value, u) pair in one unit; uncertainty by the
    derivatives (JCGM 100, 5.1).  Raises LengthError where the rise exceeds the length.
    """
    rise = high[0] - low[0]
    u_rise = math.hypot(high[1], low[1])
    return angle_from_rise((rise, u_rise), length)


def angle_from_rise(rise, length):
    """Angle of a line from its rise and its length, as `angle_from_heights`."""
    if length[0] <= 0 or abs(rise[0]) >= length[0]:
        raise LengthError(f"a rise of {rise[0]:.1f} is more than the length {length[0]:.1f}: two readings"
                        " are mixed up, or one is in another unit")
    sine = rise[0] / length[0]
    cosine = math.sqrt(1 - sine * sine)
    u = math.hypot(rise[1] / length[0], sine * length[1] / length[0]) / cosine
    return Triangle(math.degrees(math.asin(sine)), math.degrees(u), rise[0], rise[1])
