"""States measured, and how those of one corner hang together by the chassis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from calib.kit import Kit
from calib.poses import Pose
from photoangle.carfile.car import CarFile
from photoangle.carfile.corner import CornerNotes
from photoangle.core.estimate import Estimate
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.outcome import Report
from photoangle.core.roles import BAR_BUSH, BAR_EYE, PLUMB, SILLS
from photoangle.core.states import RIDE
from photoangle.geometry.bar_axis import BarDirection, bar_axis_from_states, bar_direction
from photoangle.geometry.datums import Axes, Direction, carried_axes, floor_axes
from photoangle.geometry.joints import Points
from photoangle.geometry.plumb.plumb_line import PlumbLine
from photoangle.geometry.registration import Tie, chassis_markers, moved_findings, tie_scenes
from photoangle.geometry.roll import carried_up, give_rolls
from photoangle.reconstruction.scene import Scene


@dataclass
class StateResult:
    """One state measured: its Scene, Points, directions, and the sightings behind them.

    up: Direction or None; axes: the chassis's Axes or None; lateral: Axes from gravity and the sill alone,
    rolled as the car is, or None; plumb_lines: the string's stretches that are in up; roll: the car's, an
    Estimate named datums.ROLL, None where nobody asked;
    pitch_between_deg: what the pitch lies between where nothing shows it, nose up; tie: to the reference
    state; bar_axis: where motion showed it."""

    corner: str | None
    state: str | None
    folder: Path | None
    scene: Scene
    points: Points
    up: Direction | None
    axes: Axes | None = None
    lateral: Axes | None = None
    plumb_lines: tuple[PlumbLine, ...] = ()
    roll: Estimate | None = None
    pitch_between_deg: tuple[float, float] = CarFile().pitch_between_deg(None, None)
    tie: Tie | None = None
    bar_axis: BarDirection | None = None
    measured: Any = None  # figures.measure.Measured, of a package above
    reference: bool = False  # the state that the others of its corner are tied to
    # of another corner, that the chassis's pitch and roll were taken from
    attitude_of: StateResult | None = None
    pointed: tuple[Any, ...] = ()  # PointedPlace each, of what was pointed at
    dots: list[Any] = field(default_factory=list)
    sightings: list[Any] = field(default_factory=list)
    paths: dict[str, Path] = field(default_factory=dict)
    notes: CornerNotes = CornerNotes()
    quality: list[Any] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)  # as the Measurement it is in has them

    @property
    def name(self) -> str:
        """ "corner/state", or "photos" for loose ones."""
        return f"{self.corner}/{self.state}" if self.corner else "photos"

    def leave_out(self, roles: Sequence[str]) -> None:
        """Measure nothing through these roles: their points go, and the directions that rest on them."""
        self.points = self.points.without(roles)
        if set(roles) & set(PLUMB):
            self.up = self.roll = None
            self.plumb_lines = ()
        if set(roles) & {*PLUMB, *SILLS}:
            self.axes = self.lateral = None
        if set(roles) & {BAR_BUSH, BAR_EYE}:
            self.bar_axis = None

    @property
    def cameras(self) -> dict[str, Pose]:
        """Photo's name -> camera_from_world Pose (mm); the world is the card's frame, or a marker's."""
        return dict(zip(self.scene.photos, self.scene.cameras, strict=True))

    def figure(self, name: str, datum: str | None = None) -> Figure:
        """The Figure of a name, such as "bar_arm_angle" against "chassis" (None: the first there is).

        Raises KeyError with the names there are."""
        for figure in self.figures:
            if figure.name == name and datum in (None, figure.datum):
                return figure
        there = ", ".join(
            dict.fromkeys(f.name + (f" against {f.datum}" if f.datum else "") for f in self.figures))
        raise KeyError(
            f"{self.name} has no {name!r}{f' against {datum}' if datum else ''}; there are {there or 'none'}")


    def covariance(self, names: Sequence[tuple[str, str | None]]) -> np.ndarray:
        """Covariance (n, n) of figures by (name, datum), in the order asked for, in their units' squares:
        what they share, such as the print or a marker's sticking, is in it.  Raises KeyError for one that is
        not there."""
        known = {
            row.key: label
            for row, label in zip(self.measured.rows, self.measured.estimate.names, strict=True)
        }
        return self.measured.estimate.pick([known[key] for key in names]).covariance()


def tie_states(states: Sequence[StateResult], kit: Kit, car: CarFile, report: Report) -> None:
    """Tie the states of each corner together by the chassis; give each its axes and the bar's axis."""
    for corner in sorted({s.corner for s in states if s.corner}):
        mine = [s for s in states if s.corner == corner]
        ride = next((s for s in mine if s.state == RIDE), None)
        base = _ride_axes(ride, car, report) if ride is not None else None
        reference = ride or max(mine, key=lambda s: len(chassis_markers(s.scene, kit)))
        reference.reference = True
        for result in mine:
            if result is not reference:
                result.tie = tie_scenes(result.scene, reference.scene, kit)
            if result.tie is not None:
                # a marker that the chassis carried along sits where it sat
                places = {i: reference.scene.origin.place(i) for i in result.tie.shared}
                result.points = replace(result.points, places=places)
            if result.tie is None or ride is None:
                continue
            if base is not None:
                result.axes = carried_axes(base, result.tie, result.scene)
            elif ride.up is not None:
                # the floor's normal is known from the ride photos, which way the car points from these
                result.axes = floor_axes(result.points, carried_up(ride, result), car.level)
            report.tell(*moved_findings(result.tie, kit, f"{corner}/{result.state}"))
        if ride is not None and ride.axes is None:
            _say_no_forward(ride, mine, report)
        _bar_axis(mine, reference, kit)
    give_rolls(states, car.level)


def _ride_axes(ride: StateResult, car: CarFile, report: Report) -> Axes | None:
    """Chassis axes of the ride state, or None."""
    if ride.up is None:
        return None
    ride.axes = floor_axes(ride.points, ride.up, car.level)
    if ride.axes is not None and not car.level.floor_given:
        report.tell(Finding(NOTE, "car.toml, level", "the floor's slope is not given: level within"
                            f" {car.level.floor_within_deg:g} deg is assumed",
                            "lay a long level on the floor and write floor_slope_along_deg"))
    return ride.axes


def _say_no_forward(ride: StateResult, mine: Sequence[StateResult], report: Report) -> None:
    """Where neither the ride photos nor those tied to them show which way the car points."""
    if ride.up is None or any(s.axes is not None for s in mine):
        return
    missing = [n.replace("_", " ") for n in SILLS if n not in ride.points]
    report.tell(
        Finding(
            ATTENTION, f"{ride.corner}/ride",
            f"which way the car points is not known: {' and '.join(missing) or 'the sill line'} not seen",
            "have both sill markers in the ride photos"))


def _bar_axis(mine: Sequence[StateResult], reference: StateResult, kit: Kit) -> None:
    """The bar's own axis, where it turned between states, in each state's world."""
    tied = {s.state: s for s in mine if s.state is not None and (s is reference or s.tie is not None)}
    axis = bar_axis_from_states({k: s.scene for k, s in tied.items()},
                                {k: s.tie for k, s in tied.items()}, kit)
    if axis is None:
        return
    for s in tied.values():
        back = s.tie.pose.rotation.T if s.tie is not None else np.eye(3)
        s.bar_axis = bar_direction(axis, back, s.scene.origin)
