"""Hose points as other states show them, so that the linkage can carry them along."""

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
    """A corner with its hose points as other states have them.

    made: FromScene; others: state -> FromScene of the same car corner.  Of a point that shows in both, the
    state whose hub to arch differs most is taken; a point that is hidden here is taken from the state that
    stands nearest to this one, since a hose does not end where a marker is out of sight.  Returns (Corner,
    findings).
    """
    corner, places, second, arch, findings = made.corner, made.places, {}, {}, []
    for name in HOSES:
        found = _other(corner, others, name)
        if found is not None:
            second[name], arch[found] = found, _arch(others[found].corner)
    for name, state in second.items():
        places = places.join(_seen(made, others[state], name))
    here = set(corner.names)
    hidden = [n for n in second if n not in here]
    if hidden:
        findings.append(
            Finding(
                NOTE, corner.name, f"{_titles(hidden)} {'is' if len(hidden) == 1 else 'are'} hidden in the"
                f" {corner.state} photos: taken from {' and '.join(sorted({second[n] for n in hidden}))},"
                " moved as the wheel may have moved it", "have it in view in two photos here too"))
    once = [n for n in HOSES if (n in here) != (n in second) and n not in corner.hose_on]
    if once:
        findings.append(
            Finding(
                NOTE, corner.name, f"how {_titles(once)} moves with the wheel is not known: anything between"
                " staying with the chassis and going with the knuckle is allowed for",
                'photograph the hose at droop and at set, or write hose_a_on = "chassis", "between" or'
                ' "knuckle" under hose'))
    if (here | set(second)) & set(HOSES) and not corner.hose_leads_away:
        findings.append(
            Finding(
                NOTE, corner.name,
                "where the hose runs beyond its first and last marker is not known: that it"
                " bends back towards the link is allowed for",
                "look: if it comes no nearer there, write leads_away = true under hose"))
    if not second:
        return corner, findings
    return replace(corner,
                   names=corner.names + tuple(n + SECOND for n in second),
                   positions_mm=places.values.reshape(-1, 3),
                   sources=places.covariances(),
                   second_state=second,
                   hub_to_arch_mm=corner.hub_to_arch_mm | arch), findings


def _other(corner, others, name):
    """The state that says most of a hose point beside the corner's own, or None."""
    own = _arch(corner)
    apart = {
        state: abs(_arch(o.corner).value_mm - own.value_mm)
        for state, o in others.items() if state != corner.state and name in o.corner.names and own is not None
        and _arch(o.corner) is not None
    }
    if name not in corner.names:
        return min(apart, key=apart.get, default=None)
    return max((s for s, mm in apart.items() if mm >= _APART_MM), key=apart.get, default=None)


def _arch(corner):
    taped = corner.hub_to_arch_mm.get(corner.state)
    return None if taped is None else Taped(taped.value_mm, taped.u_mm)


def _seen(made, other, name):
    """A hose point as another state has it, in the corner's frame, mm.

    Both states' frames hang on the same bush: what tells them apart is the scenes' noise.
    """
    mine, theirs = (m.corner.positions_mm[m.corner.names.index(BAR_BUSH)] for m in (made, other))
    point = other.places.pick(coordinates((name,)))
    return point.linear(np.eye(3), coordinates((name + SECOND,)), point.values + mine - theirs)


def _titles(names):
    return ", ".join(n.replace("_", " ") for n in names)
