"""The page gives the commands' figures, to the last digit, and its corrections and notes count for the
commands too."""

import json
import shutil

import pytest
from click.testing import CliRunner

from photoangle.carfile.corrections import (
    NAME,
    Corrections,
    CorrectionsError,
    read_corrections,
    save_corrections,
)
from photoangle.cli import main
from photoangle.output.answers_json import link_json
from photoangle.page.notes import NotTaken, read_as, set_value
from photoangle.page.work import Work


def command(*arguments):
    return json.loads(CliRunner().invoke(main, [str(a) for a in arguments] + ["--json", "--no-pictures"],
                                         catch_exceptions=False).stdout)


def test_measure_and_link_are_the_commands(page_car, caller):
    root, work = page_car
    assert json.loads(work.answer.measurement.report.to_json()) == command("measure", root)
    assert json.loads(link_json(work.answer.report, work.answer.answers)) == command("link", root)
    text = caller.get("/angles").get_data(as_text=True)
    from photoangle.output.table import format_value

    figure = next(f for f in work.answer.measurement.report.figures
                  if (f.state, f.name, f.datum) == ("set", "bar_arm_angle", "chassis"))
    assert all(digits in text for digits in format_value(figure)[:2])


def test_the_slider_at_rest_is_the_command_with_its_options(page_car, caller):
    root, _ = page_car
    there = caller.get("/api/link/front-left/full?change=-7.5&lowered=15").json["figures"]
    wanted = command("link", root, "--only", "front-left", "--change", "-7.5mm", "--lowered",
                     "15mm")["figures"]
    assert {(f["name"], f["state"]): f["value"]
            for f in there} == {(f["name"], f["state"]): f["value"]
                                for f in wanted}
    for bad in ("change=nan", "change=1e9", "lowered=x"):
        assert caller.get(f"/api/link/front-left/full?{bad}").status_code == 400


def test_the_comparison_is_the_command(page_car, caller):
    root, _ = page_car
    there = caller.get("/api/compare?before=front-left/set&after=front-left/fitted").json["figures"]
    wanted = command("compare", root / "front-left" / "set",
                     root / "front-left" / "fitted")["changes"][0]["figures"]
    assert [(f["name"], f["datum"], f["value"], f["verdict"])
            for f in there] == [(f["name"], f["datum"], f["change"], f["verdict"]) for f in wanted]
    for which in ("before", "after"):
        assert caller.get(f"/compare/{which}.jpg").data[:3] == b"\xff\xd8\xff"


@pytest.fixture
def small(page_car, tmp_path):
    root = tmp_path / "car"
    for part in ("front-left/set", "front-left/ride", "lens"):
        shutil.copytree(page_car[0] / part, root / part)
    shutil.copyfile(page_car[0] / "car.toml", root / "car.toml")
    return root


def test_a_correction_counts_for_page_and_command_alike(small):
    from photoangle.page.app import make_app
    from photoangle.page.sessions import Sessions
    from tests.page.conftest import HOST, Caller

    work, sessions = Work(small, auto=False), Sessions(small)
    caller = Caller(make_app(work, [HOST], sessions), sessions)
    before = command("measure", small)["figures"]
    name = sorted(p.name for p in (small / "front-left/set").glob("*.jpg"))[0]
    url = f"/api/markers/front-left/set/{name}"
    look = caller.get(f"/api/photos/front-left/set/{name}").json
    eye = next(m for m in look["markers"] if m["role"] == "bar_eye" and m["state"] == "used")
    gone = caller.post(url, json={"id": eye["id"], "what": "dismiss"}).json
    assert next(m for m in gone["markers"] if m["id"] == eye["id"])["state"] == "dismissed"
    work.jobs.start()
    work.jobs.wait(60)
    after = command("measure", small)["figures"]
    assert json.loads(work.answer.measurement.report.to_json())["figures"] == after
    assert next(s for s in work.answer.measurement.states if s.state == "set").scene.sightings[eye["id"]] == 3
    assert after != before
    # placed by a tap off its middle: found under it and refined to where it was seen
    middle = [sum(p[k] for p in eye["corners"]) / 4 + 6 for k in (0, 1)]
    found = caller.post(f"/api/under/front-left/set/{name}", json={"role": "bar_eye", "at": middle}).json
    assert found["refined"] and found["id"] == eye["id"]
    assert max(abs(a - b) for p, q in zip(found["corners"], eye["corners"], strict=False)
               for a, b in zip(p, q, strict=False)) < 0.05  # px
    placed = caller.post(url, json={"id": eye["id"], "what": "place", "corners": found["corners"]}).json
    assert next(m for m in placed["markers"] if m["id"] == eye["id"])["state"] == "placed"
    # dragged elsewhere: kept as put by hand, and told
    off = [[x + 300, y + 300] for x, y in eye["corners"]]
    told = caller.post(url, json={"id": eye["id"], "what": "place", "corners": off}).json
    assert any("by hand" in f["what"] for f in told["findings"])


def test_two_exchanged_roles_exchange_the_figures(small):
    from photoangle.core.kit import default_kit
    from photoangle.pipeline import measure_folder
    from tests.conftest import quiet

    before = measure_folder(small, quiet, only="front-left/set").states[0]
    kit = default_kit()
    ids = {kit.slot(i).role.key: i for i in before.scene.markers}
    a, b = ids["bar_eye"], ids["link_foot"]
    if kit.slot(a).form != kit.slot(b).form:
        pytest.skip("not of one form")
    save_corrections(small, Corrections({}, {"front-left/set": {a: "link_foot", b: "bar_eye"}}))
    after = measure_folder(small, quiet, only="front-left/set").states[0]
    import numpy as np

    assert np.allclose(after.scene.markers[a].translation_mm,
                       before.scene.markers[b].translation_mm,
                       atol=0.05)  # mm


@pytest.mark.parametrize("text", [
    "{", "[]", '{"version": 9}', '{"version": 1, "photos": {"a": 3}}',
    '{"version": 1, "roles": {"a": {"101": "nonsense"}}}',
    '{"version": 1, "photos": {"a": {"placed": {"101": [[1, 2]]}}}}',
    '{"version": 1, "photos": {"a": {"dismissed": [true]}}}'
])
def test_a_broken_corrections_file_is_explained(tmp_path, text):
    (tmp_path / NAME).write_text(text)
    with pytest.raises(CorrectionsError):
        read_corrections(tmp_path)


def test_notes_keep_the_comments_and_are_read_as_typed(page_car, tmp_path):
    file = tmp_path / "car.toml"
    shutil.copyfile(page_car[0] / "car.toml", file)
    before = file.read_text()
    assert set_value(tmp_path, ("front-left", "tape", "set", "hub_to_arch"), "12 3/4") == "12 3/4 in"
    after = file.read_text()
    assert [line for line in after.splitlines()
            if line not in before.splitlines()] == ['hub_to_arch = "12 3/4 in"']
    assert after.count("#") == before.count("#")
    set_value(tmp_path, ("rear-left", "tape", "droop", "hub_to_arch"), "380 mm")
    assert set_value(tmp_path, ("rear-left", "tape", "droop", "hub_to_arch"), "") == ""
    kept = file.read_text()
    for path, text in ((("front-left", "tape", "set", "hub_to_arch"),
                        "12 furlong"), (("car", "kit"), "x"), (("a", "b"), "1"), (("car", "units"), "ell"),
                       (("front-left", "tape", "../x", "hub_to_arch"), "1 mm"), (("front-left", "wanted",
                                                                                  "within_deg"), "x")):
        with pytest.raises(NotTaken):
            set_value(tmp_path, path, text)
    assert file.read_text() == kept


@pytest.mark.parametrize("path, text, read",
                         [(("front-left", "tape", "set", "hub_to_arch"), "14 7/8 in", "377.8 mm"),
                          (("front-left", "link", "thread_pitch"), "24 tpi", "1.058 mm"),
                          (("front-left", "link", "threaded_ends"), "2", ""), (("car", "name"), "5", ""),
                          (("front-left", "standoff", "bar_eye"), "", "")])
def test_only_lengths_are_read_back(path, text, read):
    assert read_as(path, text, "mm") == read


def test_a_section_that_is_none_is_no_place_to_write(tmp_path):
    (tmp_path / "car.toml").write_text("front-left = 3\n")
    with pytest.raises(NotTaken, match="no section"):
        set_value(tmp_path, ("front-left", "wanted", "within_deg"), "2")


@pytest.mark.parametrize("last", [1, 9, 60, 140, 200])
def test_long_work_is_left_at_any_step_with_nothing_half_done(small, last):
    """The steps are of finding, of solving, of the link and of the pictures; none may be half written."""
    work, asked = Work(small, auto=False), []
    real = work.jobs.check

    def check():
        asked.append(work.jobs.state.label)
        if len(asked) == last:
            work.jobs.stop()
        real()

    work.jobs.check = check
    work.jobs.start()
    work.jobs.wait(60)
    assert "stopped" in work.jobs.state.words and not work.jobs.state.running and len(asked) == last, (
        len(asked), asked[-1])
    assert not [p for p in small.rglob("*") if ".part" in p.name]
    assert work.answer.number == 0 or json.loads((small / "results" / "measure.json").read_text())["figures"]
