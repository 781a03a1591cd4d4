"""The states a car is photographed in, and the corners of a car."""

from __future__ import annotations

# States are taken in the order in which the work goes: hanging first, the new link last.
_FIRST, _LAST = "droop", ("set", "ride", "fitted")


def in_order(states):
    """States in the order of the work: droop, part-way ones, set, ride, then those with the new link."""
    def rank(name):
        if name == _FIRST:
            return 0, name
        for k, last in enumerate(_LAST):
            if name.startswith(last):
                return 2 + k, name
        return 1, name

    return sorted(states, key=lambda s: rank(s.state))


def has_new_link(state):
    """Whether a state's name says that the new link is in."""
    return state.startswith("fitted")

AXLES = ("front", "rear")
CORNERS = ("front-left", "front-right", "rear-left", "rear-right")
