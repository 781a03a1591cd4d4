"""The link's answer in a sentence or two: the length to set, the bar's angle, the clearance; what if."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from photoangle.core.findings import NOTE, Refusal
from photoangle.core.options import LinkRequest
from photoangle.core.states import LOCKS, has_new_link
from photoangle.droplink.choices import best_of
from photoangle.linkage.advice import CANNOT_TELL, CHANGE, LEAVE
from photoangle.linkage.bar_stiffness import stiffness_ratio
from photoangle.linkage.travel import closest
from photoangle.output.summary.common import angle_words, wrapped
from photoangle.output.table import graver_first
from photoangle.output.wording import about, length_to_set, span_to_set, worded

_PARTS = {"eye": "the bar's eye", "link": "the link", "arm": "the bar's arm"}


def turns_words(half_turns: int) -> str:
    """Half turns in words: "12 1/2 turns"."""
    whole, half = divmod(abs(half_turns), 2)
    text = " ".join(p for p in (str(whole) if whole or not half else "", "1/2" if half else "") if p)
    return f"{text} turn{'' if abs(half_turns) <= 2 else 's'}"


def headline(answer: Any, units: str = "mm") -> str:
    """A corner's verdict as a sentence or two, with the number to act on."""
    if answer.base is None:
        why = next((f.what for f in graver_first(answer.findings) if f.level != NOTE), None)
        return "No answer yet." if why is None else worded(f"No answer: {why}.", units)
    if isinstance(answer.advice, Refusal):
        return worded(f"No answer: {answer.advice.finding.what}.", units)
    advice = answer.advice
    if answer.held_back:
        return worded(f"Not yet: {'; '.join(answer.held_back)}. {_by_length_alone(answer, units)}", units)
    if advice.verdict == LEAVE:
        return f"Leave the link as it is: {_now(answer)}, wanted {_goal(answer)}."
    if advice.verdict == CHANGE and "link_length" in advice.figures:
        return f"{set_to(answer, units)} {_now(answer).capitalize()}, wanted {_goal(answer)}."
    if advice.verdict == CANNOT_TELL and advice.any_of_mm is not None:
        return (f"Can't tell whether the present link will do ({100 * advice.conforms:.0f} in 100):"
                f" {_now(answer)}, wanted {_goal(answer)}. Sure to do: {_lower(set_to(answer, units))}")
    return worded(advice.sentence[0].upper() + advice.sentence[1:] + ".", units)


def _by_length_alone(answer, units):
    """What the link would be set to were nothing in the way; no order to set it."""
    advice = answer.advice
    length = advice.figures.get("link_length_wanted")
    if length is None or abs(advice.change_mm) < 0.05:
        return f"By its length alone the link could stay: {_now(answer)}."
    return (f"By its length alone a link of {length_to_set(length.value, units)} would be right:"
            f" {_now(answer)}.")


def set_to(answer, units):
    """The order to set the link, a sentence."""
    advice, present = answer.advice, answer.advice.figures["link_length"].value
    change = advice.change_mm
    way = "longer" if change > 0 else "shorter"
    turns = f" ({turns_words(advice.half_turns)})" if advice.half_turns else ""
    if abs(change) < 0.05 and advice.any_of_mm is not None:
        low, high = (present + c for c in advice.any_of_mm)
        return f"Keep the length, {length_to_set(present, units)}; {span_to_set(low, high, units)} will do."
    order = f"{length_to_set(present + change, units)}, {length_to_set(abs(change), units)} {way}{turns}"
    if advice.any_of_mm is None:
        return (f"Set the link to about {order}, and measure again: no length is sure to be within"
                f" {answer.wanted.within_deg:g}° as well as this is known.")
    low, high = (present + c for c in advice.any_of_mm)
    return f"Set the link to {order}; {span_to_set(low, high, units)} will do."


def _lower(sentence):
    return sentence[0].lower() + sentence[1:]


def _now(answer):
    figure = answer.advice.figures.get("bar_arm_angle")
    return "the bar's angle is not known" if figure is None else (
        f"bar arm {angle_words(figure)} at ride height")


def _goal(answer):
    wanted = answer.wanted
    place = "square to the link" if wanted.square else (
        "level" if not wanted.angle_deg else f"at {wanted.angle_deg:+g}°")
    return f"{place} within {wanted.within_deg:g}°"


def clearance(answer: Any, units: str = "mm") -> str:
    """What the link that is to stay leaves to the hose over the travel, in a sentence."""
    last = answer.proposed if answer.proposed is not None else answer.present
    if not answer.arm:
        return "Over the travel nothing is known, since the control arm was not marked: look at the hose."
    if last is None or isinstance(last, Refusal):
        return ""
    bad = [name for name, near in last.nearest.items() if near.verdict == "not clear"]
    unsure = [name for name, near in last.nearest.items() if near.verdict == "cannot tell"]
    lock = _at_the_locks(answer, units)
    nearest = closest(last)
    if nearest is None:
        return f"Nothing is known of the hose: mark it with the hose markers, or look. {lock}"
    name, near = nearest
    at = f"{about(abs(near.at_mm), units)} {'up' if near.at_mm > 0 else 'down'} from ride height"
    if any(b.startswith("gap") for b in bad):
        return f"IT TOUCHES the hose: {_PARTS[name]}, {at}. {lock}"
    if any(u.startswith("gap") for u in unsure):
        return f"Whether {_PARTS[name]} clears the hose can't be told yet ({at}). {lock}"
    text = f"It clears the hose by {about(near.lowest, units)} at least ({_PARTS[name]}, {at})"
    others = [n for n in (*bad, *unsure) if not n.startswith("gap")]
    return f"{text}{'' if others else ', and no joint tilts too far'}. {lock}"


def _at_the_locks(answer, units):
    """What the photos at the steering's locks and near the bump stop show, and what is missing."""
    seen = [f"{about(s.gap.value, units)} at {s.state}" for s in answer.looked_at if s.this_link]
    other = [s.state for s in answer.looked_at if not s.this_link]
    words = [f"As photographed, eye to hose: {', '.join(seen)}."] if seen else []
    if other:
        words.append(f"Seen with another link, look again: {', '.join(other)}.")
    missing = [state for state in LOCKS if state not in {s.state for s in answer.looked_at}]
    if len(missing) == len(LOCKS):
        words.append("Not looked at: steering lock.")
    elif missing:
        words.append(f"Not looked at: {', '.join(missing)}.")
    return " ".join(words)


def what_if(answer: Any, asked: LinkRequest, units: str = "mm") -> str:
    """The link, hole, height or place asked about, in a sentence or two: the bar's angle with it, and
    whether that is as wanted; "" where nothing was asked."""
    link = asked.length_mm is not None or asked.change_mm is not None
    if not (link or asked.hole_mm or asked.lowered_mm):
        return ""
    parts = []
    present = answer.advice.figures.get("link_length") if not isinstance(answer.advice, Refusal) else None
    if link and present is not None:
        by = length_to_set(abs(answer.change_mm), units)
        so_much = "as it is now" if by == length_to_set(0.0, units) else (
            f"{by} {'longer' if answer.change_mm > 0 else 'shorter'} than now")
        parts.append(f"a link of {length_to_set(present.value + answer.change_mm, units)} ({so_much})")
    if asked.hole_mm:
        parts.append(f"the eye hole {length_to_set(abs(asked.hole_mm), units)}"
                     f" {'nearer to' if asked.hole_mm > 0 else 'farther from'} the bush")
    if asked.lowered_mm:
        parts.append(f"the car {length_to_set(abs(asked.lowered_mm), units)}"
                     f" {'lower' if asked.lowered_mm > 0 else 'higher'}")
    result = answer.proposed if answer.proposed is not None else answer.present
    with_it = f"With {' and '.join(parts)}: "
    if result is None or isinstance(result, Refusal):
        return with_it + ("no answer." if result is None else worded(f"{result.finding.what}.", units))
    figure = result.at_ride.get("bar_arm_angle")
    if figure is None:
        return with_it + "the bar's angle is not known."
    limits = _limits(answer, present, units) if link else ""
    return f"{with_it}bar arm {angle_words(figure)} at ride height, {_within(figure, answer)}.{limits}"


def _within(figure, answer):
    wanted = answer.wanted
    if wanted.square:
        return f"wanted {_goal(answer)}"
    within = figure.within(wanted.angle_deg, wanted.within_deg)
    if within is None:
        return f"and whether that is {_goal(answer)} can't be told"
    return f"which is {_goal(answer)}, as wanted" if within else f"NOT {_goal(answer)} as wanted"


def _limits(answer, present, units):
    """Which limit of the adjuster the length is beyond."""
    if answer.adjuster is None or present is None:
        return ""
    least, most, why_low, why_high = answer.adjuster.reach(present.value)
    if least <= answer.change_mm <= most:
        return ""
    return worded(f" The adjuster does not reach it: {why_high if answer.change_mm > most else why_low}.",
                  units)


def stiffness(answer: Any) -> str:
    """The bar's stiffness at the wheel with the proposed link or hole against now, in a sentence."""
    ratio = stiffness_ratio(answer.present, answer.proposed)
    if ratio is None or abs(ratio - 1) < 0.05:
        return ""
    return (f"The bar at the wheel becomes {abs(ratio - 1):.0%} {'stiffer' if ratio > 1 else 'softer'}"
            f" (× {ratio:.2f}; less where the arms themselves bend).")


def at_ride_height(answer: Any) -> str:
    """Control arm and link as they stand at ride height with the link that is to stay, in a sentence."""
    last = answer.proposed if answer.proposed is not None else answer.present
    if last is None or isinstance(last, Refusal):
        return ""
    control, lean = (last.at_ride.get(n) for n in ("control_arm_angle", "link_lean_side"))
    parts = [] if control is None else [f"control arm {angle_words(control)}"]
    if lean is not None:
        parts.append(f"link leans {abs(lean.value):.0f}° ± {(lean.high95 - lean.low95) / 2:.0f}")
    return f"At ride height: {', '.join(parts)}." if parts else ""


# What the advice is for, by whether another hole and another height were asked about.
_FOR_IT = {(False, False): "As it stands", (True, False): "In that hole", (False, True): "At that height",
           (True, True): "In that hole, at that height"}


def short_lines(answer: Any, asked: LinkRequest = LinkRequest(), units: str = "mm") -> list[str]:
    """A corner's answer in short."""
    state = f", from {answer.base.state}" if answer.base is not None else ""
    new = ", the new link in" if answer.base is not None and has_new_link(answer.base.state) else ""
    asked_of = what_if(answer, asked, units)
    head = "WHAT IF" if asked_of else verdict_words(answer)
    lines = [f"{answer.corner}: {head}{state}{new}"]
    worst, as_it_is = clearance(answer, units), headline(answer, units)
    for_it = f"{_FOR_IT[bool(asked.hole_mm), bool(asked.lowered_mm)]}: {as_it_is}"
    said = [asked_of or as_it_is, worst, stiffness(answer), for_it if asked_of else ""]
    for sentence in said:
        lines += ["  " + line for line in wrapped(sentence, room=2)] if sentence else []
    lines += ["  " + line for line in choice_lines(answer, units)]
    do = getattr(answer.advice, "do", "")
    if do:
        lines += ["  " + line for line in wrapped("To do: " + worded(do, units) + ".", room=2)]
    return lines


_HEADS = {LEAVE: "LEAVE IT", CHANGE: "CHANGE THE LINK", CANNOT_TELL: "CAN'T TELL YET"}


def verdict_words(answer: Any) -> str:
    """The verdict's heading."""
    verdict = getattr(answer.advice, "verdict", None)
    return "NO ANSWER" if verdict is None else _HEADS.get(verdict, "OUT OF REACH")


def choice_lines(answer: Any, units: str = "mm") -> list[str]:
    """The lengths that can be had: which to take, and what each would do."""
    if not answer.choices:
        return []
    best = best_of(answer.choices, answer.wanted)
    lines = [f"Of the lengths to be had take {length_to_set(best.length_mm, units)}." if best is not None else
             "None of the lengths to be had is sure to do and to clear."]
    for c in answer.choices:
        angle = "no angle" if c.angle is None else f"bar arm {angle_words(c.angle)}, {c.verdict}"
        lines.append(f"  {length_to_set(c.length_mm, units):>10s}: {angle}{'' if c.clear else '; NOT CLEAR'}")
    return lines


def next_lines(answers: Sequence[Any], folder: str) -> list[str]:
    """What to do once the answer is known."""
    verdicts = {getattr(a.advice, "verdict", None) for a in answers}
    if CHANGE in verdicts:
        return [f"Next: photoangle report {folder}   (the fitting card for the car); then photos into fitted"]
    if verdicts == {LEAVE} and any(has_new_link(a.base.state) for a in answers):
        corner = next(a.corner for a in answers if has_new_link(a.base.state))
        return [f"Next: photoangle compare {folder}/{corner}/set {folder}/{corner}/fitted   (the proof)"]
    return [f"Next: photoangle next {folder}   (which photo or reading helps most)"]
