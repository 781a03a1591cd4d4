"""Whose errors a state's errors are: the names that keys of sources are made of."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Origin:
    """One set of photos, named so that errors shared with another set can be told by their keys.

    state: a name that no other set of photos has; corner: its corner of its car; car: the car and its
    chassis; prints: the printed sheets in the photos, by the car folder they belong to and what a rule said
    of them.
    """

    state: str = "photos"
    corner: str = ""
    car: str = ""
    prints: tuple[str, str] = ("", "")

    def place(self, marker: int | str) -> tuple[str, str, str, int | str]:
        """The key of a marker's (or tapped dot's) place on its part, as it sat in this state."""
        return "place", self.corner, self.state, marker
