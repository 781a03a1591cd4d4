"""Long work in the background: one job at a time, with progress and a stop button."""

from __future__ import annotations

import threading
import time
import traceback
from dataclasses import dataclass

from calib.errors import InputError
from calib.running.cancellation import left_by


class Stopped(Exception):
    """The user stopped the job."""


@dataclass(frozen=True)
class JobProgress:
    """running; label; done of total steps; words: how it ended, where it has; number: counts finished
    jobs."""

    running: bool = False
    label: str = ""
    done: int = 0
    total: int = 0
    words: str = ""
    number: int = 0
    seconds: float = 0.0


class Jobs:
    """Runs one function at a time in a thread.  A call that comes while it runs has it left at its next step
    and begun anew."""

    def __init__(self, work, wait_s=0.3):
        self._work, self._wait_s = work, wait_s
        self._lock = threading.Lock()
        self._thread = None
        self._again, self._stop = False, threading.Event()
        self._due = None
        self.state = JobProgress()

    def soon(self, wait_s=None):
        """Start after a pause in which nothing else is asked for."""
        with self._lock:
            if self._due is not None:
                self._due.cancel()
            self._due = threading.Timer(self._wait_s if wait_s is None else wait_s, self.start)
            self._due.daemon = True
            self._due.start()

    def start(self):
        """Start now; what runs was begun before the last change, and is begun anew."""
        with self._lock:
            if self._thread is not None:
                self._again = True
                self._stop.set()
                return
            self._stop.clear()
            self.state = JobProgress(True, "starting", number=self.state.number)
            self._thread = threading.Thread(target=self._run, daemon=True)
            self._thread.start()

    @property
    def due(self):
        """Whether a start is waiting for its pause to end."""
        return self._due is not None and self._due.is_alive()

    def stop(self):
        """Stop at the next step."""
        with self._lock:
            if self._due is not None:
                self._due.cancel()
            self._again = False
            self._stop.set()

    def wait(self, timeout_s=None):
        """Wait for the running job, for tests and for the end of the program."""
        thread = self._thread
        if thread is not None:
            thread.join(timeout_s)

    def progress(self, items, label):
        """Yield items, counting; raises Stopped once the user asked for it."""
        items = list(items)
        for k, item in enumerate(items):
            self.say(label, k, len(items))
            yield item
        self.say(label, len(items), len(items))

    def say(self, label, done=0, total=0):
        """Tell where the job is.  Raises Stopped."""
        self.check()
        self.state = JobProgress(True, label, done, total, number=self.state.number)

    def check(self):
        """Raises Stopped once the user asked for it: the work asks between its steps."""
        if self._stop.is_set():
            raise Stopped

    def _run(self):
        began = time.monotonic()
        try:
            with left_by(self.check):
                words = self._work(self)
        except Stopped:
            words = "stopped; start it again whenever you like"
        except InputError as error:
            words = str(error)
        except Exception:  # whatever happens in the thread must reach the page
            traceback.print_exc()
            words = "something went wrong inside; the terminal says what"
        with self._lock:
            self._thread = None
            self.state = JobProgress(words=words,
                                     number=self.state.number + 1,
                                     seconds=time.monotonic() - began)
            again, self._again = self._again, False
        if again:
            self.start()
