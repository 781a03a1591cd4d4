"""Links of fixed lengths that one can buy: what each would do, and which is best."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from calib.running.cancellation import may_leave
from photoangle.core.figure import Figure
from photoangle.core.findings import Refusal
from photoangle.linkage.kinematics.lengths import Wanted
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Limits, Travel, TravelResult, over_travel

AS_WANTED, NOT_AS_WANTED, CANNOT_TELL = "as wanted", "not as wanted", "can't tell"


@dataclass(frozen=True)
class Choice:
    """One length: length_mm; angle: the bar arm's at ride height with it, a Figure or None; verdict:
    AS_WANTED, NOT_AS_WANTED or CANNOT_TELL of the angle; clear: whether the whole travel is; result:
    TravelResult or Refusal."""

    length_mm: float
    angle: Figure | None
    verdict: str
    clear: bool
    result: TravelResult | Refusal


def choices(corner: Any, travel: Travel, present_mm: float, lengths_mm: Iterable[float], wanted: Wanted,
            limits: Limits, hole_mm: float = 0.0, sampling: Sampling = Sampling(1000)) -> list[Choice]:
    """What each length would do at a corner, in the order given.

    corner: the linkage's Corner; present_mm: its link's length; the others as in `travel.over_travel`.
    """
    out = []
    for length_mm in lengths_mm:
        may_leave()
        result = over_travel(corner, travel, length_mm - present_mm, sampling, limits, hole_mm)
        angle = None if isinstance(result, Refusal) else result.at_ride.get("bar_arm_angle")
        clear = not isinstance(result, Refusal) and not any(f.level == "unusable" for f in result.findings) \
            and all(near.verdict in ("", "clear") for near in result.nearest.values())
        out.append(Choice(length_mm, angle, _verdict(angle, wanted), clear, result))
    return out


def _verdict(angle, wanted):
    if angle is None or wanted.square:
        return CANNOT_TELL
    within = angle.within(wanted.angle_deg, wanted.within_deg)
    return CANNOT_TELL if within is None else AS_WANTED if within else NOT_AS_WANTED


def best_of(found: Iterable[Choice], wanted: Wanted) -> Choice | None:
    """The length to take: nearest to the wanted angle of those that are as wanted and clear; None where none
    is."""
    good = [(abs(c.angle.value - wanted.angle_deg), k, c) for k, c in enumerate(found)
            if c.verdict == AS_WANTED and c.clear and c.angle is not None]
    return min(good)[2] if good else None
