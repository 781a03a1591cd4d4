"""The nouns of joints by motion: what they are found from, and what is found to have changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from calib.poses import Pose
from photoangle.core.arrays import Array


@dataclass(frozen=True)
class MotionState:
    """One state's markers: id -> Pose ``chassis_from_marker``; covariance (6 m, 6 m) in the same order: turn
    (rad, applied from the left), then shift (mm), for each marker."""

    name: str
    markers: dict[int, Pose]
    covariance: Array


@dataclass(frozen=True)
class PointOnMarker:
    """A joint at offset_mm (3,) in a marker's own frame, known to sigma_mm (3,) along that frame's axes.

    A stand-off has a small sigma along z, a cross set on the joint small ones along x and y; what is not
    known gets a large one.  state: the state whose place of the marker is meant, or None for the marker's
    first; the same reading given for several states counts once for as long as the marker was not moved.
    """

    marker: int
    joint: str
    offset_mm: tuple[float, float, float]
    sigma_mm: tuple[float, float, float]
    state: str | None = None


@dataclass(frozen=True)
class TapedLength:
    """A taped distance between two joints, in a state by name, or None for the first."""

    first: str
    second: str
    value_mm: float
    sigma_mm: float
    state: str | None = None


@dataclass(frozen=True)
class Hints:
    """What is known beside the markers' poses.

    points, tapes: joints on markers, lengths; new_link_from: names of states from which on the link is
    another one, or has another length (where it is not said but shows, it is found).
    """

    points: Sequence[PointOnMarker] = ()
    tapes: Sequence[TapedLength] = ()
    new_link_from: Sequence[str] = ()


@dataclass(frozen=True)
class Slack:
    """What parts are not quite: play_mm: sigma of a joint's play; flex_mm, flex_deg: sigmas that every
    sighting is widened by, since parts and paper are not quite rigid."""

    play_mm: float = 0.02
    flex_mm: float = 0.02
    flex_deg: float = 0.005


class What(NamedTuple):
    """Something that did not stay as it was, or does not fit.

    kind: "cut" (a marker has another place), "link" (another link), "point" or "tape" (an observation that
    does not fit); of: index of the marker, the state or the observation; state: from which on a cut or a link
    is.
    """

    kind: str
    of: int
    state: int = 0


@dataclass(frozen=True)
class GivenOfMotion:
    """What `solve_motion` was given, checked: states; bodies: marker -> body; carrier of the link's foot,
    "arm" or "knuckle"; points; tapes; slack."""

    states: tuple[MotionState, ...]
    bodies: Mapping[int, str]
    carrier: str
    points: tuple[PointOnMarker, ...]
    tapes: tuple[TapedLength, ...]
    slack: Slack

    @property
    def names(self) -> list[str]:
        """The states' names."""
        return [s.name for s in self.states]


@dataclass(frozen=True)
class Changes:
    """What did not stay as it was, a tuple each, by index: cuts: (marker, state) from which on it has another
    place; links: states from which on the link is another; unused: observations left out."""

    cuts: tuple[tuple[int, int], ...] = ()
    links: tuple[int, ...] = ()
    unused: tuple[What, ...] = ()
