"""Tape readings: what was read and how well it is known.

A reading's standard uncertainty has two parts, both rectangular: the reader's (half the tape's division, at
least 0.5 mm, or what the reading itself states) and the tape's own, by its class (Directive 2014/32/EU, Annex
X, material measures of length: a + b L with L rounded up to the next whole metre, plus c from the end hook).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from calib.lengths import LengthError, parse_length, unit_of

# class: a (mm), b (mm per m), c (mm, where the reading starts at the hook)
TAPE_CLASSES = {"I": (0.1, 0.1, 0.1), "II": (0.3, 0.2, 0.2), "III": (0.6, 0.4, 0.3)}
_ABOUT = 3.0  # "about 378 mm" is three times as uncertain
_LONGEST = 100
_ROOT3 = math.sqrt(3)
_APART = re.compile(r"\+/-|\+-|±")
_WORDS = re.compile(r"(?:about|approx\.?|roughly|ca\.|~)\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Reading:
    """A taped length.  value_mm and its standard uncertainty u_mm; ``text`` as it was written."""

    value_mm: float
    u_mm: float
    text: str = ""

    @property
    def states_its_own(self):
        """Whether the reading was written with a plus-or-minus."""
        return _APART.search(self.text) is not None


def parse_reading(text, units="mm", division_mm=1.0, tape_class="II", from_hook=True, signed=False):
    """A reading with its uncertainty.

    Parameters: text as for `calib.lengths.parse_length`, with ``about`` before it or ``+- 2`` (in the
    reading's unit, or with its own) after it; division_mm: the tape's finest division; signed: it may be
    negative.
    Returns Reading.  Raises LengthError.
    """
    if isinstance(text, str) and len(text.strip()) > _LONGEST:
        raise LengthError("", "this text is too long for a reading",
                          "write it like '378 mm' or '14 7/8 in +- 1/16'")
    about, stated, value = False, None, text
    if isinstance(text, str):
        word = _WORDS.match(text.strip())
        about = word is not None
        value, *within = (part.strip() for part in _APART.split(text.strip()[word.end() if word else 0:]))
        if len(within) > 1:
            raise LengthError("", f"{text!r} has more than one plus-or-minus", "write it like '378 mm +- 2'")
        if within:
            own, other = unit_of(value), unit_of(within[0])
            value = value if own else f"{value} {other or units}"
            stated = parse_length(within[0] if other else f"{within[0]} {own or units}", units)
    value = parse_length(value, units, signed)
    half = stated if stated is not None else max(division_mm / 2, 0.5) * (_ABOUT if about else 1.0)
    return Reading(value,
                   math.hypot(half, tape_limit_mm(abs(value), tape_class, from_hook)) / _ROOT3, str(text))


def tape_limit_mm(length_mm, tape_class="II", from_hook=True):
    """Largest permitted error of a tape over a length (2014/32/EU, Annex X), mm."""
    a, b, c = TAPE_CLASSES[tape_class]
    return a + b * math.ceil(max(length_mm, 1.0) / 1000) + (c if from_hook else 0.0)
