"""Units and signs: whatever is said in an inch car is said in inches, and terminals without ± get letters."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from photoangle.output.wording import length_to_set, plain_signs, signed, span_to_set, worded


@pytest.mark.parametrize("text, said", [
    ("shorten by 31.2 mm", "shorten by 1.23 in"), ("any of 21.6 to 40.0 mm will do", "any of 0.85 to 1.57 in will do"),
    ("-53 to +40 mm of wheel", "-2.09 to +1.57 in of wheel"), ("232.0 +- 1.0 mm", "9.13 ± 0.04 in"),
    ('hub_to_arch = "378 mm"', 'hub_to_arch = "378 mm"'), ("26 mm equivalent", "26 mm equivalent"),
    ("200.0 and 150.0 mm", "7.87 and 5.91 in"), ("marker 100 at +8.9 deg (+8.7 to +9.3)", "marker 100 at +8.9° (+8.7 to +9.3)")])
def test_lengths_in_the_cars_units(text, said):
    assert worded(text, "in") == said


@given(st.floats(-5000, 5000), st.integers(0, 3))
def test_every_length_is_converted(value, digits):
    text = worded(f"it is {value:.{digits}f} mm off", "in")
    number = float(text.split()[2])
    assert " mm" not in text and abs(number * 25.4 - round(value, digits)) < 25.4 * 0.5 * 10.0 ** -max(digits + 1, 2) + 1e-6


@pytest.mark.parametrize("mm, words", [(121.7, "4 25/32 in"), (25.4, "1 in"), (12.7, "1/2 in"), (0.1, "0 in"),
                                       (-3.175, "-1/8 in"), (19.05, "3/4 in")])
def test_a_fraction_that_a_rule_has(mm, words):
    assert length_to_set(mm, "in") == words


@given(st.floats(0, 2000))
def test_a_fraction_is_within_half_a_division(mm):
    words = length_to_set(mm, "in").removesuffix(" in").split()
    value = sum(float(w.split("/")[0]) / float(w.split("/")[1]) if "/" in w else float(w) for w in words)
    assert abs(value * 25.4 - mm) <= 25.4 / 64 + 1e-9


def test_spans_and_changes():
    assert span_to_set(112.9, 131.4) == "112.9 to 131.4 mm"
    assert span_to_set(112.9, 131.4, "in") == "4 7/16 to 5 3/16 in"
    assert signed(-28.8) == "-28.8 mm" and signed(-28.8, "in") == "-1.13 in"


@pytest.mark.parametrize("encoding, said", [("utf-8", "8.9° ± 0.4"), ("cp1252", "8.9° ± 0.4"),
                                            ("ascii", "8.9 deg +- 0.4"), (None, "8.9 deg +- 0.4")])
def test_signs_where_the_terminal_has_them(encoding, said):
    assert plain_signs("8.9° ± 0.4", encoding) == said
