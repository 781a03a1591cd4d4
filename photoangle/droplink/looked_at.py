"""Gaps as photographed at the steering's locks and near the bump stop: what no model carries there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from photoangle.core.figure import Figure
from photoangle.core.findings import Refusal
from photoangle.core.states import is_looked_at

# Two links are taken as one where their lengths differ by less, mm, or by less than their plus-or-minus.
_SAME_LINK_MM = 1.0


@dataclass(frozen=True)
class LookedAt:
    """One state that was looked at: state; gap: the least from the bar's eye to a hose marker there, a
    Figure; this_link: whether the link that is to stay was in; too_near: with it, the gap's interval reaches
    what is wanted."""

    state: str
    gap: Figure
    this_link: bool
    too_near: bool

    @property
    def words(self) -> str:
        """The gap in words, in millimetres."""
        return (f"at {self.state} the bar's eye is {self.gap.value:.0f} mm ({self.gap.low95:.0f} to"
                f" {self.gap.high95:.0f} mm) from the hose")


def looked_at(answer: Any, figures: Iterable[Figure], wanted_gap_mm: float) -> list[LookedAt]:
    """What a corner's photos at lock and near the bump stop show.

    answer: the CornerAnswer, with its advice; figures: the measuring run's; wanted_gap_mm: wanted beyond
    zero.
    """
    mine = [f for f in figures if f.corner == answer.corner and f.state is not None and is_looked_at(f.state)]
    out = []
    for state in dict.fromkeys(f.state for f in mine):
        here = [f for f in mine if f.state == state]
        gaps = [f for f in here if f.name.startswith("hose_gap_")]
        if not gaps:
            continue
        gap = min(gaps, key=lambda f: f.low95)
        same = _same_link(answer, next((f for f in here if f.name == "link_length"), None))
        out.append(LookedAt(str(state), gap, same, same and gap.low95 <= wanted_gap_mm))
    return out


def _same_link(answer, seen):
    """Whether the link seen is the one that is to stay."""
    if seen is None or isinstance(answer.advice, Refusal) or answer.advice is None:
        return False
    present = answer.advice.figures.get("link_length")
    if present is None:
        return False
    apart = abs(seen.value - present.value - answer.change_mm)
    return apart < max(_SAME_LINK_MM, 2 * (seen.u**2 + present.u**2) ** 0.5)
