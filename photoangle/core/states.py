"""The states a car is photographed in, and the corners and axles of a car: their names, in one place."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol, TypeVar

AXLES = ("front", "rear")
CORNERS = ("front-left", "front-right", "rear-left", "rear-right")

# How the car stands: hanging on stands; with the knuckles jacked to ride height; on its wheels; as set, with
# the new link; as set, with one link off, where the bar shows its free shape;
# near the bump stop.
DROOP, SET, RIDE, FITTED, FREE, BUMP = "droop", "set", "ride", "fitted", "free", "bump"
# As set, the steering hard over: with the bump stop, where a gap is looked at and nothing is answered from.
LOCK_LEFT, LOCK_RIGHT = "lock-left", "lock-right"
LOCKS = (LOCK_LEFT, LOCK_RIGHT)
STATES = (DROOP, SET, RIDE, FITTED, FREE, BUMP, *LOCKS)


class InState(Protocol):
    """Anything that belongs to one state."""

    @property
    def state(self) -> str: ...


Stated = TypeVar("Stated", bound=InState)


def in_order(states: Iterable[Stated]) -> list[Stated]:
    """Things of states in the order of the work: droop, part-way ones, set, ride, those with the new link,
    those that a gap is looked at in."""
    return sorted(states, key=lambda s: _rank(s.state))


def _rank(state: str) -> tuple[int, str]:
    # a state may be numbered, as in "set-2"; what is none of these stands part way
    later = [k for k, name in enumerate((SET, RIDE, FITTED, BUMP, *LOCKS)) if state.startswith(name)]
    return (0 if state == DROOP else 2 + later[0] if later else 1), state


def is_set(state: str) -> bool:
    """Whether a state stands at ride height on its knuckles, the link as it was."""
    return state.startswith(SET)


def has_new_link(state: str) -> bool:
    """Whether a state's name says that the new link is in."""
    return state.startswith(FITTED)


def is_looked_at(state: str) -> bool:
    """Whether a state is there for its gaps alone: at a lock, or near the bump stop."""
    return state.startswith((*LOCKS, BUMP))


def at_ride_height(state: str) -> bool:
    """Whether a state on stands is meant to stand as the car does on its wheels."""
    return is_set(state) or has_new_link(state)
