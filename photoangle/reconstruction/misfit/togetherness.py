"""Do the photos of one state belong together?  The state's parts are rigid: photos of two states, or from
before and after the car moved, fit among themselves and not with each other."""

from __future__ import annotations

from calib.solution import Singular

# A pair of photos fits if at most this share of its common markers, and never more than one of few, do not.
_MAY_DIFFER = 0.15
# A photo is held against so many of each group.
_OF_A_GROUP = 2
# More photos than this are not compared each with each.
_MOST_COMPARED = 12
# Sightings left out of a state from which on its photos are compared.
ASKED_FROM = 3
# The rest is measured where it is at least this many times as many as those that do not belong.
_CLEAR = 2


def groups(sightings, fitted):
    """Photos that fit each other, the largest group first.

    sightings: list of Detections; fitted(pair) -> (solution, problem) of two photos without what does not
    belong, or None where they share too little.  Returns tuples of indices.
    """
    out = []
    for k, photo in enumerate(sightings):
        mine = [g for g in out if any(_fit([sightings[m], photo], fitted) for m in g[:_OF_A_GROUP])]
        out = [g for g in out if g not in mine] + [sorted([k, *(m for g in mine for m in g)])]
    return sorted(map(tuple, out), key=lambda g: (-len(g), g))


def _fit(pair, fitted):
    common = set(pair[0].tags) & set(pair[1].tags)
    try:
        found = fitted(pair)
    except Singular:
        return True
    if found is None or len(common) < 3:
        return True  # nothing says that they do not
    gone = {marker for _, marker in found[1].left_out}
    return len(gone) <= max(1, _MAY_DIFFER * len(common))


def may_compare(sightings):
    """Whether there are several photos, and not too many to compare each with each."""
    return 2 <= len(sightings) <= _MOST_COMPARED


def clear_majority(parts):
    """Whether the largest group may be measured without the others."""
    return len(parts[0]) >= _CLEAR * sum(map(len, parts[1:]))
