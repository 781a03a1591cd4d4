"""How much travel is left before the stops: a car that stands on them has no ride height to advise on."""

from __future__ import annotations

from photoangle.core.errors import CannotUse
from photoangle.core.findings import ATTENTION, Finding

# Less travel than this to the bump stop is said: over a track of 1.5 m a body that rolls by 2 deg in a corner
# comes down on its outer wheel by 750 mm * tan 2 deg = 26 mm.
LITTLE_BUMP_MM = 25.0
# Less than this, either way, counts as none: half a degree of roll (7 mm), with 3 mm for how well hub to arch
# is read on a car that settles anew each time.
NO_TRAVEL_MM = 10.0
_WHERE_IT_IS = "write bump (mm of wheel travel from ride height to the bump stop) under travel"


def lowered_travel(way, by_mm, given=True):
    """The travel of the car standing lower (or higher, below zero), with its stops where they are.

    given: the file says where the bump stop is.  Raises InputError where the car would stand on its stops.
    """
    if by_mm >= way.bump_mm:
        if given:
            raise CannotUse(
                "--lowered", f"{by_mm:g} mm lower uses up all {way.bump_mm:.0f} mm to the bump stop: the car"
                " would stand on it", f"lower it by less than {way.bump_mm:.0f} mm, or say where the stop is"
                " (bump)")
        raise CannotUse(
            "--lowered", f"{by_mm:g} mm lower is more than the {way.bump_mm:.0f} mm to the bump stop that are"
            " taken for granted where nothing is said of it", _WHERE_IT_IS)
    if by_mm <= way.droop_mm:
        raise CannotUse(
            "--lowered", f"{-by_mm:g} mm higher uses up all {-way.droop_mm:.0f} mm to full droop: the wheels"
            " would hang", f"raise it by less than {-way.droop_mm:.0f} mm")
    return way.lowered(by_mm)


def near_stops(way, where, given):
    """What to say of a car whose ride height leaves little travel.

    way: Travel, as lowered; given: the file says where the bump stop is.  Returns (Finding or None, whether
    no verdict can stand on it).
    """
    stands = f"{abs(way.lowered_mm):g} mm {'lower' if way.lowered_mm > 0 else 'higher'}" if way.lowered_mm \
        else "at ride height"
    if -way.droop_mm < NO_TRAVEL_MM:
        return Finding(ATTENTION, where,
                       f"{stands} only {-way.droop_mm:.0f} mm is left to full droop: the wheels would as"
                       " good as hang", "raise the car by less, or say how far the wheel drops (droop)"), True
    if way.bump_mm >= LITTLE_BUMP_MM:
        return None, False
    if not given:
        return Finding(ATTENTION, where, f"{stands} the car may stand on its bump stops: where they are is"
                       " not given", _WHERE_IT_IS), True
    left = f"{stands} only {way.bump_mm:.0f} mm of bump travel is left"
    if way.bump_mm < NO_TRAVEL_MM:
        return Finding(ATTENTION, where, f"{left}: the car would as good as stand on its bump stops",
                       "let it stand higher, or shorten the stops by their maker's word"), True
    return Finding(ATTENTION, where, f"{left}: 2 deg of roll in a corner put the outer wheel on its stop",
                   "let it stand higher, or see that the stop is one that may carry the car"), False
