"""The problem that one set of photos poses: sightings, bodies, and what else is known, as rows of the
bundle."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from calib.bundle import Bundle
from calib.kit import card_saddles_mm, tag_corners_mm
from calib.lens import project
from calib.resection import square_poses
from calib.rows import BodyTie, CardRow, Priors, TagRow
from photoangle.core.assumed import PAPER_OFF_FLAT_U, PLUMB_STANDOFF_MM
from photoangle.reconstruction.lens.shown import LensShown

# A curled tag's corners err by this much of its bend (rendered tags round tubes of 50 to 400 mm: 0.8 to 1.8).
_CURL_SHARE = 1.5
# How four corners lie that are twisted off their plane, and how far by what is assumed of paper, of the side.
TWIST, TWIST_SHARE = np.array([1.0, -1, 1, -1]), PAPER_OFF_FLAT_U / 2
_STRING_TIE_MM = 0.15
# How well parts lie in the plane of a card held beside them.
_PLANE_MM, _PLANE_TILT_DEG = 1.0, 2.0


@dataclass(frozen=True)
class LensKnowledge:
    """What is known of the lens before the photos of a state are looked at.

    priors: lens mean and information, and the spread of a moving lens; floor_px: added to every
    corner; source: "profile", "exif" or "card", or how many photos; can_move: whether a moving lens may be
    tried; at_large: the priors before what other states' photos showed, ``shown``, was put into them.
    """

    priors: Priors
    floor_px: float = 0.0
    source: str = "profile"
    can_move: bool = True
    at_large: Priors | None = None
    shown: tuple[LensShown, ...] = ()


@dataclass(frozen=True)
class Problem:
    """Sightings in the order of the bundle's cameras, marker ids in the order of its bodies.

    turning: plumb markers may turn about their string between photos; swinging: they hang elsewhere in each;
    string_mm: marker -> where on it (3,) the photos show that they turn about, else plumb_standoff_mm behind.
    """

    sightings: tuple
    order: tuple  # None for the card, then marker ids; plumb markers that turn may come several times
    sizes: dict
    kit: object
    knowledge: LensKnowledge
    priors: Priors
    left_out: tuple = ()
    turning: bool = False
    swinging: bool = False
    planar: bool = False
    plumb_standoff_mm: float = PLUMB_STANDOFF_MM
    string_mm: dict = field(default_factory=dict)

    def string_of(self, marker):
        """The string's point on a plumb marker (3,), mm."""
        return self.string_mm.get(marker, np.array([0, 0, self.plumb_standoff_mm]))


def _rows(problem):
    floor = problem.knowledge.floor_px**2
    body = {}
    for k, i in enumerate(problem.order):
        body.setdefault(i, k)
    saddles = card_saddles_mm(problem.kit.card) if problem.kit.card else None
    bent = Counter(i for s in problem.sightings for i, t in s.tags.items() if t.bent)
    seen = Counter(i for s in problem.sightings for i in s.tags)
    lens = np.asarray(problem.knowledge.priors.lens_mean, float).tobytes()
    tags, cards = [], []
    gone = set(problem.left_out)
    for c, s in enumerate(problem.sightings):
        for i in sorted(s.tags):
            own = (i, s.name) if (i, s.name) in body else i
            if own in body and (s.name, i) not in gone:
                # a curl shifts the corners alike in every photo: more photos must not average it away
                curl = bent[i] * (_CURL_SHARE * s.tags[i].bend_px) ** 2 if s.tags[i].bent else 0.0
                # so does a twist, which no pose follows: nothing foreign, and no noise
                twist = _twist_px(problem.sizes[i], s.tags[i].corners_px.tobytes(), lens)
                covariance = s.tags[i].covariance_px2 + (floor + curl) * np.eye(8)
                allowed = seen[i] * TWIST_SHARE**2
                told = allowed * float(twist @ np.linalg.solve(covariance, twist))
                tags.append(TagRow(c, body[own], problem.sizes[i], s.tags[i].corners_px,
                                   covariance + allowed * np.outer(twist, twist), told / (1 + told)))
        if s.card is not None and None in body:
            cards.append(CardRow(c, saddles[s.card.index], s.card.pixels,
                                 s.card.covariance_px2 + floor * np.eye(2)))
    return tags, cards


@lru_cache(maxsize=4096)
def _twist_px(size, corners, lens):
    """What a twist by its side does to a tag's corners, (8,) px.

    size mm; corners (4, 2) px and the lens's parameters as bytes.  Either of the two tilts that a square
    shows serves: the twist they give differs in sign.
    """
    lens = np.frombuffer(lens)
    poses = square_poses(size, np.frombuffer(corners).reshape(4, 2), lens)
    if not poses:
        return np.zeros(8)
    at = tag_corners_mm(size)
    off = np.c_[np.zeros((4, 2)), 1e-3 * size * TWIST]
    moved = [project(poses[0][0].apply(at + sign * off), lens) for sign in (1, -1)]
    return (moved[0] - moved[1]).ravel() / 2e-3


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
    if not problem.turning or problem.swinging:
        return ()
    ties = []
    for base in (i for i in problem.order if isinstance(i, int) and is_plumb(problem.kit, i)):
        a, point = problem.order.index(base), problem.string_of(base)
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
