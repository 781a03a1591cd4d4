"""Long work left between its steps: whoever runs it says how, and the work asks at each step."""

from __future__ import annotations

from contextlib import contextmanager
from contextvars import ContextVar

_ask = ContextVar("ask", default=None)


@contextmanager
def left_by(ask):
    """Within this, and in this thread, every step calls ``ask``, which raises to have the work left."""
    token = _ask.set(ask)
    try:
        yield
    finally:
        _ask.reset(token)


def may_leave():
    """Called by long work where it can be left with nothing half done."""
    ask = _ask.get()
    if ask is not None:
        ask()
