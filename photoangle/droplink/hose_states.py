"""Hose points seen with the wheel at two heights, so that the linkage can carry them along."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from photoangle.core.findings import NOTE, Finding
from photoangle.linkage.corner import Taped
from photoangle.linkage.kinematics.hose import HOSES, SECOND

# Two heights nearer than this say little of how a hose moves.
_APART_MM = 15.0


def with_second_hoses(corner, others):
    """The corner with its hose points as another state has them.

    corner: linkage Corner; others: state -> Corner of the same car corner.  The state whose hub to arch differs most is
    taken.  Returns (Corner, findings).
    """
    mine = [n for n in HOSES if n in corner.names]
    if not mine:
        return corner, []
    second = _farthest(corner, others, mine)
    if second is None:
        return corner, _unsaid(corner, mine)
    name, other, arch = second
    both = [n for n in mine if n in other.names]
    # both states' frames hang on the same bush: what tells them apart is the scenes' noise
    shift = (corner.positions_mm[corner.names.index("bar_bush")] - other.positions_mm[other.names.index("bar_bush")])
    n, m = len(corner.names), len(both)
    rows = np.concatenate([3 * other.names.index(b) + np.arange(3) for b in both])
    sources = {k: np.pad(c, ((0, 3 * m), (0, 3 * m))) for k, c in corner.sources.items()}
    for key, c in other.sources.items():
        if key == "chassis":
            continue  # the frame's own turn is the same for both and far smaller here
        sources.setdefault(key, np.zeros((3 * (n + m),) * 2))
        sources[key][3 * n:, 3 * n:] += c[np.ix_(rows, rows)]
    places = np.array([other.positions_mm[other.names.index(b)] + shift for b in both])
    return replace(corner, names=corner.names + tuple(b + SECOND for b in both),
                   positions_mm=np.vstack([corner.positions_mm, places]), sources=sources, second_state=name,
                   hub_to_arch_mm=corner.hub_to_arch_mm | {name: arch}), _unsaid(corner, [x for x in mine if x not in both])


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
    return [Finding(NOTE, corner.name, f"how {', '.join(n.replace('_', ' ') for n in unsaid)} moves with the wheel is not known:"
                    " anything between staying with the chassis and going with the knuckle is allowed for",
                    "photograph the hose at droop and at set, or write hose_a_on = \"chassis\", \"between\" or \"knuckle\""
                    " under hose")]
