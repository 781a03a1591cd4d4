"""The same results, in order, for any number of processes; left at once when asked."""

import os
import time

import pytest

from calib.running.cancellation import left_by
from calib.running.side_by_side import Workers, cores


def squared(x):
    time.sleep(0.02 * (x % 3))
    return x * x, os.getpid()


def fails(x):
    if x == 2:
        raise ValueError("two")
    return x


def slow(x):
    time.sleep(30)


@pytest.mark.parametrize("jobs", [1, 2, 3])
def test_in_order_for_any_number_of_jobs(jobs):
    with Workers(jobs) as workers:
        found = list(workers.map(squared, range(7)))
    assert [v for v, _ in found] == [x * x for x in range(7)]
    assert (os.getpid() in {pid for _, pid in found}) == (jobs == 1)


def test_one_item_starts_no_process():
    with Workers(4) as workers:
        assert list(workers.map(squared, [3])) == [(9, os.getpid())]


def test_what_goes_wrong_there_goes_wrong_here():
    with pytest.raises(ValueError, match="two"), Workers(2) as workers:
        list(workers.map(fails, range(4)))


def test_is_left_when_asked():
    class Left(Exception):
        pass

    start, asked = time.monotonic(), []

    def ask():
        asked.append(1)
        if len(asked) > 3:
            raise Left

    with pytest.raises(Left), left_by(ask), Workers(2) as workers:
        list(workers.map(slow, range(2)))
    assert time.monotonic() - start < 10


def test_as_many_as_asked_for_or_as_there_are_cores(monkeypatch):
    monkeypatch.setenv("PHOTOANGLE_JOBS", "3")
    assert cores() == 3
    for text in ("", "many", "0", "-2"):
        monkeypatch.setenv("PHOTOANGLE_JOBS", text)
        assert cores() >= 1
