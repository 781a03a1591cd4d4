"""Runs kept beside the photos: once each, listed, plotted, and refused clearly where they cannot be read."""

import json
from dataclasses import replace
from datetime import datetime
from types import SimpleNamespace

import pytest

from photoangle.comparison.history import keep_run, read_history, season
from photoangle.core.errors import CannotUse
from photoangle.core.figure import Figure
from photoangle.output.history_table import history_lines
from tests.whole.test_commands import run


def measurement(value, states=("set",), u=0.1, root=None, photo=None):
    figures = [
        Figure("front-left", s, "bar_arm_angle", "chassis", "deg", value, u, 90.0, value - 0.2, value + 0.2)
        for s in states
    ]
    made = [
        SimpleNamespace(corner="front-left", state=s, name=f"front-left/{s}",
                        scene=SimpleNamespace(photos=("a", "b")), paths={"a": photo} if photo else {})
        for s in states
    ]
    return SimpleNamespace(report=SimpleNamespace(figures=figures), states=made, root=root)


@pytest.fixture
def car(tmp_path):
    for day, value in ((3, 8.9), (3, 8.9), (17, 8.8), (24, 0.1)):
        keep_run(tmp_path / "results", measurement(value), datetime(2026, 4, day, 10, 30))
    return tmp_path


def test_the_same_result_is_kept_once(car):
    files = sorted(p.name for p in (car / "results" / "history").iterdir())
    assert files == ["2026-04-03_103000.json", "2026-04-17_103000.json", "2026-04-24_103000.json"]
    assert keep_run(car / "results", measurement(0.1), datetime(2026, 5, 1)) is None
    # another set of states is another run; two in one second do not overwrite each other
    assert keep_run(car / "results", measurement(0.1, ("set", "droop")),
                    datetime(2026, 4, 24, 10, 30)).name.endswith("_2.json")
    content = json.loads((car / "results" / "history" / files[0]).read_text())
    assert content["version"] == 1 and content["photos"] == {"front-left/set": 2}


def test_a_season_is_listed(car):
    runs, findings = read_history(car)
    steps = season(runs)["front-left", "set", "bar_arm_angle", "chassis"]
    assert not findings and [s.moved for s in steps] == [False, False, True]
    # two intervals of 0.2 in quadrature
    assert steps[2].change == pytest.approx(-8.7) and steps[2].half == pytest.approx(0.2828, abs=1e-4)
    text = "\n".join(history_lines(season(runs)))
    assert "2026-04-17 10:30" in text and "no change seen" in text and "-8.70 ± 0.28  changed" in text
    assert max(map(len, text.splitlines())) <= 80
    # measured again in the company of others: no step
    again = [*runs, replace(runs[-1], made=datetime(2026, 5, 1))]
    assert len(season(again)["front-left", "set", "bar_arm_angle", "chassis"]) == 3
    assert not season(runs, only="front-right") and not season(runs, names=("link_length",))


def test_what_notes_alone_did_is_no_change_of_the_car(tmp_path):
    """car.toml edited between two runs of the same photos: it said "changed"."""
    photo, notes = tmp_path / "a.jpg", tmp_path / "car.toml"

    def keep(day, value, note, pixels=b"one"):
        photo.write_bytes(pixels)
        notes.write_text(f'[front-left.standoff]\nbar_eye = "{note}"\n'
                         f'[front-right]\nstuck_within = "{day} mm"')
        assert keep_run(tmp_path / "results", measurement(value, root=tmp_path, photo=photo),
                        datetime(2026, 4, day, 10, 30))

    keep(1, 8.9, "34 mm")
    keep(2, 5.2, "16 mm")  # the same photos, another note
    keep(3, 0.1, "16 mm", b"two")  # other photos, the same notes
    keep(4, 4.0, "20 mm", b"three")  # both
    shown = season(read_history(tmp_path)[0])
    (steps,) = shown.values()
    assert [s.moved for s in steps] == [False, False, True, True]
    assert [s.again for s in steps] == [None, False, True, True]
    assert [s.other for s in steps] == [(), ("front-left.standoff.bar_eye",), (), ("front-left.standoff.bar_eye",)]
    text = "\n".join(history_lines(shown))
    assert "-3.70  by notes alone" in text and "the same photos; other than before: front-left.standoff.bar" in text
    assert "other than before as well" in text and max(map(len, text.splitlines())) <= 80


def test_the_command(car):
    result = run("history", car)
    assert result.exit_code == 0 and "front-left / set" in result.output
    assert result.output.startswith("Changed at the last run: front-left / set: bar arm angle.")
    content = json.loads(run("history", car, "--json", "--only", "front-left").stdout)
    assert [s["value"] for s in content["history"][0]["steps"]] == [8.9, 8.8, 0.1]
    result = run("history", car, "--figure", "bar_arm_angel")
    assert result.exit_code == 2 and "did you mean bar_arm_angle" in result.stderr
    assert run("history", car, "--only", "rear-left").exit_code == 2


@pytest.mark.parametrize("name, start", [("season.png", b"\x89PNG"), ("season.svg", b"<?xml")])
def test_the_plot(car, name, start):
    result = run("history", car, "--plot", car / name)
    assert result.exit_code == 0 and (car / name).read_bytes().startswith(start)


@pytest.mark.parametrize("text", [
    "{", "[]", "{\"version\": 1}", "{\"version\": \"x\"}", "\x00",
    "{\"version\": 1, \"made\": \"x\", \"photos\": {}, \"figures\": []}",
    "{\"version\": 1, \"made\": \"2026-04-03\", \"photos\": {}, \"figures\": [{\"name\": 1}]}"
])
def test_a_damaged_record_is_told_and_left_out(car, text):
    (car / "results" / "history" / "2026-04-20_000000.json").write_text(text)
    result = run("history", car)
    words = " ".join(result.output.split())
    assert result.exit_code == 1 and "cannot be read and was left out" in words and "2026-04-24" in words
    # a run is still kept beside it
    assert keep_run(car / "results", measurement(5.0), datetime(2026, 5, 1)) is not None


def test_a_newer_record_is_refused(car):
    (car / "results" / "history" / "2027-01-01_000000.json").write_text("{\"version\": 2}")
    result = run("history", car)
    assert (
        result.exit_code == 2
        and "version 2, this program reads 1" in result.stderr
        and "newer program" in result.stderr
    )
    with pytest.raises(CannotUse):
        read_history(car)


def test_no_record_at_all(tmp_path):
    result = run("history", tmp_path)
    assert result.exit_code == 2 and "photoangle measure" in result.stderr
