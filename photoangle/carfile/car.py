"""What car.toml says of the whole car: units and tape, the print check, level, axles.  Each key once, as in
`carfile.corner`."""

from __future__ import annotations

import math
from dataclasses import field
from typing import Annotated, ClassVar

from pydantic import Field

from photoangle.carfile.corner import OFFERED, PAGE, SET, CornerNotes, Mm
from photoangle.carfile.kinds import Choice, Key, Length, Number
from photoangle.carfile.lengths import TAPE_CLASSES
from photoangle.carfile.section import Section, section
from photoangle.core.assumed import FLOOR_WITHIN_DEG, LEAST_WHEELBASE_MM, MOST_LIFT_MM
from photoangle.core.states import AXLES, CORNERS, RIDE


@section
class CarNotes(Section):
    """The car's name, units, tape, wheelbase and lift (mm), and kit file."""

    name: Annotated[str, Key(200, "as it stands on reports", "my car", SET | PAGE)] = ""
    units: Annotated[str,
                     Choice(("mm", "in"), 'for numbers without a unit: "mm" or "in"',
                            ("mm", "in"), SET | PAGE)] = "mm"
    tape_division_mm: Annotated[float,
                                Length((0.05, 26), "the finest division on your tape",
                                       ("1 mm", "1/16 in"), SET | PAGE)] = 1.0
    tape_class: Annotated[
        str,
        Choice(tuple(TAPE_CLASSES), "stands on the tape in a small ring: I, II or III", "II", SET)] = "II"
    wheelbase_mm: Annotated[Mm,
                            Length((1000, 6000), "front wheel's middle to rear's",
                                   ("2500 mm", "98 1/2 in"), OFFERED)] = None
    lift_mm: Annotated[Mm,
                       Length((20, MOST_LIFT_MM), "how much higher the raised end stands, at its axle",
                              ("300 mm", "12 in"), OFFERED)] = None
    kit: Annotated[
        str | None,
        Key(200, "a kit file in this folder, for other tags than the printed", "my-kit.toml")] = None


@section
class PrintCheck(Section):
    """What a steel rule said of the print-check lines, mm, or None; u_mm of each reading."""

    heading: ClassVar[str] = "lay a steel rule on the two lines beside the card"
    x_line_mm: Annotated[Mm,
                         Length((150, 260), "200.0 mm as printed",
                                ("200.0 mm", "7 7/8 in"), OFFERED | PAGE)] = None
    y_line_mm: Annotated[Mm,
                         Length((110, 200), "150.0 mm as printed",
                                ("150.0 mm", "5 29/32 in"), OFFERED | PAGE)] = None
    u_mm: Annotated[
        float,
        Length((0.01, 5), "how well it was read, plus or minus", ("0.25 mm", "1/64 in"), over=math.sqrt(3)),
        Field(alias="within")] = 0.25 / math.sqrt(3)


@section
class Level(Section):
    """How gravity is known, and the floor's slope, deg."""

    heading: ClassVar[str] = "which way is down"
    by: Annotated[str,
                  Choice(
                      ("plumb", "card",
                       "none"), '"plumb" (strip or string), "card" (long edge levelled), "none"', "plumb", SET
                      | PAGE)] = "plumb"
    slope_along_deg: Annotated[float | None,
                               Number((-15, 15), "floor higher at the car's nose: positive", 0.0, OFFERED
                                      | PAGE),
                               Field(alias="floor_slope_along_deg")] = None
    floor_slope_across_deg: Annotated[float,
                                      Number(
                                          (-15, 15), "floor higher on the car's left: positive", 0.0, OFFERED
                                          | PAGE)] = 0.0
    slope_within_deg: Annotated[float | None,
                                Number((0, 5), "how well both slopes are known, plus or minus", 0.1),
                                Field(alias="floor_within_deg")] = None
    plumb_standoff_mm: Annotated[float,
                                 Length((0, 50), "from a plumb marker's face to the string",
                                        ("1.6 mm", "1/16 in"))] = 1.6

    @property
    def floor_given(self):
        """Whether the file says how the floor slopes."""
        return self.slope_along_deg is not None

    @property
    def floor_slope_along_deg(self):
        """Positive where the floor rises towards the car's nose."""
        return self.slope_along_deg or 0.0

    @property
    def floor_within_deg(self):
        """Half-width of both slopes: as given, else for a floor that was measured or one that was not."""
        if self.slope_within_deg is not None:
            return self.slope_within_deg
        return 0.1 if self.floor_given else FLOOR_WITHIN_DEG


@section
class Axle(Section):
    """The bar of one axle: its rate and what preload counts as none, in mm at the eye."""

    bar_rate_n_per_mm: Annotated[float | None,
                                 Number(
                                     (0.1, 2000
                                      ), "force at one eye for each mm against the other eye", 20.0)] = None
    bar_on: Annotated[str, Choice(("chassis", "axle", "arms"),
                                  'what carries its bushes; on "axle" or "arms" no link is worked out',
                                  "chassis")] = "chassis"
    bar_diameter_mm: Annotated[float | None,
                               Length((5, 80), "the bar's outer diameter, for its stiffness",
                                      ("22 mm", "7/8 in"))] = None
    bar_wall_mm: Annotated[float | None,
                           Length((0.5, 40), "a tube's wall; leave out for a solid bar",
                                  ("3 mm", "1/8 in"))] = None
    bar_length_mm: Annotated[float | None,
                             Length((100, 2000), "its straight part, from bend to bend",
                                    ("820 mm", "32 1/4 in"))] = None
    preload_within_mm: Annotated[float,
                                 Length((0.1, 50), "preload that counts as none, at the eye",
                                        ("2 mm", "1/16 in"))] = 2.0


SECTIONS = {"car": CarNotes, "print": PrintCheck, "level": Level} | dict.fromkeys(
    CORNERS, CornerNotes) | dict.fromkeys(AXLES, Axle)


@section
class CarFile(CarNotes):
    """Everything in car.toml, with the defaults for what is not there.  corners, axles: name -> CornerNotes,
    Axle."""

    print_check: PrintCheck = PrintCheck()
    level: Level = Level()
    corners: dict = field(default_factory=dict)
    axles: dict = field(default_factory=dict)

    def pitch_between_deg(self, corner, state):
        """Between what the car's pitch lies in a state where nothing shows it, deg, nose up: (least, most).

        On its wheels it is the floor's.  On stands the end that was raised is known by the corner, and it
        is up by anything to atan(lift / wheelbase); corner None: either end.
        """
        if state == RIDE:
            along, within = self.level.floor_slope_along_deg, self.level.floor_within_deg
            return along - within, along + within
        lift, wheelbase = self.lift_mm or MOST_LIFT_MM, self.wheelbase_mm or LEAST_WHEELBASE_MM
        most = math.degrees(math.atan(lift / wheelbase))
        front, rear = AXLES
        raised = (corner or "").partition("-")[0]
        return 0.0 if raised == front else -most, 0.0 if raised == rear else most

    def corner(self, name):
        """The CornerNotes of a name, with defaults where the file is silent."""
        return self.corners.get(name, CornerNotes())

    def axle(self, name):
        """The Axle of a name, with defaults where the file is silent."""
        return self.axles.get(name, Axle())
