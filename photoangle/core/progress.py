"""How far long work is, told while it runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable

# progress(items, label): the items one by one, shown to whoever looks.
Progress = Callable[[Iterable, str], Iterable]


def quiet(items: Iterable, label: str) -> Iterable:
    """A Progress that shows nothing."""
    return items
