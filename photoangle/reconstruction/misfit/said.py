"""What is said of photos that do not fit."""

from __future__ import annotations

import numpy as np

from photoangle.core.findings import ATTENTION, UNUSABLE, Finding


def in_parts(sightings, parts):
    """The Finding that photos of a state fit only in parts (tuples of their indices), or none with
    another."""
    names = ", ".join(s.name for s in sightings)
    if len(sightings) > 2 and len(parts) == len(sightings):
        return Finding(
            UNUSABLE, names, "no two of these photos fit each other: they were changed after they were taken,"
            " show a screen or a print, or the car (or the card) moved between the photos of this state;"
            " nothing was measured from them",
            "use the original photos of the real car, as the phone wrote them, with the car chocked")
    said = "; ".join(", ".join(sightings[k].name for k in part) for part in parts[:4])
    return Finding(
        UNUSABLE, names, f"these photos fit each other only in parts ({said}): they are of different states,"
        " or the car (or the card) moved between the photos of this state; nothing was measured through them",
        "keep the photos of one state, and move the others to theirs; else chock the car and take them anew")


def strangers(sightings, parts):
    """A Finding for each group of photos that was left out beside the largest, the first of parts."""
    return [
        Finding(
            ATTENTION, ", ".join(sightings[k].name for k in part),
            f"{'these photos do' if len(part) > 1 else 'this photo does'} not fit the other {len(parts[0])}:"
            " of another state, changed after it was taken, or the car (or the card) moved between the photos"
            " of this state; left out",
            "move it to its own state, or take it again with the car chocked and nobody leaning on it")
        for part in parts[1:]
    ]


def nothing_fits(solution, problem):
    """The Finding that no model explains a Problem's photos."""
    times = np.sqrt(solution.typical_misfit())
    return Finding(
        UNUSABLE, ", ".join(s.name for s in problem.sightings), "what these photos show does not fit"
        f" together: {times:.0f} times farther off than it can be, with any lens and any change of the"
        " picture that was tried; nothing was measured from them", "use the original photos of one state, of"
        " the real car and not of a screen or a print; take them anew")
