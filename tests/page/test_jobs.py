"""The one background job: begun anew by a change that comes while it runs, left when the user says so."""

import time

from photoangle.page.jobs import Jobs
from photoangle.page.serve import Served


def test_a_change_while_it_runs_begins_it_anew_and_a_stop_does_not():
    runs, ended = [], []

    def work(jobs):
        runs.append(time.monotonic())
        end = time.monotonic() + (10 if len(runs) == 1 else 0.05)
        while time.monotonic() < end:
            jobs.say("working")
            time.sleep(0.002)
        ended.append(len(runs))
        return "done"

    jobs = Jobs(work)
    jobs.start()
    while not runs:
        time.sleep(0.001)
    jobs.start()
    began = time.monotonic()
    while jobs.state.words != "done":
        assert time.monotonic() < began + 8
        time.sleep(0.005)
    assert len(runs) == 2 and ended == [2]

    del runs[:]
    jobs.start()
    while not runs:
        time.sleep(0.001)
    jobs.start()
    jobs.stop()
    jobs.wait(5)
    assert len(runs) == 1 and "stopped" in jobs.state.words and not jobs.state.running


def test_the_page_stops_and_begins_again(browser, tmp_path):
    served = Served(tmp_path / "car", 0, auto=False)

    def work(jobs):
        for k in range(10_000):
            jobs.say("working", k, 10_000)
            time.sleep(0.002)

    served.work.jobs._work = work
    served.start()
    page = browser.new_page()
    try:
        page.goto(served.url())
        page.wait_for_url("**/")
        served.work.jobs.start()
        for _ in range(2):
            page.locator("#job-stop").click()
            page.locator("#job-words", has_text="stopped").wait_for()
            assert not served.work.jobs.state.running and page.locator("#job-stop").is_hidden()
            page.locator("#job-start").click()
            page.locator("#job-words", has_text="working").wait_for()
            assert served.work.jobs.state.running
    finally:
        page.close()
        served.stop()
