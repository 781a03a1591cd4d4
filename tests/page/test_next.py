"""What to do next, in the order of the hands: hanging, jacked up, rule and tape, on its wheels, the link, the
new link, the proof; lens photos are no wall, and nothing is said that cannot be done on the page."""

import re
from dataclasses import replace
from types import SimpleNamespace

import pytest

from photoangle.core.findings import ATTENTION, Finding, Refusal
from photoangle.linkage.advice import CHANGE
from photoangle.page.app import make_app
from photoangle.page.sessions import Sessions
from photoangle.page.way.next_steps import things_to_do, what_next
from photoangle.page.work import Answer, Work
from tests.page.conftest import HOST, Caller, picture


@pytest.fixture
def work(tmp_path):
    (tmp_path / "car").mkdir()
    return Work(tmp_path / "car", auto=False)


def photograph(work, *places):
    for place in places:
        (work.root / place).mkdir(parents=True, exist_ok=True)
        (work.root / place / "IMG_1.jpg").write_bytes(picture())


def pages(work):
    return [n.page for n in things_to_do(work)]


def test_from_an_empty_folder_in_the_order_of_the_hands(work):
    assert pages(work)[:2] == ["/kit", "/photos/front-left/droop"]
    photograph(work, "lens")
    assert what_next(work).page == "/photos/front-left/droop"  # one lens photo is no wall
    photograph(work, "front-left/droop")
    assert what_next(work).page == "/photos/front-left/set"
    photograph(work, "front-left/set")
    order = pages(work)
    assert "/photos/front-left/ride" in order and "/lens" in order
    assert order.index("/photos/front-left/ride") < order.index("/lens")


def test_all_corners_while_the_wheels_are_off_and_each_on_its_wheels(work):
    photograph(work, "front-left/droop", "front-right/droop")
    order = [p for p in pages(work) if p.startswith("/photos")]
    assert order == ["/photos/front-left/set", "/photos/front-right/set", "/photos/front-left/ride",
                     "/photos/front-right/ride"]
    photograph(work, "front-left/set", "front-right/set", "front-left/ride")
    assert [p for p in pages(work) if p.startswith("/photos")] == ["/photos/front-right/ride"]
    # by tape it is known as well, and not asked again
    (work.root / "car.toml").write_text('[front-right.tape.ride]\nhub_to_arch = "325 mm"\n')
    assert [p for p in pages(work) if p.startswith("/photos")] == []


def test_after_a_stop_it_does_not_wait(work):
    photograph(work, "front-left/droop", "front-left/set")
    work.jobs.state = replace(work.jobs.state, words="stopped; start it again whenever you like")
    said = what_next(work)
    assert "Wait" not in said.words and "Work it out" in said.why


@pytest.fixture
def measured(page_car, tmp_path):
    """A Work over the demo's own files with its answer, whose parts a test may put others in place of."""
    root, done = page_car
    work = Work(root, auto=False)
    work.answer = Answer(**vars(done.answer))
    assert work.fresh()
    return work


def test_stand_offs_are_asked_for_before_the_link(measured, monkeypatch):
    car, _ = measured.car()
    monkeypatch.setattr(measured, "car", lambda: (replace(
        car, corners={"front-left": replace(car.corner("front-left"), standoff={})}), None))
    order = list(things_to_do(measured))
    asked = next(n for n in order if "stand-off" in n.words)
    assert "bar eye" in asked.words and asked.page == "/tape/front-left#standoff"
    on_link = [k for k, n in enumerate(order) if n.page in ("/link/front-left", "/compare")]
    assert order.index(asked) < min(on_link)


def changing(work):
    """The answer as one that wants the link changed."""
    a = work.answer.answers[0]
    advice = replace(a.advice, verdict=CHANGE, change_mm=-10.0, half_turns=-8)
    work.answer.answers = [replace(a, advice=advice, base=replace(a.base, state="set"))]


def test_a_contradiction_comes_before_the_change_and_fitted_after_it(measured):
    changing(measured)
    a = measured.answer.answers[0]
    against = Finding(ATTENTION, "front-left", "set and all states together contradict each other", "look")
    measured.answer.answers = [replace(a, contradiction=against)]
    order = list(things_to_do(measured))
    words = [n.words for n in order]
    said = next(k for k, w in enumerate(words) if "contradict" in w)
    change = next(k for k, w in enumerate(words) if "Set the link" in w)
    fitted = next(k for k, n in enumerate(order) if n.page == "/photos/front-left/fitted")
    assert said < change < fitted and "contradict" in order[said].why
    # the demo's own slip of the tape is among what comes first, with what would explain it
    assert any("tape" in w.lower() and "207" in w for w in words[:change])


def test_nothing_is_said_that_cannot_be_done_on_the_page(measured):
    report = SimpleNamespace(**vars(measured.answer.measurement.report))
    report.findings = [Finding(ATTENTION, "front-left/set", "something", do) for do in (
        "make the folder writable, or use --no-pictures", "`photoangle link` allows for the difference",
        "write leads_away = true under hose", "write damper_ratio = 0.8 under travel")]
    measured.answer.measurement = replace(measured.answer.measurement, states=[])
    measured.answer.measurement.report = report
    report.comparisons, report.figures = [], []
    words = [n.words for n in things_to_do(measured)]
    assert not any(re.search(r"--|photoangle ", w) for w in words)
    assert any(w.endswith("under hose") for w in words)
    assert any(w.endswith("(in the file car.toml)") and "damper_ratio" in w for w in words)


def test_with_nothing_left_to_do_it_still_leads_somewhere(measured):
    a = measured.answer.answers[0]
    refused = Refusal(Finding(ATTENTION, "front-left", "no answer", "look"))
    measured.answer.answers = [replace(a, advice=refused, check=None, contradiction=None)]
    measured.answer.measurement, measured.answer.steps = None, []
    assert list(things_to_do(measured)) == [] and what_next(measured).page == "/angles"


def test_each_leads_to_a_page_that_is_there(measured):
    sessions = Sessions(measured.root)
    caller = Caller(make_app(measured, [HOST], sessions), sessions)
    changing(measured)
    for step in things_to_do(measured):
        assert caller.get(step.page.partition("#")[0]).status_code == 200, step
