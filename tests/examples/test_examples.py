"""The examples run, and print what they say."""

import runpy
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.mark.parametrize(
    "name, words",
    [
        ("detecting.py", ("bar eye", "corners of the card", "within 0.00", "refused:")),
        ("measuring.py", ("focal length", "bar arm angle +8.", "sticking")),
        ("linkage.py", ("by tape alone", "set the link to", "20 mm shorter")),
        ("comparison.py", ("real change", "the bar arm came down by 8.7")),
        ("mechanics.py", ("change: a link of 12", "clear", "N/mm at each wheel in roll")),
    ],
)
def test_example(name, words, car_copy, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", [name, str(car_copy[0])])
    runpy.run_path(str(HERE / name), run_name="__main__")
    out = capsys.readouterr().out
    for word in words:
        assert word in out


def test_every_example_is_run():
    assert {p.name for p in HERE.glob("*.py")} == {
        "detecting.py",
        "measuring.py",
        "linkage.py",
        "comparison.py",
        "mechanics.py",
        "test_examples.py",
    }
