"""The same photo twice: saved again, or of one burst.  It counts once, for its errors are the same ones."""

from __future__ import annotations

import numpy as np

from photoangle.core.findings import NOTE, Finding

# Two photos from one place, of the width: nobody holds a phone so still between two photos that are to
# differ, and what light and lens do to a marker repeats.
_SAME = 0.003


def counted_once(sightings):
    """(sightings without those that show what another shows from the same place, findings).

    Of such photos the one with most in it stays, the first of equals; it keeps what only the others show out.
    """
    kept, gone = [], []
    for s in sorted(sightings, key=lambda s: -_amount(s)):
        twin = next((k for k in kept if _same(s, k)), None)
        if twin is None:
            kept.append(s)
        else:
            gone.append((s.name, twin.name))
    if not gone:
        return sightings, []
    names = {s.name for s in kept}
    findings = [Finding(NOTE, ", ".join(name for name, _ in gone),
                        f"the same view as {', '.join(dict.fromkeys(twin for _, twin in gone))}, or nearly:"
                        " it counts once",
                        "take photos from clearly different places: a second of the same tells nothing new")]
    return [s for s in sightings if s.name in names], findings


def _amount(sighting):
    return 4 * len(sighting.tags) + (0 if sighting.card is None else len(sighting.card.index))


def _same(one, other):
    """Whether two photos show their common markers and card corners at the same pixels."""
    if one.camera != other.camera:
        return False
    here, there = _seen(one), _seen(other)
    common = sorted(set(here) & set(there), key=str)
    if len(common) < 0.5 * min(len(here), len(there)) or len(common) < 4:
        return False
    apart = np.array([here[k] - there[k] for k in common])
    return bool(np.linalg.norm(apart, axis=1).max() < _SAME * one.width_px)


def _seen(sighting):
    out = {(i, c): px for i, t in sighting.tags.items() for c, px in enumerate(t.corners_px)}
    if sighting.card is not None:
        out |= {("card", int(i)): px for i, px in zip(sighting.card.index, sighting.card.pixels, strict=True)}
    return out
