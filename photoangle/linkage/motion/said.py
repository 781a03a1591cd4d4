"""What is said about joints by motion: what changed between states, what is open, and what helps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.roles import ARM_BALL_JOINT, BAR_BUSH, BAR_EYE, LINK_FOOT
from photoangle.linkage.motion.model import JOINTS
from photoangle.linkage.motion.observed import GivenOfMotion, What

# A joint with more than this standard uncertainty in some direction is given, and said to be weak.
WEAK_MM = 3.0
_PART = {"bar": "bar", "arm": "control arm"}
_LINK_HELP = "turn the link about its own length between the states, add a state, or give the {}'s stand-off"
# What a joint needs, in the user's words.
_HELP = {
    BAR_EYE: _LINK_HELP.format("eye"),
    LINK_FOOT: _LINK_HELP.format("foot"),
    ARM_BALL_JOINT: "steer the knuckle a little between the states, add a state, or give the ball joint's"
                    " stand-off",
}


def _words(name: str) -> str:
    return name.replace("_", " ")


def change_said(given: GivenOfMotion, what: What, rivals: Sequence[int], where: str) -> Finding:
    """A Finding for a change that was found: see `moved.next_change`."""
    if what.kind in ("cut", "link"):
        where = f"{where}/{given.names[what.state]}".strip("/")
    if what.kind == "cut":
        others = (
            f" (or marker {', '.join(str(r) for r in rivals)} on the same part: which of them can't be told)"
        )
        return Finding(
            ATTENTION, where, f"marker {what.of} sits elsewhere on its part than in the states before"
            f"{others if rivals else ''}; from here on it has a place of its own",
            "was it re-stuck or knocked?")
    if what.kind == "link":
        return Finding(ATTENTION, where,
                       "the link is another one here, or has another length, than in the states"
                       " before", "say from which state on the new link is in")
    if what.kind == "point":
        point = given.points[what.of]
        return Finding(
            ATTENTION, where, f"the place given for the {_words(point.joint)} on marker {point.marker} does"
            " not fit how the parts moved: it is left out",
            "measure from the marker to the joint's middle again")
    tape = given.tapes[what.of]
    return Finding(ATTENTION, where, f"the taped length from {_words(tape.first)} to {_words(tape.second)},"
                   f" {tape.value_mm:g} mm, does not fit how the parts moved: it is left out",
                   "tape it again from centre to centre")


def misfit_said(chi2: float, dof: int, where: str) -> Finding:
    """A Finding where the residuals as a whole are larger than their sigmas."""
    return Finding(
        ATTENTION, where, "the markers do not move quite as rigid parts on fixed axes would (chi-squared"
        f" {chi2:.0f} with {dof} degrees of freedom): every plus-or-minus is widened by"
        f" {np.sqrt(chi2 / dof):.1f}", "is a marker loose, a bush worn, or a part bent?")


def still_said(body: str, turned_deg: float, where: str) -> Finding:
    """A Finding for a part that did not turn enough for an axis."""
    return Finding(
        ATTENTION, where, f"the {_PART[body]} turned by only {turned_deg:.1f} deg between the states, or has"
        " no marker: its axis is not known",
        "put a marker on it, and raise the knuckle further between the states")


def open_said(known: Mapping[str, tuple[Array, Array]], open_: Mapping[str, Array],
              bush_observed: bool, states: int, where: str) -> list[Finding]:
    """Findings for what the motion does not show, or shows but weakly."""
    out = []
    for name in JOINTS:
        if name in open_:
            out.append(Finding(ATTENTION, where, f"the motion does not show where the {_words(name)} is"
                               f" {_way(open_[name])}: it is not given", _HELP[name]))
        elif known[name][0][-1] > WEAK_MM**2:
            size, directions = known[name]
            out.append(Finding(ATTENTION, where, f"the {_words(name)} is known only to within"
                               f" {2 * np.sqrt(size[-1]):.0f} mm {_way(directions[:, -1:].T)}", _HELP[name]))
    if BAR_BUSH in known and not bush_observed:
        out.append(
            Finding(
                NOTE, where, "where the bush sits along the bar's axis never shows in its motion; the point"
                " square to the eye stands for it", "put a marker on the bush where bar_arm_length matters"))
    if states == 2:
        out.append(
            Finding(NOTE, where,
                    "two states give the axes and joints but weakly, with nothing to check them by",
                    "a third height pins them down"))
    return out


def _way(free: Array) -> str:
    if len(free) == 3:
        return "at all"
    if len(free) == 2:
        return "but along one line"
    words = ("along the car", "across the car", "up and down")
    return words[int(np.argmax(np.abs(free[0])))]
