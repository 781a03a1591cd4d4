"""How a command runs in a terminal: a bar meanwhile, a message and an exit code for what a user can cause."""

from __future__ import annotations

import contextlib
import functools
import os
import signal
import sys

import click

from calib.errors import InputError
from photoangle.output.plain import plain
from photoangle.output.terminal import say


class Fault(click.ClickException):
    """What, where and what to do, with exit code 2."""

    exit_code = 2

    def __init__(self, error):
        super().__init__(f"{error}.")

    def show(self, file=None):
        say(f"photoangle: {plain(self.message)}", err=True)


# What a shell expects of a command that a signal ended: 128 and its number.
_INTERRUPTED, _TERMINATED = 130, 143


def _terminated(*_):
    """What was begun is put away as after any other end."""
    sys.exit(_TERMINATED)


def guarded(function):
    """Turn what a user can cause into a message and exit code 2, and signals into their own codes."""
    @functools.wraps(function)
    def run(*args, **kwargs):
        try:
            with contextlib.suppress(ValueError):  # not in the main thread: no signals there
                signal.signal(signal.SIGTERM, _terminated)
            return function(*args, **kwargs)
        except KeyboardInterrupt:
            say("photoangle: stopped.", err=True)
            sys.exit(_INTERRUPTED)
        except ImportError as error:
            if ".so" in str(error) or "DLL" in str(error):
                raise Fault(
                    InputError("this computer", f"a system library is missing ({error})",
                               "install it, on Debian or Ubuntu: apt install libgl1 libglib2.0-0")) from error
            if (error.name or "photoangle").partition(".")[0] in ("photoangle", "calib"):
                raise
            raise Fault(
                InputError("this computer", f"a library is missing ({error})",
                           f"install it: {sys.executable} -m pip install --upgrade photoangle")) from error
        except BrokenPipeError:
            # whoever read the output has heard enough
            sys.stdout = open(os.devnull, "w")  # noqa: SIM115 (it outlives this block)
            sys.exit(0)
        except OSError as error:
            raise Fault(InputError(str(error.filename or ""), f"{error.strerror or error}",
                                    "check the folder, its permissions and the disk's free space")) from error
        except InputError as error:
            raise Fault(error) from error

    return run


def progress(shown):
    """progress(items, label): a bar on the terminal's error stream where one is looking."""
    def over(items, label):
        items = list(items)
        if not shown or not sys.stderr.isatty() or len(items) < 2:
            yield from items
            return
        with click.progressbar(items, label=f"{label:20s}", file=sys.stderr) as bar:
            yield from bar

    return over
