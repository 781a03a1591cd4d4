"""The nouns that the parts of Photoangle hand to each other.  Frozen, without logic."""

from __future__ import annotations

from dataclasses import dataclass

NOTE, ATTENTION, UNUSABLE = "note", "attention", "unusable"


@dataclass(frozen=True)
class Finding:
    """Something to tell the user: where, what is the matter, and what to do about it.

    level: "note" (good to know), "attention" (measured, but look at this) or "unusable".
    """

    level: str
    where: str
    what: str
    do: str = ""


@dataclass(frozen=True)
class Refusal:
    """Something that could not be used as given, and why.  A value, not an exception."""

    finding: Finding
