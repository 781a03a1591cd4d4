"""Of very many photos, those that tell most: more of the same cost time and memory, and add next to
nothing."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from photoangle.core.findings import NOTE, Finding

# Photos of one state, or of the card, that are solved together.
MOST_PHOTOS = 60
# Markers of one state: a car has some twenty.
MOST_MARKERS = 150
_CELLS = np.array([8, 6])


def bounded(sightings, kit, where):
    """As many photos and markers of one state as are solved together.

    Parameters: sightings: list of Detections; kit; where: for messages.  Returns (sightings, findings).
    """
    chosen = most_telling(sightings)
    findings = []
    if len(chosen) < len(sightings):
        findings.append(
            Finding(NOTE, where,
                    f"{len(sightings)} photos are here; the {len(chosen)} that tell most were used",
                    "a dozen from all sides are enough: more cost time and add next to nothing"))
    chosen, gone = best_known_markers(chosen, kit)
    if gone:
        findings.append(
            Finding(
                NOTE, where,
                f"{len(gone) + MOST_MARKERS} markers are seen; the {MOST_MARKERS} with a role or in most"
                " photos were used",
                "take off the ones that stand for nothing, or photograph fewer at a time"))
    return chosen, findings


def most_telling(sightings, most=MOST_PHOTOS, shows=None):
    """The ``most`` sightings that show things which the others show least, in the order in which they came.

    Parameters: sightings: list of Detections; shows(sighting) -> what it shows, by default its markers and
    the card. Each is taken in turn for the sum of 1 / (1 + times already shown) over what it shows.
    """
    if len(sightings) <= most:
        return list(sightings)
    shown = [(shows or _markers)(s) for s in sightings]
    left, taken, times = list(range(len(sightings))), [], Counter()
    while len(taken) < most:
        best = max(left, key=lambda k: (sum(1 / (1 + times[x]) for x in shown[k]), -k))
        left.remove(best)
        taken.append(best)
        times.update(shown[best])
    return [sightings[k] for k in sorted(taken)]


def _markers(sighting):
    return sorted(sighting.tags) + (["card"] if sighting.card is not None else [])


def places(pixels, size_px):
    """The parts of the picture (8 by 6) that corners (k, 2) px reach, as `most_telling` wants them."""
    cells = np.clip(pixels / size_px * _CELLS, 0, _CELLS - 1).astype(int)
    return sorted(map(tuple, cells.tolist()))


def best_known_markers(sightings, kit, most=MOST_MARKERS):
    """Sightings without the markers beyond the ``most`` that count: those with a role first, then those seen
    most often.

    Returns (sightings, ids left out).
    """
    count = Counter(i for s in sightings for i in s.tags)
    if len(count) <= most:
        return sightings, ()
    order = sorted(count, key=lambda i: (kit.slot(i).role.number is None, -count[i], i))
    gone = frozenset(order[most:])
    return [_without(s, gone) for s in sightings], tuple(sorted(gone))


def _without(sighting, gone):
    tags = {i: t for i, t in sighting.tags.items() if i not in gone}
    return sighting if len(tags) == len(sighting.tags) else replace(sighting, tags=tags)
