"""The link's adjuster: what lengths it can be set to, and in how many half turns."""

from __future__ import annotations

import math
from dataclasses import dataclass

# Thread that must stay in, in thread diameters (common practice, no source); the maker's figure comes first.
ENGAGEMENT_DIAMETERS = 1.5


@dataclass(frozen=True)
class Adjuster:
    """What is known of the link's adjuster, mm; None where it is not.

    threaded_ends: 1 or 2; opposite_hands: with two ends, left- and right-hand thread, so that turning the
    middle moves both; else each end is turned by itself.  shortest_mm, longest_mm: the maker's range, centre
    to centre; thread_mm: the thread's diameter; thread_in_mm: length of thread in, at each end as it is now;
    thread_out_mm: bare thread between the body and the end, with the jam nut on it; jam_nut_mm: the nut's
    height.
    Raises ValueError for what is not positive, or other than one or two ends.
    """

    thread_pitch_mm: float | None = None
    threaded_ends: int = 1
    opposite_hands: bool = True
    shortest_mm: float | None = None
    longest_mm: float | None = None
    thread_mm: float | None = None
    thread_in_mm: float | None = None
    thread_out_mm: float | None = None
    jam_nut_mm: float = 0.0
    engagement_diameters: float = ENGAGEMENT_DIAMETERS

    def __post_init__(self) -> None:
        if self.threaded_ends not in (1, 2):
            raise ValueError("a link has one or two threaded ends")
        for name in ("thread_pitch_mm", "shortest_mm", "longest_mm", "thread_mm"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be more than zero")
        if self.shortest_mm and self.longest_mm and self.shortest_mm >= self.longest_mm:
            raise ValueError("shortest_mm must be less than longest_mm")

    @property
    def half_turn_mm(self) -> float | None:
        """Change of length by half a turn: half a pitch, a whole one where both ends move; None without a
        pitch."""
        if self.thread_pitch_mm is None:
            return None
        return self.thread_pitch_mm / 2 * (2 if self.threaded_ends == 2 and self.opposite_hands else 1)

    def reach(self, present_mm: float) -> tuple[float, float, str, str]:
        """The changes it allows from its present length: (lowest, highest, why lowest, why highest), mm.

        Infinite where nothing is known.
        """
        low, high = -math.inf, math.inf
        why_low = why_high = ""
        if self.shortest_mm is not None:
            low, why_low = (
                self.shortest_mm - present_mm,
                f"the link goes no shorter than {self.shortest_mm:g} mm",
            )
        if self.longest_mm is not None:
            high, why_high = (
                self.longest_mm - present_mm,
                f"the link goes no longer than {self.longest_mm:g} mm",
            )
        if self.thread_in_mm is not None and self.thread_mm is not None:
            least = self.engagement_diameters * self.thread_mm
            more = (self.thread_in_mm - least) * self.threaded_ends
            if more < high:
                high, why_high = more, f"at least {least:g} mm of thread must stay in"
        if self.thread_out_mm is not None:
            less = -(self.thread_out_mm - self.jam_nut_mm) * self.threaded_ends
            if less > low:
                low, why_low = less, "no bare thread is left beside the jam nut"
        return low, high, why_low, why_high
