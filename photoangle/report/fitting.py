"""The fitting card: one page to take to the car, with blanks for the maker's torques."""

from __future__ import annotations

from dataclasses import dataclass

from photoangle.core.findings import Refusal
from photoangle.linkage.advice import CANNOT_TELL, CHANGE, LEAVE
from photoangle.output.summary.linked import turns_words
from photoangle.output.table import format_length

ORDER = (
    "Chock the wheels; car on stands under the maker's points, both wheels of the axle off and"
    " hanging alike.",
    "Loosen, do not undo: both joints' nuts and the jam nuts. A seized stud: penetrating oil and time first;"
    " grinding wants goggles,"
    " a fire watch and no line near the sparks.",
    "Undo the link at the bar's eye. Nobody under the car; the bar must hang free when it comes off.",
    "Set the new length on the bench, eye centre to eye centre, with a rule. Both ends equally far in; at"
    " least 1.5 thread diameters in,"
    " or what the maker says.",
    "Fit it with new lock nuts, finger tight. Jack both knuckles to ride height (hub to arch as on the"
    " wheels); stop at once if the car"
    " lifts off a stand.",
    "Look: hose, eye, link and arm, at droop, at set height, near the bump stop, at both locks. Nothing"
    " touches.",
    "Final tightening at ride height, to the maker's torque. Jam nuts last. Paint a line across each nut.",
    "Markers, string and card off. Photograph the same views as before into `fitted` first, if you want the"
    " proof.",
)
TORQUES = ("link to bar's eye", "link's foot", "jam nuts", "wheel nuts")
AFTER = (
    "Hose: no rub marks, no twist, slack at both locks.",
    "Lock nuts and jam nuts: the painted lines still meet.",
    "Joints: boots whole, no knock when the bar is pulled by hand.",
    "Wheel nuts again after the first drive.",
)


@dataclass(frozen=True)
class Card:
    """corner; headline; rows: (name, text); change: whether the link is to be changed."""

    corner: str
    headline: str
    rows: tuple
    change: bool


def fitting_cards(answers, units):
    """One Card for each corner with an answer.  answers: CornerAnswers; units: "mm" or "in"."""
    return [c for c in (_card(a, units) for a in answers) if c is not None]


def _card(answer, units):
    advice = answer.advice
    if answer.base is None or advice is None or isinstance(advice, Refusal):
        return None
    if answer.held_back:
        return Card(answer.corner, "No length to set yet",
                    (("why", "; ".join(answer.held_back)), ("to do", advice.do)), False)
    if advice.verdict == LEAVE:
        present = advice.figures.get("link_length")
        rows = [("link",
                 f"{format_length(present.value, units)} centre to centre: as it is")] if present else []
        return Card(answer.corner, "Leave the link as it is", tuple(rows), False)
    if advice.verdict not in (CHANGE, CANNOT_TELL) or "link_length" not in advice.figures:
        return Card(answer.corner, "No length to set yet", (("why", advice.sentence), ("to do", advice.do)),
                    False)
    present = advice.figures["link_length"].value
    change = advice.change_mm
    way = "longer" if change > 0 else "shorter"
    rows = [("from", f"{format_length(present, units)} centre to centre"),
            ("to", f"{format_length(present + change, units)} centre to centre"),
            ("change", f"{format_length(abs(change), units)} {way}")]
    if advice.half_turns:
        rows.append(("adjuster", f"{turns_words(advice.half_turns)} {way}"))
    if advice.any_of_mm is not None:
        low, high = advice.any_of_mm
        rows.append(
            ("will do", f"{format_length(present + low, units)} to {format_length(present + high, units)}"))
    head = (
        "Set the link"
        if advice.verdict == CHANGE
        else "Not sure yet that a change is needed; if you change it, set the link"
    )
    return Card(answer.corner, head, tuple(rows), True)
