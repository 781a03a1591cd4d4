"""Lengths as people write them: millimetres, inches and their fractions, feet and inches, threads per inch.

A length is read token by token: an optional sign, then either a decimal number or a fraction with an optional
whole number before it, then a unit. Between a whole number and its fraction something must stand (a space, a
hyphen, or the fraction being one sign such as ½), so that ``11/16`` is eleven sixteenths and nothing else.
"""

from __future__ import annotations

import re
import unicodedata

from calib.errors import InputError

INCH = 25.4
MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": INCH, '"': INCH, "inch": INCH, "inches": INCH,
      "ft": 304.8, "'": 304.8, "foot": 304.8, "feet": 304.8}
_MOST_MM, _LONGEST = 1e6, 100  # longer than any tape; longer than any length is written
_LIKE = "write it like '378 mm', '14 7/8 in' or '37.8 cm'"

_ONE_SIGN = re.compile("[¼-¾⅐-⅞]")
_MARKS = str.maketrans({"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "⁄": "/", "−": "-", "–": "-"})
_NUMBER = (r"(?:(?:{n}whole>\d+)(?:\s+|\s*-\s*))?(?:{n}top>\d+)\s*/\s*(?:{n}bottom>\d+)"
           r"|(?:{n}decimal>\d+(?:[.,]\d*)?|[.,]\d+)")
_UNIT = r"[a-z]+\.?|[\"']"


def _number(name):
    return "(?:" + _NUMBER.replace("(?:{n}", f"(?P<{name}") + ")"


_LENGTH = re.compile(rf"{_number('')}\s*(?P<unit>{_UNIT})?", re.ASCII)
_FEET = re.compile(rf"(?P<feet>\d+)\s*(?:'|ft\.?|foot|feet)\s*-?\s*{_number('')}\s*(?:\"|in\.?|inch|inches)?",
                   re.ASCII)
_PER_INCH = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:tpi|(?:threads?\s*)?(?:/|per\s)\s*(?:in\.?|inch|\"))",
                       re.ASCII)


class LengthError(InputError, ValueError):
    """A length that cannot be understood; ``where`` is known to the caller alone, ``do`` says how to write
    it."""


def parse_length(text: object, units: str = "mm", signed: bool = False) -> float:
    """Millimetres of a length as people write it.

    Parameters: text: ``14 7/8 in``, ``14-7/8"``, ``14⅞"``, ``14.875in``, ``378 mm``, ``37,8 cm``, ``5' 3"``,
    or a number, in ``units`` ("mm" or "in"); signed: a minus sign is allowed.
    Raises LengthError.
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise LengthError("", f"{text!r} is no length" if isinstance(text, bool) else "this is no length",
                          _LIKE)
    if isinstance(text, (int, float)):
        if not abs(text) < _MOST_MM:
            raise LengthError("", "this number is no length", _LIKE)
        return float(text) * MM[units]
    clean = _clean(text)
    minus = signed and clean.startswith("-")
    if clean.startswith("-") and not signed:
        raise LengthError("", f"{text!r} is less than nothing, which this length cannot be",
                          "measure it the other way round, or leave the sign out")
    value = _unsigned(text, clean[1:].strip() if minus else clean, units)
    if not value < _MOST_MM:
        raise LengthError("", f"{text!r} is longer than any tape", "check the number and its unit")
    return -value if minus else value


def parse_pitch(text: str | float, units: str = "mm") -> float:
    """Millimetres from one thread to the next: a length, or threads per inch as ``24 tpi``, ``24/in``, ``24
    per inch``.

    Raises LengthError.
    """
    found = _PER_INCH.fullmatch(_clean(text)) if isinstance(text, str) else None
    if found is None:
        return parse_length(text, units)
    threads = float(found[1].replace(",", "."))
    if not 0 < threads < _MOST_MM:
        raise LengthError("", f"{text!r} is no pitch", "write it like '1.25 mm' or '20 tpi'")
    return INCH / threads


def unit_of(text: str) -> str | None:
    """The unit at the end of a length, as a key of MM or as it stands; None where there is none."""
    found = re.search(rf"({_UNIT})$", _clean(text))
    return found[1].rstrip(".") if found else None


def is_bare_fraction(text: str) -> bool:
    """Whether a length is a fraction without a unit, which nobody means in millimetres."""
    return "/" in _clean(text) and unit_of(text) is None


def _clean(text):
    if len(text) > _LONGEST:
        raise LengthError("", "this text is too long for a length", _LIKE)
    spread = _ONE_SIGN.sub(lambda sign: f" {unicodedata.normalize('NFKC', sign[0])}", text)
    return spread.translate(_MARKS).strip().lower().replace("''", '"')


def _unsigned(text, clean, units):
    feet = _FEET.fullmatch(clean)
    if feet:
        inches = _value(text, feet)
        if inches >= 12:
            raise LengthError("", f"{text!r}: more than eleven inches beside the feet", _LIKE)
        return float(feet["feet"]) * MM["ft"] + inches * INCH
    found = _LENGTH.fullmatch(clean)
    if not found:
        raise LengthError("", f"{text!r} is no length", _LIKE)
    unit = (found["unit"] or units).rstrip(".")
    if unit not in MM:
        raise LengthError("", f"{text!r}: the unit {found['unit']!r} is unknown", "use mm, cm, m or in")
    return _value(text, found) * MM[unit]


def _value(text, found):
    """The number of a match: a decimal, or a whole number and a fraction less than one."""
    if found["decimal"]:
        return float(found["decimal"].replace(",", "."))
    top, bottom, whole = int(found["top"]), int(found["bottom"]), int(found["whole"] or 0)
    if bottom == 0:
        raise LengthError("", f"{text!r} divides by zero", _LIKE)
    if top >= bottom:
        raise LengthError(
            "", f"{text!r}: the fraction {top}/{bottom} is {'more than ' if top > bottom else ''}one",
            _meant(found["top"], top, bottom, found["whole"]))
    return whole + top / bottom


def _meant(digits, top, bottom, whole):
    """What an improper fraction may have been meant as: a whole number run into it, or the number it is."""
    if whole:
        return "write it like '14 7/8 in'"
    split = next((f"{digits[:k]} {digits[k:]}/{bottom} or " for k in range(1, len(digits))
                  if digits[k] != "0" and int(digits[k:]) < bottom), "")
    return f"did you mean {split}{top / bottom:g}?" if top < _MOST_MM else "write it like '14 7/8 in'"
