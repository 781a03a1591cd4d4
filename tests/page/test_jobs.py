"""The one background job: begun anew by a change that comes while it runs, left when the user says so."""

import time

from photoangle.page.jobs import Jobs


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
