"""Lengths as people write them."""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.lengths import LengthError, is_bare_fraction, parse_length, parse_pitch, unit_of

SIGNS = {
    Fraction(1, 4): "¼",
    Fraction(1, 2): "½",
    Fraction(3, 4): "¾",
    Fraction(1, 8): "⅛",
    Fraction(3, 8): "⅜",
    Fraction(5, 8): "⅝",
    Fraction(7, 8): "⅞"
}
# Every fraction that is marked on a tape or named in a table of drills, reduced or not.
FRACTIONS = [(n, d) for d in (2, 4, 8, 16, 32, 64) for n in range(1, d)]


def ways(whole, top, bottom):
    """Every way of writing whole + top/bottom inches: (text, exact mm)."""
    mm = (whole + Fraction(top, bottom)) * Fraction(254, 10)
    fractions = [f"{top}/{bottom}", f"{top} / {bottom}", f"{top}⁄{bottom}"]
    mixed = [f"{whole}{gap}{f}" for f in fractions for gap in (" ", "-", " - ", "  ")] if whole else fractions
    sign = SIGNS.get(Fraction(top, bottom))
    if sign:
        mixed += [f"{whole}{gap}{sign}" for gap in ("", " ", "-")] if whole else [sign]
    inches = [f"{m}{unit}" for m in mixed for unit in ('"', " in", "in", " inches", "″", "''", " IN", " in.")]
    value = whole + top / bottom
    decimal = [f"{value:.6f}".rstrip("0") + unit for unit in (" in", '"')
               ] + [f"{float(mm):.9f} mm", f"{float(mm) / 10:.10f} cm", f"{float(mm) / 1000:.12f} m"]
    decimal += [d.replace(".", ",") for d in decimal]
    feet = [f"5' {m}{unit}" for m in mixed
            for unit in ('"', "", " in")] + [f"5 ft {m} in" for m in mixed] if whole < 12 else []
    return [(t, float(mm)) for t in inches + decimal] + [(t, float(mm + 5 * 12 * Fraction(254, 10)))
                                                         for t in feet]


@given(st.integers(0, 99), st.sampled_from(FRACTIONS))
def test_every_fraction_in_every_way(whole, fraction):
    for text, mm in ways(whole, *fraction):
        assert parse_length(text) == pytest.approx(mm, rel=1e-9, abs=1e-8), text


@pytest.mark.parametrize("top, bottom", FRACTIONS)
def test_a_fraction_alone_is_less_than_an_inch(top, bottom):
    assert parse_length(f"{top}/{bottom} in") == pytest.approx(25.4 * top / bottom)


@given(st.integers(0, 999), st.integers(1, 999))
def test_a_fraction_is_read_whole_or_refused(top, bottom):
    if top < bottom:
        assert parse_length(f"{top}/{bottom} in") == pytest.approx(25.4 * top / bottom)
    else:
        with pytest.raises(LengthError, match="one"):
            parse_length(f"{top}/{bottom} in")


@pytest.mark.parametrize("text, words", [("21/2", "did you mean 2 1/2 or 10.5?"),
                                         ("111/16 in", "did you mean 1 11/16 or 6.9375?"),
                                         ("9/8 in", "did you mean 1.125?"), ("14 9/8 in", "14 7/8 in"),
                                         ("5' 14\"", "eleven"), ("5' 12\"", "eleven"),
                                         ("5/4 in", "5/4 is more than one"), ("8/8 in", "8/8 is one"),
                                         ("22/2 in", "did you mean 11?")])
def test_more_than_one_is_refused_with_a_hint(text, words):
    with pytest.raises(LengthError, match=re.escape(words)):
        parse_length(text)


@pytest.mark.parametrize("text", [
    "14 7/8 in", '14-7/8"', "14⅞\"", "14.875in", "14,875 in", "377.825 mm", "37.7825 cm", "14 7/8 inches",
    "1' 2 7/8\"", "1 ft 2 7/8 in", "1'-2 7/8\""
])
def test_forms_of_one_length(text):
    assert parse_length(text) == pytest.approx(377.825, abs=1e-9)


@pytest.mark.parametrize("text, mm", [("5'", 1524), ("5 ft", 1524), ("5.5 feet", 1676.4), (".5 in", 12.7),
                                      ("7/8", 22.225), (14.875, 377.825)])
def test_in_a_car_of_inches(text, mm):
    assert parse_length(text, "in") == pytest.approx(mm)


@pytest.mark.parametrize("text", [
    "", "abc", "14 9/8 in", "3 furlong", "14.5 7/8 in", "1/0 in", "-5 mm", "nan", True, None, [],
    "1 1 1/2 in",
    float("inf"), "5 mm 3", "1/2/3 in", "5' 3 mm", "٣ mm", "1 2 in", "24 tpi"
])
def test_what_is_no_length(text):
    with pytest.raises(LengthError):
        parse_length(text)


def test_a_sign_where_it_is_asked_for():
    assert parse_length("-5 mm", signed=True) == parse_length("−5 mm", signed=True) == -5
    assert parse_length("-1 11/16 in", signed=True) == pytest.approx(-42.8625)


@pytest.mark.parametrize(
    "text",
    ["24 tpi", "24TPI", "24/in", "24 / inch", '24/"', "24 per inch", "24 threads per inch", "1/24 in"])
def test_threads_per_inch(text):
    assert parse_pitch(text) == pytest.approx(25.4 / 24)


def test_one_thread_per_inch_and_fewer_are_pitches():
    assert parse_pitch("1 tpi") == 25.4 and parse_pitch("0.5 tpi") == 50.8


def test_a_pitch_may_be_a_length():
    assert parse_pitch("1.25 mm") == 1.25 and parse_pitch(1.5) == 1.5
    with pytest.raises(LengthError, match="20 tpi"):
        parse_pitch("0 tpi")


def test_units_at_the_end():
    assert unit_of("14 7/8 in.") == "in" and unit_of("14⅞″") == '"' and unit_of("14 7/8") is None
    assert is_bare_fraction("14⅞") and is_bare_fraction(
        "11/16") and not is_bare_fraction("11/16 in") and not is_bare_fraction("24/in")
