"""The problem that one set of photos poses: sightings, bodies, and what else is known, as rows of the
bundle."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from calib.bundle import Bundle
from calib.kit import card_saddles_mm
from calib.rows import BodyTie, CardRow, Priors, TagRow
from photoangle.core.assumed import PLUMB_STANDOFF_MM

# A curled tag's corners err by this much of its bend (rendered tags round tubes of 50 to 400 mm: 0.8 to 1.8).
_CURL_SHARE = 1.5
_STRING_TIE_MM = 0.15
# How well parts lie in the plane of a card held beside them.
_PLANE_MM, _PLANE_TILT_DEG = 1.0, 2.0


@dataclass(frozen=True)
class LensKnowledge:
    """What is known of the lens before the photos of a state are looked at.

    priors: lens mean and information, and the spread of a moving lens; floor_px: added to every
    corner; source: "profile", "exif" or "card"; can_move: whether a moving lens may be tried.
    """

    priors: Priors
    floor_px: float = 0.0
    source: str = "profile"
    can_move: bool = True


@dataclass(frozen=True)
class Problem:
    """Sightings in the order of the bundle's cameras, marker ids in the order of its bodies."""

    sightings: tuple
    order: tuple  # None for the card, then marker ids; plumb markers that turn may come several times
    sizes: dict
    kit: object
    knowledge: LensKnowledge
    priors: Priors
    left_out: tuple = ()
    turning: bool = False
    planar: bool = False
    plumb_standoff_mm: float = PLUMB_STANDOFF_MM


def _rows(problem):
    floor = problem.knowledge.floor_px**2
    body = {}
    for k, i in enumerate(problem.order):
        body.setdefault(i, k)
    saddles = card_saddles_mm(problem.kit.card) if problem.kit.card else None
    bent = Counter(i for s in problem.sightings for i, t in s.tags.items() if t.bent)
    tags, cards = [], []
    gone = set(problem.left_out)
    for c, s in enumerate(problem.sightings):
        for i in sorted(s.tags):
            own = (i, s.name) if (i, s.name) in body else i
            if own in body and (s.name, i) not in gone:
                # a curl shifts the corners alike in every photo: more photos must not average it away
                curl = bent[i] * (_CURL_SHARE * s.tags[i].bend_px) ** 2 if s.tags[i].bent else 0.0
                tags.append(TagRow(c, body[own], problem.sizes[i], s.tags[i].corners_px,
                                   s.tags[i].covariance_px2 + (floor + curl) * np.eye(8)))
        if s.card is not None and None in body:
            cards.append(CardRow(c, saddles[s.card.index], s.card.pixels,
                                 s.card.covariance_px2 + floor * np.eye(2)))
    return tags, cards


def bundle_of(problem, priors=None):
    """The Bundle of a Problem; priors: others than its own."""
    tags, cards = _rows(problem)
    size = (252.0, 168.0)
    if problem.kit.card:
        size = (problem.kit.card.width_mm, problem.kit.card.height_mm)
    return Bundle(len(problem.sightings), len(problem.order), tags, cards,
                  priors or problem.priors,
                  _string_ties(problem) + _plane_ties(problem), size)


def _string_ties(problem):
    """Markers on a string may turn about it between photos: only their points on the string are shared."""
    if not problem.turning:
        return ()
    ties = []
    point = np.array([0, 0, problem.plumb_standoff_mm])
    for base in (i for i in problem.order if isinstance(i, int) and is_plumb(problem.kit, i)):
        a = problem.order.index(base)
        ties += [BodyTie(a, point, b, point, np.eye(3) / _STRING_TIE_MM)
                 for b, other in enumerate(problem.order)
                 if isinstance(other, tuple) and other[0] == base]
    return tuple(ties)


def _plane_ties(problem):
    """Markers said to lie in the card's plane: three points of each are held near z = 0."""
    if not problem.planar:
        return ()
    tilt = np.radians(_PLANE_TILT_DEG) * 100
    ties = []
    for body, marker in enumerate(problem.order):
        if isinstance(marker, int) and not is_plumb(problem.kit, marker):
            ties.append(BodyTie(body, np.zeros(3), -1, np.zeros(3), np.array([[0, 0, 1 / _PLANE_MM]])))
            for arm in (np.array([100.0, 0, 0]), np.array([0, 100.0, 0])):
                # the difference of two points of one body: its tilt alone
                ties.append(BodyTie(body, arm, body, np.zeros(3), np.array([[0, 0, 1 / tilt]])))
    return tuple(ties)


def is_plumb(kit, marker):
    """Whether a marker hangs on the plumb."""
    slot = kit.slot(marker)
    return slot is not None and slot.role.body == "plumb"
