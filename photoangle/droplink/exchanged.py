"""Heights by tape that make an arm steeper than the trade sees: were two of them exchanged?"""

from __future__ import annotations

from dataclasses import replace

from photoangle.core.findings import ATTENTION, Finding, Refusal
from photoangle.core.roles import ARM_BALL_JOINT, BAR_BUSH, BAR_EYE
from photoangle.linkage.ride import carry

# Bar arms and control arms lie within this of level at ride height on a car as made, and up to it on one that
# was lowered (common practice, no source).
STEEP_DEG = 15.0
_SAMPLES = 400
_PAIRS = ((BAR_BUSH, BAR_EYE, "bar arm"), ("arm_pivot", ARM_BALL_JOINT, "control arm"))


def steep_findings(where, heights, corner_with, travel):
    """Findings about arms that the taped heights make steeper than STEEP_DEG at ride height.

    heights: as in `tape_only.Readings`; corner_with(heights) -> TapedCorner or Refusal; travel: Travel.
    Returns a list.
    """
    out = []
    for inner, outer, arm in _PAIRS:
        angle = _at_ride(corner_with(heights), travel, arm)
        if angle is None or abs(angle) <= STEEP_DEG:
            continue
        what = f"by these heights the {arm} stands at {angle:+.0f} deg at ride height, steeper than arms do"
        names = " and ".join(f"{n.replace('_', ' ')}'s" for n in (inner, outer))
        other = _at_ride(corner_with({**heights, inner: heights[outer], outer: heights[inner]}), travel, arm)
        if other is not None and abs(other) < abs(angle):
            out.append(Finding(ATTENTION, where, f"{what}: were the {names} heights exchanged? Then it would"
                               f" be {other:+.0f} deg", "read both again from one level line"))
        else:
            out.append(Finding(ATTENTION, where, what,
                               f"read the {names} heights and the arm's length again"))
    return out


def _at_ride(corner, travel, arm):
    """The arm's angle at ride height, deg; None where it cannot be had."""
    if isinstance(corner, Refusal):
        return None
    carried = carry(corner, replace(travel, lowered_mm=0.0), _SAMPLES, budget=False)
    figure = None if isinstance(carried, Refusal) else carried.figures.get(f"{arm.replace(' ', '_')}_angle")
    return None if figure is None else figure.value
