"""What joints by motion are found from: markers' poses in each state, joints on markers, taped lengths."""

from __future__ import annotations

from dataclasses import dataclass

from calib.arrays import Array
from calib.poses import Pose


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
