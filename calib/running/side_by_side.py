"""The same function of many items, on several processes: results in the items' order, the same for any number
of them."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterable, Iterator
from types import TracebackType
from typing import TYPE_CHECKING, TypeVar

from calib.running.cancellation import may_leave

if TYPE_CHECKING:  # what one job alone does not need is loaded when it is asked for
    from concurrent.futures import Future, ProcessPoolExecutor

Item = TypeVar("Item")
Result = TypeVar("Result")

# How often long work is asked whether it is to be left.
_ASK_S = 0.1


def cores() -> int:
    """How many processes this one may keep busy: PHOTOANGLE_JOBS, or one for each core."""
    asked = os.environ.get("PHOTOANGLE_JOBS", "")
    if asked.isdigit() and int(asked) > 0:
        return int(asked)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Workers:
    """Up to ``jobs`` processes, started when first needed and ended with the block.

    Each is a copy of this one where that is safe, else a fresh interpreter, which takes half a second more.
    """

    def __init__(self, jobs: int = 1):
        self.jobs = max(1, jobs)
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self._end(kind is not None)

    def map(self, function: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
        """function(item) of each item, in order; here, where there is one item or one job.

        function and items go to other processes: a function of a module, and plain data.  Raises what
        ``function`` raises, and what asks to leave (`cancellation`).
        """
        items = list(items)
        if self.jobs == 1 or len(items) < 2:
            yield from map(function, items)
            return
        if self._pool is None:
            import multiprocessing
            from concurrent.futures import ProcessPoolExecutor

            self._pool = ProcessPoolExecutor(self.jobs, multiprocessing.get_context(_way()), _as_a_worker)
        futures = [self._pool.submit(function, item) for item in items]
        try:
            for future in futures:
                yield _result(future)
        except BaseException:
            self._end(True)
            raise

    def _end(self, at_once: bool) -> None:
        pool, self._pool = self._pool, None
        if pool is None:
            return
        processes = list((getattr(pool, "_processes", None) or {}).values())
        pool.shutdown(wait=not at_once, cancel_futures=True)
        for process in processes if at_once else ():
            process.terminate()


def _way() -> str:
    """How a worker is started.  A copy of a process with other threads, be they a library's, would have the
    locks that they held at that moment, and wait for ever: the system is asked how many there are."""
    try:
        return "fork" if len(os.listdir("/proc/self/task")) == 1 else "spawn"
    except OSError:
        return "spawn"


def _result(future: Future[Result]) -> Result:
    from concurrent.futures import wait

    while not wait([future], _ASK_S).done:
        may_leave()
    return future.result()


def _as_a_worker() -> None:
    """Ctrl-C is for the process that started this one; OpenCV's threads are not in a copy, and the cores are
    taken by the other workers."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    cv2.setNumThreads(1)
