"""The words of an answer: signs that a terminal may not have, lengths in the car's units.

Sentences are written in millimetres and in plain letters where they arise; this is where they become what is
shown.
"""

from __future__ import annotations

import re
from fractions import Fraction

INCH = 25.4
# The finest division of a rule in inches.
_DIVISIONS = 32
_NUMBER = r"[+-]?\d+(?:\.\d+)?"
# One length or a span of them; what stands in quotes is the user's own, or to be written as it is.
_LENGTHS = re.compile(rf"(?<![\w.\"']){_NUMBER}(?:(?: to | \+- | ± | and ){_NUMBER})* mm\b(?! equivalent)")


def worded(text: str, units: str = "mm") -> str:
    """A sentence as it is shown: ± and °, lengths in the car's units."""
    text = text.replace("+- ", "± ").replace("+-", "±")
    text = re.sub(r"(?<=\d) deg\b", "°", text)
    return text if units == "mm" else _LENGTHS.sub(_inches, text)


def _inches(match: re.Match[str]) -> str:
    def one(number: re.Match[str]) -> str:
        text = number.group()
        digits = len(text.partition(".")[2]) + 1
        sign = "+" if text.startswith("+") else ""
        return f"{float(text) / INCH:{sign}.{max(digits, 2)}f}"

    return re.sub(_NUMBER, one, match.group().removesuffix(" mm")) + " in"


def plain_signs(text: str, encoding: str | None) -> str:
    """The text with ± and the like in letters where an output cannot show them."""
    try:
        text.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        for sign, letters in (("±", "+-"), ("°", " deg"), ("–", "-"), ("×", "x")):
            text = text.replace(sign, letters)
    return text


def length_to_set(value_mm: float, units: str = "mm") -> str:
    """A length to set with a rule: to a tenth of a millimetre, or to the fraction of an inch a rule has."""
    if units != "in":
        return f"{value_mm:.1f} mm"
    parts = round(abs(value_mm) / INCH * _DIVISIONS)
    whole, rest = divmod(parts, _DIVISIONS)
    words = " ".join(p for p in (str(whole) if whole or not rest else "",
                                 str(Fraction(rest, _DIVISIONS)) if rest else "") if p)
    return f"{'-' if value_mm < 0 and parts else ''}{words} in"


def span_to_set(low_mm: float, high_mm: float, units: str = "mm") -> str:
    """A span of lengths to set, its unit once."""
    low = length_to_set(low_mm, units).removesuffix(" mm").removesuffix(" in")
    return f"{low} to {length_to_set(high_mm, units)}"


def signed(mm: float, units: str = "mm", digits: int = 1) -> str:
    """A change of length with its sign and unit."""
    return f"{mm / INCH:+.{digits + 1}f} in" if units == "in" else f"{mm:+.{digits}f} mm"


def about(value_mm: float, units: str = "mm") -> str:
    """A length to know rather than to set: a whole millimetre, a tenth of an inch."""
    return f"{value_mm / INCH:.1f} in" if units == "in" else f"{value_mm:.0f} mm"
