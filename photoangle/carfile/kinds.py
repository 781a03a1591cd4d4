"""Kinds of values in car.toml: how each is written, and what the starter file and the page make of it.

A kind stands beside a key in the models of `carfile.corner` and `carfile.car`.  What it refuses it says as
`Refused`; pydantic knows where.
"""

from __future__ import annotations

import difflib
import json
import math
import statistics
from dataclasses import dataclass
from enum import Flag, auto

from pydantic import PlainValidator

from calib.lengths import INCH, MM, LengthError, is_bare_fraction, parse_length, parse_pitch, unit_of
from photoangle.carfile.lengths import Reading, parse_reading


class Use(Flag):
    """SET, OFFERED, INSTEAD: the starter file has the key written, commented out, or commented out as instead
    of the one before; PAGE: the page may write it."""

    NONE, SET, OFFERED, INSTEAD, PAGE = 0, auto(), auto(), auto(), auto()


class Refused(ValueError):
    """A value that is not taken.  ``what`` goes on from the key's name, or stands by itself where ``of_key``
    is false; {key} and {path} in ``do`` stand for the key; ``at``: keys from the one validated to the one
    meant."""

    def __init__(self, what, do, at=(), of_key=True):
        super().__init__(what)
        self.what, self.do, self.at, self.of_key = what, do, at, of_key


@dataclass(frozen=True)
class Context:
    """What the lengths of a file hang on: the unit of bare numbers ("mm" or "in"), the tape's division and
    class."""

    units: str = "mm"
    division_mm: float = 1.0
    tape_class: str = "II"


@dataclass(frozen=True)
class Key:
    """A text, and what all kinds have.

    limits: what it may be: the longest text, (least, most), the choices, or the keys below; words: its
    comment; example: a value as written, or two of them (mm, in).  ``parse`` gives the value in the program's
    terms and raises Refused.
    """

    limits: object
    words: str = ""
    example: object = None
    use: Use = Use.NONE

    def parse(self, value, context):
        if not isinstance(value, str) or len(value) > self.limits:
            raise Refused(" should be text", 'write it like {key} = "..."')
        return value

    def from_text(self, text):
        """What a text typed on the page is in the file.  Raises Refused."""
        return text

    def read_as(self, value, context):
        """What a length was read as, in the car's units; nothing for other kinds: degrees, counts and names
        are as they were typed."""
        return ""

    def example_in(self, units):
        """The example as a car with these units writes it."""
        return self.example[units == "in"] if isinstance(self.example, tuple) else self.example

    def __get_pydantic_core_schema__(self, source, handler):
        # a value set in code is already in the program's terms
        check = PlainValidator(lambda value, info: value
                               if info.context is None else self.parse(value, info.context))
        return check.__get_pydantic_core_schema__(source, handler)


class Choice(Key):
    """One of a few words, or true and false."""

    def parse(self, value, context):
        if not any(type(value) is type(one) and value == one for one in self.limits):
            raise Refused(f" = {value!r} is not one of the choices",
                          "use one of " + ", ".join(map(json.dumps, self.limits)))
        return value


@dataclass(frozen=True)
class Number(Key):
    """A number, degrees mostly; ``over``: what it is divided by, such as 100 for a percentage."""

    whole: bool = False
    over: float = 1.0

    def parse(self, value, context):
        least, most = self.limits
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e9:
            raise Refused(" should be a number", f"write it like {{key}} = {self.example}")
        if not least <= value <= most or (self.whole and value != int(value)):
            raise Refused(f" = {value:g} is out of range",
                          f"it should be {least:g} to {most:g}{', whole' if self.whole else ''}")
        return int(value) if self.whole else value / self.over

    def from_text(self, text):
        try:
            number = float(text.replace(",", ".").replace("−", "-").rstrip("° "))
        except ValueError:
            raise Refused(f": {text!r} is no number", "write it like 3 or -1.5") from None
        return int(number) if self.whole and number.is_integer() else number


@dataclass(frozen=True)
class Length(Key):
    """A length, in mm; ``signed``: either way, its size in range; ``over``: what it is divided by."""

    signed: bool = False
    over: float = 1.0

    def parse(self, value, context):
        return self._in_range(value, _understood(parse_length, value, context, signed=self.signed),
                              context) / self.over

    def from_text(self, text):
        return f"{text} in" if is_bare_fraction(text) else text  # nobody writes fractions of millimetres

    def read_as(self, value, context):
        mm = self._mm(value, context)
        return f"{mm / INCH:.3f} in" if context.units == "in" else f"{mm:.1f} mm"

    def _mm(self, value, context):
        """The length as it was written, mm."""
        read = self.parse(value, context)
        return read.value_mm if isinstance(read, Reading) else read * self.over

    def _in_range(self, value, mm, context):
        least, most = self.limits
        if not least <= (abs(mm) if self.signed else mm) <= most:
            size, unit = MM[context.units], (isinstance(value, str) and unit_of(value)) or context.units
            meant = [
                other for other in ("mm", "in", "cm")
                if least <= mm / MM.get(unit, math.inf) * MM[other] <= most
            ]
            raise Refused(
                f" = {value!r} is {mm / size:.4g} {context.units}; {least / size:.4g} to {most / size:.4g}"
                f" {context.units}"
                " are possible",
                "check the number and its unit" + (f" (did you mean {meant[0]}?)" if meant else ""),
            )
        return mm


class Pitch(Length):
    """A thread's pitch: a length, or threads per inch."""

    def parse(self, value, context):
        mm = _understood(parse_pitch, value, context)
        times = mm / MM[context.units]
        if mm > self.limits[1] and self.limits[0] <= INCH / times <= self.limits[1]:
            raise Refused(f" = {value!r} is {mm:.4g} mm from one thread to the next",
                          f"did you mean \"{times:g} tpi\"?")
        return self._in_range(value, mm, context)

    def read_as(self, value, context):
        mm = self._mm(value, context)
        return f"{INCH / mm:.4g} tpi" if context.units == "in" else f"{mm:.3f} mm"


class TapeKey(Length):
    """A reading of a tape or rule, or a list of readings of one thing; as a Reading."""

    def parse(self, value, context):
        if isinstance(value, list) and not 1 <= len(value) <= 20:
            raise Refused(f" has {len(value)} readings", "give one, or a list of up to 20")
        each = [
            _understood(parse_reading,
                        v,
                        context,
                        context.division_mm,
                        context.tape_class,
                        signed=self.signed) for v in (value if isinstance(value, list) else [value])
        ]
        values = [self._in_range(value, r.value_mm, context) for r in each]
        spread = statistics.stdev(values) if len(values) > 1 else 0.0
        return Reading(statistics.fmean(values), self._u_mm(each, spread, context),
                       ", ".join(r.text for r in each))

    def _u_mm(self, each, spread, context):
        """The mean's spread beside what one reading is good to (JCGM 100, 4.2)."""
        return math.hypot(max(r.u_mm for r in each), spread / math.sqrt(len(each)))


class StandOff(TapeKey):
    """From a marker's printed face back to its joint's middle; negative where the joint is in front of the
    marker."""

    def _u_mm(self, each, spread, context):
        # a rule is set against both ends, the print's face and the joint's middle, and anew each time it is
        # read
        both_ends = max(context.division_mm / 2, 0.5) * math.sqrt(2 / 3)
        return math.hypot(max(r.u_mm if r.states_its_own else both_ends
                              for r in each), spread) / math.sqrt(len(each))


@dataclass(frozen=True)
class ListOf(Key):
    """A list of values of one kind; limits: (fewest, most)."""

    each: Key | None = None

    def parse(self, value, context):
        least, most = self.limits
        if not isinstance(value, list) or not least <= len(value) <= most:
            raise Refused(
                f" should be a list of {most if least == most else f'up to {most}'}",
                f"write it like {{key}} = {json.dumps(self.example_in(context.units))}, {self.words}")
        return tuple(self.each.parse(v, context) for v in value)


@dataclass(frozen=True)
class Table(Key):
    """A section whose keys are markers, points or readings, as a dict of what is given.

    limits: name -> Key, or the Table of every state, whatever its name (``example``: the state in the starter
    file); once: no two values alike.
    """

    once: bool = False

    def parse(self, value, context):
        check_names(value, self.names)
        if self.names is None and not all(isinstance(row, dict) for row in value.values()):
            raise Refused("readings should stand under a state",
                          "write them under [{path}.droop], [{path}.set], ...",
                          of_key=False)
        if self.once and len({*map(str, value.values())}) < len(value):
            raise Refused("two of them say the same", "name each once", of_key=False)
        return {name: _below(name, self.at(name), v, context) for name, v in value.items()}

    @property
    def names(self):
        """The names there are; None where any state is."""
        return self.limits if isinstance(self.limits, dict) else None

    def at(self, name):
        """The Key of a name."""
        return self.limits if self.names is None else self.limits[name]


def check_names(table, known=None):
    """Raises Refused where a value is no section, or has a key that is not one of ``known``."""
    if not isinstance(table, dict):
        raise Refused(" should be a section", "write it as [{path}]")
    for name in table if known is not None else ():
        if name not in known:
            near = difflib.get_close_matches(str(name), known, 1, 0.5)
            raise Refused(f"{name!r} is not known",
                          f"did you mean {near[0]!r}?" if near else "known here: " + ", ".join(known),
                          of_key=False)


def _below(name, key, value, context):
    try:
        return key.parse(value, context)
    except Refused as refused:
        raise Refused(refused.what, refused.do, (name, *refused.at), refused.of_key) from refused


def _understood(parser, value, context, *more, **options):
    try:
        return parser(value, context.units, *more, **options)
    except LengthError as error:
        raise Refused(f": {error}", "numbers without a unit are in " + context.units) from error
