"""Tape readings: what was read, how well it is known, and what two triangles make of it.

A reading's standard uncertainty has two parts, both rectangular: the reader's (half the
tape's division, at least 0.5 mm, or what the reading itself states) and the tape's own, by its class (Directive
2014/32/EU, Annex X, material measures of length: a + b L with L rounded up to the next whole metre, plus c from the end hook).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from calib.errors import InputError

MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, '"': 25.4, "inch": 25.4, "inches": 25.4,
      "ft": 304.8}
# class: a (mm), b (mm per m), c (mm, where the reading starts at the hook)
TAPE_CLASSES = {"I": (0.1, 0.1, 0.1), "II": (0.3, 0.2, 0.2), "III": (0.6, 0.4, 0.3)}
_ABOUT = 3.0  # "about 378 mm" is three times as uncertain
_MOST_MM, _LONGEST = 1e6, 100  # longer than any tape; longer than any reading is written
_ROOT3 = math.sqrt(3)
_LIKE = "write it like '378 mm', '14 7/8 in' or '37.8 cm'"

_NUMBER = r"\d+(?:[.,]\d+)?"
_MIXED = re.compile(
    rf"^(?P<whole>{_NUMBER})?(?:(?:\s*-\s*|\s+)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+))?\s*(?P<unit>[a-zA-Z\"]*)$")


class TapeError(InputError, ValueError):
    """A reading that cannot be understood; ``where`` is known to the caller alone, ``do`` says how to write
    it."""


@dataclass(frozen=True)
class Reading:
    """A taped length.  value_mm and its standard uncertainty u_mm; ``text`` as it was written."""

    value_mm: float
    u_mm: float
    text: str


def parse_length(text, units="mm"):
    """Millimetres of a length as people write it.

    Parameters: text: ``14 7/8 in``, ``14-7/8"``, ``14.875in``, ``378 mm``, ``37.8 cm``, or a number in ``units``.
    Raises TapeError.
    """
    if isinstance(text, bool):
        raise TapeError("", f"{text!r} is no length", _LIKE)
    if isinstance(text, (int, float)):
        if not abs(text) < _MOST_MM:
            raise TapeError("", "this number is no length", _LIKE)
        return float(text) * MM[units]
    if len(str(text)) > _LONGEST:
        raise TapeError("", "this text is too long for a length", _LIKE)
    clean = str(text).strip().replace("″", '"').replace("”", '"').replace("''", '"')
    found = _MIXED.match(clean)
    if not found or (found["whole"] is None and found["top"] is None):
        raise TapeError("", f"{text!r} is no length", _LIKE)
    unit = found["unit"].lower() or units
    if unit not in MM:
        raise TapeError("", f"{text!r}: the unit {found['unit']!r} is unknown", "use mm, cm, m or in")
    if found["top"] is not None and found["whole"] is not None and re.search("[.,]", found["whole"]):
        raise TapeError("", f"{text!r} has both a decimal and a fraction", "write one of them")
    value = float(found["whole"].replace(",", ".")) if found["whole"] else 0.0
    if found["top"] is not None:
        if int(found["bottom"]) == 0:
            raise TapeError("", f"{text!r} divides by zero", _LIKE)
        if found["whole"] is None or int(found["top"]) < int(found["bottom"]):
            value += int(found["top"]) / int(found["bottom"])
        else:
            raise TapeError("", f"{text!r}: the fraction is more than one", "write it like '14 7/8 in'")
    if not value * MM[unit] < _MOST_MM:
        raise TapeError("", f"{text!r} is longer than any tape", "check the number and its unit")
    return value * MM[unit]


def parse_reading(text, units="mm", division_mm=1.0, tape_class="II", from_hook=True):
    """A reading with its uncertainty.

    Parameters: text as for `parse_length`, with ``about`` before it or ``+- 2`` (in the reading's
    unit, or with its own) after it; division_mm: the tape's finest division.
    Returns Reading.  Raises TapeError.
    """
    clean = text if isinstance(text, (int, float)) else str(text).strip()
    if isinstance(clean, str) and len(clean) > _LONGEST:
        raise TapeError("", "this text is too long for a reading", "write it like '378 mm' or '14 7/8 in +- 1/16'")
    about, stated, value_text = False, None, clean
    if isinstance(clean, str):
        lowered = clean.lower()
        for word in ("about", "approx.", "approx", "roughly", "ca.", "~"):
            if lowered.startswith(word):
                about, clean = True, clean[len(word):].strip()
                break
        parts = re.split(r"\+/-|\+-|±", clean)
        if len(parts) > 2:
            raise TapeError("", f"{text!r} has more than one plus-or-minus", "write it once")
        value_text = parts[0].strip()
        if len(parts) == 2:
            own = re.search(r"[a-zA-Z\"]+\s*$", value_text)
            other = re.search(r"[a-zA-Z\"]+\s*$", parts[1])
            unit = (own or other).group().strip() if own or other else units
            if own is None and other is not None:
                value_text = f"{value_text} {unit}"
            stated = parse_length(parts[1].strip() if other else f"{parts[1].strip()} {unit}", units)
    value = parse_length(value_text, units)
    half = stated if stated is not None else max(division_mm / 2, 0.5)
    if about and stated is None:
        half *= _ABOUT
    tape = tape_limit_mm(value, tape_class, from_hook)
    return Reading(value, math.hypot(half, tape) / _ROOT3, str(text))


def tape_limit_mm(length_mm, tape_class="II", from_hook=True):
    """Largest permitted error of a tape over a length (2014/32/EU, Annex X), mm."""
    a, b, c = TAPE_CLASSES[tape_class]
    return a + b * math.ceil(max(length_mm, 1.0) / 1000) + (c if from_hook else 0.0)


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
    derivatives (JCGM 100, 5.1).  Raises TapeError where the rise exceeds the length.
    """
    rise = high[0] - low[0]
    u_rise = math.hypot(high[1], low[1])
    return angle_from_rise((rise, u_rise), length)


def angle_from_rise(rise, length):
    """Angle of a line from its rise and its length, as `angle_from_heights`."""
    if length[0] <= 0 or abs(rise[0]) >= length[0]:
        raise TapeError("", f"a rise of {rise[0]:.1f} is more than the length {length[0]:.1f}",
                        "look whether two readings are mixed up, or one is in another unit")
    sine = rise[0] / length[0]
    cosine = math.sqrt(1 - sine * sine)
    u = math.hypot(rise[1] / length[0], sine * length[1] / length[0]) / cosine
    return Triangle(math.degrees(math.asin(sine)), math.degrees(u), rise[0], rise[1])


def turned_by_rise(start_rise, wheel_rise, length):
    """Angle of an arm after its outer end rose: start_rise + wheel_rise over its length.

    Each a (value, u) pair.  The hub's rise stands for the ball joint's here, as with a tape
    alone; the difference (a few per cent of the rise) is for the caller to add.
    """
    rise = (start_rise[0] + wheel_rise[0], math.hypot(start_rise[1], wheel_rise[1]))
    return angle_from_rise(rise, length)


def point_on_arm(triangle, radius):
    """Rise of a point along an arm, (value, u), at ``radius`` (value, u) from the pivot."""
    sine = math.sin(math.radians(triangle.angle_deg))
    cosine = math.cos(math.radians(triangle.angle_deg))
    return (radius[0] * sine,
            math.hypot(radius[0] * cosine * math.radians(triangle.u_deg), sine * radius[1]))

