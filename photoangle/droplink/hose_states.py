"""Hose points seen with the wheel at two heights, so that the linkage can carry them along."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from photoangle.core.findings import NOTE, Finding
from photoangle.core.roles import BAR_BUSH, HOSES
from photoangle.geometry.joints import coordinates
from photoangle.linkage.corner import Taped
from photoangle.linkage.kinematics.hose import SECOND

# Two heights nearer than this say little of how a hose moves.
_APART_MM = 15.0


def with_second_hoses(made, others):
    """A corner with its hose points as another state has them.

    made: FromScene; others: state -> FromScene of the same car corner.  The state whose hub to arch differs
    most is taken.  Returns (Corner, findings).
    """
    corner = made.corner
    mine = [n for n in HOSES if n in corner.names]
    if not mine:
        return corner, []
    second = _farthest(corner, {state: o.corner for state, o in others.items()}, mine)
    if second is None:
        return corner, _unsaid(corner, mine)
    name, other, arch = second
    both = [n for n in mine if n in other.names]
    # both states' frames hang on the same bush: what tells them apart is the scenes' noise
    shift = corner.positions_mm[corner.names.index(BAR_BUSH)] - other.positions_mm[other.names.index(
        BAR_BUSH)]
    seen = others[name].places.pick(coordinates(both))
    again = tuple(b + SECOND for b in both)
    moved = seen.linear(np.eye(len(seen.names)), coordinates(again), seen.values + np.tile(shift, len(both)))
    places = made.places.join(moved)
    return replace(corner,
                   names=corner.names + again,
                   positions_mm=places.values.reshape(-1, 3),
                   sources=places.covariances(),
                   second_state=name,
                   hub_to_arch_mm=corner.hub_to_arch_mm | {name: arch}), _unsaid(
                       corner, [x for x in mine if x not in both])


def _farthest(corner, others, mine):
    own = corner.hub_to_arch_mm.get(corner.state)
    best = None
    for name, other in others.items():
        arch = other.hub_to_arch_mm.get(name)
        if name == corner.state or arch is None or own is None or not set(mine) & set(other.names):
            continue
        apart = abs(arch.value_mm - own.value_mm)
        if apart >= _APART_MM and (best is None or apart > best[0]):
            best = (apart, (name, other, Taped(arch.value_mm, arch.u_mm)))
    return best and best[1]


def _unsaid(corner, names):
    unsaid = [n for n in names if n not in corner.hose_on]
    if not unsaid:
        return []
    return [
        Finding(
            NOTE,
            corner.name,
            f"how {', '.join(n.replace('_', ' ') for n in unsaid)} moves with the wheel is not known:"
            " anything between staying with the chassis and going with the knuckle is allowed for",
            'photograph the hose at droop and at set, or write hose_a_on = "chassis", "between" or "knuckle"'
            " under hose",
        )
    ]
