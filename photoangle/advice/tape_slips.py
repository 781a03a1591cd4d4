"""Slips of the tape: the one reading that does not fit, and what would explain it.

A slip is offered only where the reading, put right, agrees with the photos (E_n, ISO 13528) and the reading
as it stands does not; where none does, only the contradiction is said.  The list of slips is of those that
people make (common practice, no source).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from calib.lengths import MM
from photoangle.core.agreement import e_n
from photoangle.core.findings import ATTENTION, Finding

INCH = 25.4
# A reading put right must agree better than this to count as explained.
_AGREES = 1.0
# From the wheel's centre to the edge that is taped by mistake: hub's edge, centre cap (common practice, no
# source).
_HUB_EDGE_MM = (20.0, 80.0)
# Only a reading that is clearly off is said to belong elsewhere: neighbouring states may read alike by
# chance.
_CLEARLY = 2.0


@dataclass(frozen=True)
class Slip:
    """One slip: corner, state, reading's name; kind in words; put_right_mm: what the reading should have
    been."""

    corner: str
    state: str
    name: str
    kind: str
    put_right_mm: float


def tape_slips(car, comparisons, figures):
    """Slips that explain readings which contradict the photos.

    car: CarFile; comparisons: tape_check Comparisons; figures: all photo Figures.  Returns (slips, findings):
    a finding for each contradicting reading that a slip explains.
    """
    bad = [c for c in comparisons if not c.agrees and c.tape.unit == "mm"]
    good = [c for c in comparisons if c.agrees]
    slips, done = [], set()
    for c in bad:
        if id(c) in done:
            continue
        both = _exchanged(c, bad, done)
        if both is not None:
            slips += both
            continue
        slip = _explained(c, car, figures)
        if slip is not None:
            slips.append(slip)
    explained = {(s.corner, s.state, s.name) for s in slips}
    rest = [c for c in bad if _key(c) not in explained and abs(c.e_n) > _CLEARLY]
    return slips, [_said(s, car, len(good)) for s in slips] + [_unexplained(c, car) for c in rest]


def _unexplained(c, car):
    corner, state, name = _key(c)
    return Finding(
        ATTENTION, f"car.toml, {corner}.tape.{state}",
        f"{name} = \"{car.corner(corner).tape[state][name].text}\" contradicts the"
        f" photos, which say {c.photo.value:.0f} mm (E_n {c.e_n:+.1f})",
        "tape it again; is the stand-off right, the marker on its joint?")


def _key(c):
    return c.tape.corner, c.tape.state, c.tape.name.removeprefix("tape:")


def _fits(value, u, photo):
    return abs(e_n(value - photo.value, math.hypot(u, photo.u))) <= _AGREES


def _exchanged(c, bad, done):
    """Two readings that both fit when exchanged: between states, or between names of one state."""
    corner, state, name = _key(c)
    for other in bad:
        if other is c or id(other) in done:
            continue
        o_corner, o_state, o_name = _key(other)
        states = o_corner == corner and o_name == name and o_state != state
        names = (o_corner, o_state) == (corner, state) and o_name != name
        sides = o_name == name and o_state == state and o_corner.split("-")[0] == corner.split(
            "-")[0] and o_corner != corner
        if not (states or names or sides):
            continue
        if _fits(other.tape.value, c.tape.u, c.photo) and _fits(c.tape.value, other.tape.u, other.photo):
            kind = (f"{state} and {o_state} exchanged"
                    if states else f"left for right ({corner} and {o_corner} exchanged)"
                    if sides else f"{_words(name)} and {_words(o_name)} exchanged")
            done.update((id(c), id(other)))
            return [
                Slip(corner, state, name, kind, other.tape.value),
                Slip(o_corner, o_state, o_name, kind, c.tape.value)
            ]
    return None


def _explained(c, car, figures):
    corner, state, name = _key(c)
    reading = car.corner(corner).tape[state][name]
    for kind, value in _candidates(reading, car.units):
        if value > 0 and _fits(value, reading.u_mm, c.photo):
            return Slip(corner, state, name, kind, value)
    elsewhere = _of_elsewhere(c, reading, figures)
    if elsewhere is not None:
        return Slip(corner, state, name, elsewhere, c.photo.value)
    if name == "hub_to_arch":
        off = reading.value_mm - c.photo.value
        if _HUB_EDGE_MM[0] <= abs(off) <= _HUB_EDGE_MM[1]:
            return Slip(corner, state, name,
                        f"taped from another edge than the hub's middle, {abs(off):.0f} mm off",
                        c.photo.value)
    return None


def _candidates(reading, units):
    """(words, value in mm) of what the reading may have been meant as, the commonest first."""
    v = reading.value_mm
    yield "an inch too long, as if the tape had been held at its one-inch mark", v - INCH
    yield "an inch too short, as if an inch had been taken off that was not there", v + INCH
    yield "inches written as millimetres", v * INCH
    yield "millimetres written as inches", v / INCH
    yield "centimetres written as millimetres", v * 10
    yield "millimetres written as centimetres", v / 10
    yield from _fractions(reading.text, units)
    for digits, words in ((10.0, "a ten misread"), (100.0, "a hundred misread")):
        yield words + " (too long)", v - digits
        yield words + " (too short)", v + digits


def _of_elsewhere(c, reading, figures):
    """Words for a reading that belongs to another state or to the other side, or None."""
    corner, state, name = _key(c)
    if abs(c.e_n) < _CLEARLY:
        return None
    for f in figures:
        if f.name == name and f.unit == "mm" and _fits(reading.value_mm, reading.u_mm, f):
            if f.corner == corner and f.state != state:
                return f"the reading of {f.state} written under {state}"
            if f.state == state and f.corner != corner and f.corner.split("-")[0] == corner.split("-")[0]:
                return f"the reading of {f.corner}: left for right"
    return None


def _fractions(text, units):
    """Fractions that are mistaken for each other: read from the wrong mark, or the wrong denominator."""
    found = re.search(r"(\d+)\s*/\s*(\d+)", text)
    unit = MM["in" if re.search(r"in|\"", text) or units == "in" else units]
    if not found or int(found[2]) == 0:
        return
    top, bottom = int(found[1]), int(found[2])
    value = _plain(text, found)
    if value is None:
        return
    for other in (2, 4, 8, 16, 32):
        for n in range(other):
            was = Fraction(n, other)
            if was != Fraction(top, bottom) and (other == bottom or n == top):
                yield (f"a fraction misread: {n}/{other} for {top}/{bottom}"
                       if n else f"a fraction misread: none for {top}/{bottom}", (value + float(was)) * unit)


def _plain(text, found):
    whole = re.match(r"\D*(\d+)(?=[\s-]+\d+\s*/)", text)
    return float(whole[1]) if whole else 0.0 if text[:found.start()].strip() == "" else None


def _words(name):
    return name.replace("_", " ")


def _said(slip, car, good):
    reading = car.corner(slip.corner).tape[slip.state][slip.name]
    rest = f"; the other {good} readings agree" if good else ""
    right = (f"{slip.put_right_mm / INCH:.2f} in" if car.units == "in" else f"{slip.put_right_mm:.0f} mm")
    return Finding(
        ATTENTION, f"car.toml, {slip.corner}.tape.{slip.state}",
        f"{slip.name} = \"{reading.text}\" contradicts the photos{rest};"
        f" what would explain it: {slip.kind}", f"tape it again; {right} would agree")
