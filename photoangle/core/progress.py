"""How far long work is, told while it runs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol, TypeVar

Item = TypeVar("Item")


class Progress(Protocol):
    """progress(items, label): the items one by one, shown to whoever looks."""

    def __call__(self, items: Iterable[Item], label: str, /) -> Iterable[Item]: ...


def quiet(items: Iterable[Item], label: str) -> Iterable[Item]:
    """A Progress that shows nothing."""
    return items
