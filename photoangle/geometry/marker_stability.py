"""Which markers kept their place on their part between two sets of photos.

The markers of one rigid part move together.  Where two or more of a part are seen in both sets, the photos
themselves show whether one was stuck anew or knocked; a marker alone on its part cannot be checked.
"""

from __future__ import annotations

from dataclasses import dataclass

from photoangle.core.findings import NOTE, Finding
from photoangle.core.roles import BAR_EYE, HUB, LINK_FOOT
from photoangle.core.states import FITTED, RIDE
from photoangle.geometry.registration import tie_bodies

RIGID = ("chassis", "bar", "arm", "knuckle", "link")
# Squared misfit (expected below 6) above which two markers disagree; each bears half of their difference.
_PAIR_DISAGREES = 20.0
_DISAGREES = 40.0


@dataclass(frozen=True)
class Places:
    """kept: ids seen to have kept their place; moved: ids seen to have moved, or of a pair of which one has;
    unsure: ids that cannot be checked; tie: `registration.Tie` of AFTER from BEFORE by the chassis markers
    kept, or None."""

    kept: tuple
    moved: tuple
    unsure: tuple
    tie: object = None


def compare_places(before, after, kit):
    """Look at all markers that both scenes show.

    Parameters: before, after: StateResult; kit.  Returns Places.
    """
    bodies = {}
    for marker in sorted(before.scene.markers):
        if marker in after.scene.markers and not {marker} & {*before.scene.ambiguous, *after.scene.ambiguous}:
            bodies.setdefault(body_of(marker, kit, after.notes), []).append(marker)
    kept, moved, unsure, chassis = [], [], [], None
    for body, ids in sorted(bodies.items()):
        if body not in RIGID or len(ids) < 2:
            unsure += ids if body != "plumb" else []
            if body == "chassis":
                chassis = tie_bodies(before.scene, after.scene, ids)[0]
            continue
        tie, squares = tie_bodies(before.scene, after.scene, ids)
        moved += tie.moved
        agree = max(squares) < (_PAIR_DISAGREES if len(tie.shared) == 2 else _DISAGREES)
        (kept if agree else moved).extend(tie.shared)
        if body == "chassis" and agree:
            chassis = tie
    return Places(tuple(kept), tuple(moved), tuple(unsure), chassis)


def body_of(marker, kit, notes):
    """The rigid part that a marker rides on, as one of roles.BODIES, or "strut"."""
    role = kit.slot(marker).role
    if role.key == LINK_FOOT:
        return {"control arm": "arm", "knuckle": "knuckle"}.get(notes.link_foot_on, "strut")
    return role.body


def handled(ids, before, after, kit):
    """Those of ``ids`` that the work between two states touches: the hub's, where the wheel is on in one of
    them; the link's joints, where a new link was fitted."""
    roles = set()
    for state, keys in ((RIDE, (HUB,)), (FITTED, (BAR_EYE, LINK_FOOT, "link"))):
        if (before == state) != (after == state):
            roles |= set(keys)
    return [i for i in ids if kit.slot(i).role.key in roles]


def untouched(places, before, after, kit, told):
    """Markers that are taken to have kept their place: those seen to, those that cannot be checked and that
    the work between the two states does not touch, and of two that disagree the one it does not touch.

    before, after: StateResult; told: ids that the user says were stuck anew.  Returns a set of ids.
    """
    touched = {*handled((*places.unsure, *places.moved), before.state, after.state, kit), *told}
    out = {*places.kept, *places.unsure} - touched
    by_body = {}
    for i in places.moved:
        by_body.setdefault(body_of(i, kit, after.notes), []).append(i)
    for ids in by_body.values():
        left = [i for i in ids if i not in touched]
        if len(ids) == 2 and len(left) == 1:
            out |= {*left}
    return out


def place_findings(places, kit, where, taken, anew=(), carried=()):
    """What to say of it.

    Parameters: places; kit; where: for messages; taken: ids that figures rest on, that cannot be checked and
    are taken as untouched; anew: ids that figures rest on and that count as stuck anew, since the work
    between the two touches them; carried: those of them on whose part a marker was left alone.  Returns
    findings.
    """
    def titles(ids):
        return ", ".join(kit.slot(i).role.title for i in sorted(ids))

    out = []
    moved = [i for i in places.moved if i not in anew and i not in taken]
    why = "since the link was changed or the wheel taken off in between"
    if carried:
        out.append(
            Finding(NOTE, where, f"{titles(carried)}: counts as stuck anew, {why}; the other marker on the"
                    " same part shows where its joint went", ""))
    alone = [i for i in anew if i not in carried]
    if alone:
        out.append(
            Finding(
                NOTE, where, f"{titles(alone)}: counts as stuck anew, {why}; how well it was stuck counts"
                " twice", "another marker on the same part (on the bar's arm, on the control arm), left"
                " alone, makes the change sharper"))
    if moved:
        out.append(
            Finding(
                NOTE, where, f"{titles(moved)}: on another spot of the part than before, or beside a"
                " marker that is; how well it was stuck counts twice", ""))
    if taken:
        out.append(
            Finding(
                NOTE, where,
                f"{titles(taken)}: no second marker on the same part shows whether it was touched in"
                " between; taken as untouched", "if it was stuck anew or refitted, say so with --restuck"))
    return out
