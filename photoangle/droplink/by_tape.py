"""By tape alone: a corner's answer from car.toml's readings, without a photo."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

from photoangle.core.assumed import LEVEL_ACROSS_DEG, LEVEL_U_DEG
from photoangle.core.findings import ATTENTION, NOTE, Finding, Refusal
from photoangle.core.options import LinkRequest
from photoangle.core.roles import ARM_BALL_JOINT, BAR_BUSH, BAR_EYE, LINK_FOOT
from photoangle.core.states import CORNERS, DROOP, RIDE, SET, has_new_link
from photoangle.droplink.answer import CornerAnswer, solve_answer
from photoangle.droplink.exchanged import steep_findings
from photoangle.linkage.corner import Taped
from photoangle.linkage.tape_only import Readings, tape_corner

_HEIGHTS = {
    BAR_BUSH: ("bar_bush_height",), BAR_EYE: ("bar_eye_height",), LINK_FOOT: ("link_foot_height",),
    "arm_pivot": ("arm_pivot_front_height", "arm_pivot_rear_height"),
    ARM_BALL_JOINT: ("arm_ball_joint_height",)
}
_LENGTHS = {
    "bar_arm": "bar_arm_length", "control_arm": "control_arm_length",
    "foot_from_pivot": "link_foot_from_pivot", "link": "link_length"
}
# More between the heights of a control arm's two pivots, or between a car's slopes on its stands and on its
# wheels, is a slip (common practice, no source; 300 mm of lift over a wheelbase of 2.5 m is 6.9 deg).
_PIVOTS_WITHIN_MM, _STANDS_WITHIN_DEG = 120.0, 10.0


def tape_answers(car, wishes=LinkRequest(), only=None):
    """The answer for each corner that car.toml has readings of.

    car: CarFile; only: a corner's name.  Returns a list of CornerAnswer; a corner whose readings do not
    suffice has no base, and findings that say what is missing.
    """
    out = []
    for name in CORNERS:
        notes = car.corner(name)
        if not notes.tape or (only is not None and only != name):
            continue
        answer = CornerAnswer(name)
        state = wishes.state or _state(notes)
        readings = _readings(name, state, notes, car)
        base = _corner(name, state, notes, readings)
        answer.tell(*_odd(f"{name}/{state}", state, notes))
        if isinstance(base, Refusal):
            answer.tell(base.finding)
        else:
            answer.base, answer.datum = base, not base.findings
            if base.eye_ahead is None:
                answer.tell(
                    Finding(
                        ATTENTION, f"{name}/{state}",
                        "a tape does not show which way the bar's arm points from its bush: the car's pitch"
                        " turns its angle one way or the other, and the plus-or-minus holds both",
                        f'write bar_arm_points = "front" or "rear" under [{name}]'))
            answer.tell(
                *base.findings,
                Finding(
                    NOTE, f"{name}/{state}", "answered by tape alone: which way the link leans and where"
                    " it sits fore and aft are allowed for, gaps to the hose cannot be had", ""))
            solve_answer(answer, car, wishes, {state: base}, [])
            answer.tell(*steep_findings(
                f"{name}/{state}", readings.heights,
                partial(_with_heights, name, state, notes, readings),
                answer.travel.lowered(-answer.travel.lowered_mm)))
        out.append(answer)
    return out


def _state(notes):
    """The state with the most heights; at ride height before hanging."""
    def rank(name):
        heights = sum(n.endswith("_height") for n in notes.tape[name])
        return heights, has_new_link(name), name == SET, name == DROOP

    return max((s for s in notes.tape if s != RIDE), key=rank, default=DROOP)


def _readings(name, state, notes, car):
    """What the file says of a corner in a state, as `tape_only.Readings`."""
    # what does not change with the wheel's height may have been taped in any state
    readings = {}
    for s in sorted(notes.tape, key=lambda s: s == state):
        readings |= {
            k: r
            for k, r in notes.tape[s].items() if s == state or (k in _LENGTHS.values() and k != "link_length")
        }
    if "link_length" not in readings and not has_new_link(state):
        readings |= next(({"link_length": r["link_length"]} for s, r in notes.tape.items()
                          if "link_length" in r and not has_new_link(s)), {})
    heights = {key: _mean([readings[n] for n in names if n in readings]) for key, names in _HEIGHTS.items()
               if any(n in readings for n in names)}
    lengths = {key: _taped(readings[n]) for key, n in _LENGTHS.items() if n in readings}
    arch = {
        s: _taped(r["hub_to_arch"])
        for s, r in notes.tape.items() if "hub_to_arch" in r and s in (state, RIDE)
    }
    pitch = _attitude(notes, car, state, "sill_slope_deg", car.level.floor_slope_along_deg)
    roll = _roll(notes, car, state)
    return Readings(heights, lengths, arch, pitch, roll, car.pitch_between_deg(name, state))


def _odd(where, state, notes):
    """Findings about readings that are too far apart to be of one car."""
    out = []
    here, ride = notes.tape.get(state, {}), notes.attitude.get(RIDE, {})
    front, rear = (here.get(n) for n in _HEIGHTS["arm_pivot"])
    if front and rear and abs(front.value_mm - rear.value_mm) > _PIVOTS_WITHIN_MM:
        out.append(
            Finding(ATTENTION, where, "the control arm's two pivots differ by"
                    f" {abs(front.value_mm - rear.value_mm):.0f} mm in height, more than arms do",
                    "read both again from one level line"))
    for key, words in (("sill_slope_deg", "slope along the sill"), ("roll_deg", "roll")):
        read = notes.attitude.get(state, {})
        if key in read and key in ride and abs(read[key] - ride[key]) > _STANDS_WITHIN_DEG:
            out.append(
                Finding(ATTENTION, where, f"the {words} is {read[key]:g} deg here and {ride[key]:g} deg on"
                        " the wheels, farther apart than stands lift a car",
                        "read both again; nose up and left side up are positive"))
    return out


def _with_heights(name, state, notes, readings, heights):
    return _corner(name, state, notes, replace(readings, heights=heights))


def _corner(name, state, notes, readings):
    return tape_corner(name,
                       state,
                       readings,
                       None if notes.bar_arm_points is None else notes.bar_arm_points == "front",
                       name.endswith("left"),
                       notes.link_foot_on,
                       hub_differs_within=notes.hub_differs_within)


def _taped(reading):
    return Taped(reading.value_mm, reading.u_mm)


def _mean(readings):
    n = len(readings)
    return Taped(sum(r.value_mm for r in readings) / n, math.hypot(*(r.u_mm for r in readings)) / n)


def _roll(notes, car, state):
    """The chassis's roll in a state, (value, u) deg, or None: a level across reads it within the rake of what
    it lies on, which the same reading on the wheels takes out."""
    here = notes.attitude.get(state, {}).get("roll_deg")
    if here is None:
        return None
    ways = [(here, math.hypot(LEVEL_U_DEG, LEVEL_ACROSS_DEG)),
            _attitude(notes, car, state, "roll_deg", car.level.floor_slope_across_deg)]
    return min((way for way in ways if way is not None), key=lambda way: way[1])


def _attitude(notes, car, state, key, floor_deg):
    """The chassis's slope in a state against its own level, (value, u) deg, or None where it was not read in
    both states.

    At ride height the chassis is level against the floor, so what is read there, less the floor's slope, is
    the line's own.
    """
    here, ride = (notes.attitude.get(s, {}).get(key) for s in (state, RIDE))
    if here is None or ride is None:
        return None
    within = car.level.floor_within_deg / math.sqrt(3)
    return here - ride + floor_deg, math.hypot(LEVEL_U_DEG, LEVEL_U_DEG, within)
