"""The control arm where nobody marked it and the car stands at ride height: anywhere that arms are.

The link's length there hangs on the arm by a millimetre or two of the wheel's rise alone; over the travel
nothing can be said with it.
"""

from __future__ import annotations

import numpy as np

from photoangle.core.assumed import ARM_BELOW_FOOT_MM, ARM_FROM_FOOT_MM
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import NOTE, Finding
from photoangle.core.origin import Origin
from photoangle.core.roles import ARM_BALL_JOINT, ARM_PIVOT_FRONT, ARM_PIVOT_REAR, LINK_FOOT, PIVOTS
from photoangle.geometry.joints import coordinates

SOURCE = "control arm not seen"


def can_be_guessed(missing: list[str]) -> bool:
    """Whether the linkage lacks nothing but the control arm's own joints."""
    return bool(missing) and set(missing) <= {ARM_BALL_JOINT, *PIVOTS}



def with_guessed_arm(names: tuple[str, ...], places: Estimate, corner: str, origin: Origin,
                     foot_on: str) -> tuple[tuple[str, ...], Estimate]:
    """(names, Estimate of coordinates, chassis frame, mm) with the arm's joints that are not there: where
    they are from the link's foot, each anywhere in `ARM_FROM_FOOT_MM`."""
    outward = 1.0 if corner.endswith("left") else -1.0
    foot = places.pick(coordinates((LINK_FOOT,)))
    # one pivot is known better than a guess: the other is left to what is known of arms
    wanted = [n for n in ((ARM_BALL_JOINT,) if set(PIVOTS) & set(names) else
                          (ARM_BALL_JOINT, ARM_PIVOT_FRONT, ARM_PIVOT_REAR)) if n not in names]
    for name in wanted:
        box = np.array(ARM_FROM_FOOT_MM[name])
        box[2] -= 0.0 if foot_on == "control arm" else ARM_BELOW_FOOT_MM
        middle, half = box.mean(1), (box[:, 1] - box[:, 0]) / 2
        guess = Source(("arm", origin.corner, name), SOURCE, np.diag(half**2 / 3))
        there = Estimate.stated(coordinates((name,)), middle * [1, outward, 1], guess)
        names += (name,)
        places = places.join(foot.named(coordinates((name,))).plus(there))
    return names, places


def finding(where: str) -> Finding:
    """What is said where an arm was guessed."""
    return Finding(NOTE, where, "the control arm was not marked: the link's length holds at this height, and"
                   " nothing is said over the travel",
                   "for the clearances put markers on an arm pivot and the ball joint, or look")
