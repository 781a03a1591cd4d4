"""Nothing old is shown as new: files changed by another program, screens left open, a report, counts, a
program that is gone, a visit that is over."""

import os
import shutil
import time

import pytest

from photoangle.page.app import make_app
from photoangle.page.serve import Served
from photoangle.page.sessions import Sessions
from photoangle.page.work import Answer, Work
from tests.page.conftest import HOST, Caller, picture, until


class Slow:
    """Stands in for the measuring of a Work: counts, and takes as long as it is told."""

    def __init__(self, work, seconds=0.0):
        self.work, self.seconds, self.runs = work, seconds, 0
        work.jobs._work = self

    def __call__(self, jobs):
        made_from = self.work._noticed = self.work.fingerprint()
        self.runs += 1
        end = time.monotonic() + self.seconds
        while time.monotonic() < end:
            jobs.say("working")
            time.sleep(0.005)
        self.work.answer = Answer(made_from=made_from, number=self.work.answer.number + 1)
        return "worked out"


def settled(caller, most_s=5):
    """Ask for the job's state, as an open page does, until the answer is of the folder as it is."""
    end = time.time() + most_s
    while True:
        state = caller.get("/api/job").json
        if state["fresh"] and not state["running"]:
            return state
        assert time.time() < end, state
        time.sleep(0.02)


@pytest.fixture
def watched(tmp_path):
    """(root, Work that works things out by itself, Caller)."""
    from photoangle.carfile.template import start_folder

    root = tmp_path / "car"
    start_folder(root)
    sessions, work = Sessions(root), Work(root, wait_s=0.02)
    slow = Slow(work)
    caller = Caller(make_app(work, [HOST], sessions), sessions)
    work.jobs.start()
    settled(caller)
    return root, work, caller, slow


def touch(path):
    os.utime(path, ns=(path.stat().st_atime_ns, path.stat().st_mtime_ns + 10**9))


def test_a_file_changed_on_disk_is_worked_out_anew(watched):
    root, work, caller, slow = watched
    number, runs = work.answer.number, slow.runs
    touch(root / "car.toml")
    assert not caller.get("/api/job").json["fresh"]
    assert settled(caller)["answer"] > number and slow.runs > runs
    (root / "front-left" / "set").mkdir(parents=True, exist_ok=True)
    (root / "front-left" / "set" / "IMG_1.jpg").write_bytes(picture())
    number = work.answer.number
    assert settled(caller)["answer"] > number
    (root / "front-left" / "set" / "IMG_1.jpg").unlink()
    number = work.answer.number
    assert settled(caller)["answer"] > number
    # and nothing runs where nothing changed
    runs = slow.runs
    for _ in range(10):
        caller.get("/api/job")
        time.sleep(0.02)
    assert slow.runs == runs


def test_a_kit_file_is_part_of_it(watched):
    root, work, caller, _ = watched
    (root / "my.toml").write_text('family = "DICT_6X6_250"\nsize = "50 mm"\n')
    text = (root / "car.toml").read_text()
    (root / "car.toml").write_text(text.replace("[car]", '[car]\nkit = "my.toml"', 1))
    settled(caller)
    assert work.car()[0].kit == "my.toml"
    number = work.answer.number
    touch(root / "my.toml")
    assert settled(caller)["answer"] > number


def test_what_cannot_be_worked_out_is_not_tried_for_ever(watched):
    root, work, caller, slow = watched

    def broken(jobs):
        work._noticed = work.fingerprint()
        slow.runs += 1
        raise OSError("no")

    work.jobs._work = broken
    touch(root / "car.toml")
    for _ in range(20):
        state = caller.get("/api/job").json
        time.sleep(0.02)
    assert slow.runs <= 3 and not state["running"] and "wrong" in state["words"]


def test_stopped_stays_stopped_until_something_else_changes(watched):
    root, work, caller, slow = watched
    slow.seconds = 5
    touch(root / "car.toml")
    while not caller.get("/api/job").json["running"]:
        time.sleep(0.01)
    caller.post("/api/job/stop")
    work.jobs.wait(5)
    for _ in range(10):
        state = caller.get("/api/job").json
        time.sleep(0.02)
    assert not state["running"] and "Wait" not in state["next"]["words"]
    slow.seconds = 0
    touch(root / "car.toml")
    settled(caller)


def test_a_report_is_never_written_from_an_old_answer(page_car, tmp_path):
    root = shutil.copytree(page_car[0], tmp_path / "car")
    shutil.rmtree(root / "results", ignore_errors=True)
    work, sessions = Work(root, auto=False), Sessions(root)
    caller = Caller(make_app(work, [HOST], sessions), sessions)
    work.answer = Answer(**(vars(page_car[1].answer) | {"made_from": work.fingerprint()}))
    assert work.fresh() and caller.get("/report.html").status_code == 200
    written = root / "results" / "report.html"
    assert written.read_bytes() == caller.get("/report.html").data
    written.unlink()
    touch(root / "car.toml")
    answer = caller.get("/report.html", headers={"Accept": "text/html"})
    assert answer.status_code == 409 and not written.exists()
    assert "older than the photos" in caller.get("/report").get_data(as_text=True)


def test_every_screen_with_figures_carries_its_answers_number(page_car, caller):
    number = page_car[1].answer.number
    for path in ("/angles", "/link", "/compare", "/report"):
        assert f'data-answer="{number}"' in caller.get(path).get_data(as_text=True), path
    for path in ("/api/link/front-left", "/api/link/front-left/row?lowered=0", "/api/compare"):
        assert caller.get(path).json["number"] == number, path


def open_page(browser, served):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(served.url())
    page.wait_for_url("**/")
    return context, page


@pytest.fixture
def served(tmp_path):
    page = Served(tmp_path / "car", 0, wait_s=0.05)
    page.slow = Slow(page.work)
    page.start()
    yield page
    page.stop()


SEEN = "!document.getElementById('{}').hidden"


def test_an_open_screen_says_that_it_is_old_and_counts_go_along(browser, served):
    context, page = open_page(browser, served)
    try:
        until(page, "document.documentElement.dataset.answer === '1'")
        page.goto(f"http://127.0.0.1:{served.port}/compare")
        assert page.get_attribute("main", "data-answer") == "1"
        served.slow.seconds = 1.0
        (served.work.root / "front-left" / "set").mkdir(parents=True, exist_ok=True)
        (served.work.root / "front-left" / "set" / "IMG_1.jpg").write_bytes(picture())
        until(page, SEEN.format("old"), 10)
        assert "being worked out" in page.inner_text("#old")
        # the count of photos in the way, without a reload
        assert "1 in 1 state" in page.inner_text("nav")
        until(page, "!document.getElementById('reload').hidden", 10)
        assert "old ones" in page.inner_text("#old")
        page.click("#reload")
        until(page, "document.querySelector('main').dataset.answer === '2'", 10)
        assert page.locator("#old").is_hidden()
    finally:
        context.close()


def test_a_program_that_is_gone_is_said_and_its_bar_stops(browser, tmp_path):
    served = Served(tmp_path / "car", 0, wait_s=0.05)
    Slow(served.work, 60)
    served.start()
    context, page = open_page(browser, served)
    try:
        until(page, SEEN.format("job"), 10)
        served.stop()
        until(page, SEEN.format("dead"), 20)
        assert page.locator("#job").is_hidden() and "does not answer since" in page.inner_text("#dead")
    finally:
        context.close()
        served.stop()


def test_a_visit_that_is_over_says_so_and_offers_to_come_in_again(browser, served):
    context, page = open_page(browser, served)
    try:
        served.sessions._sessions.clear()
        until(page, SEEN.format("gone"), 10)
        assert "visit has ended" in page.inner_text("#gone") and page.locator("#dead").is_hidden()
        page.click("#gone a")
        page.wait_for_url("**/enter")
        assert "not let in" in page.inner_text("#entering")
        page.fill("#address", served.url())
        page.click("button")
        page.wait_for_url(f"http://127.0.0.1:{served.port}/")
        assert page.locator("nav").is_visible()
    finally:
        context.close()
