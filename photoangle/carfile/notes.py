"""What car.toml says, as nouns: lengths in mm, with the defaults for what is not there."""

from __future__ import annotations

from dataclasses import dataclass, field

from photoangle.core.roles import ROLES

ROLE_KEYS = tuple(r.key for r in ROLES)
HEIGHTS = tuple(f"{key}_height" for key in ROLE_KEYS[:8])
TAPE_NAMES = ("hub_to_arch", "bar_arm_length", "control_arm_length", "link_length", "bar_lever",
              "link_foot_from_pivot", "sill_length", "hose_gap_a", "hose_gap_b", "hose_gap_c") + HEIGHTS
# What a level says of the chassis in a state, deg; nose up and left side up are positive.
ATTITUDE_NAMES = ("sill_slope_deg", "roll_deg")
# Points of the linkage that no printed marker is named after.
EXTRA_POINTS = ("upper_pivot_front", "upper_pivot_rear", "upper_ball_joint", "strut_top", "strut_low",
                "tie_rod_inner", "tie_rod_outer", "bar_bush_far")

@dataclass(frozen=True)
class PrintCheck:
    """What a steel rule said of the print-check lines, mm, or None; u_mm of each reading."""

    x_line_mm: float | None = None
    y_line_mm: float | None = None
    u_mm: float = 0.15


@dataclass(frozen=True)
class Level:
    """How gravity is known: by "plumb", "card" or "none"; the floor's slopes in degrees.

    floor_slope_along_deg is positive where the floor rises towards the car's nose, across where it
    rises to the left; floor_within_deg is the half-width of both; plumb_standoff_mm: from a plumb
    marker's face to the string.
    """

    by: str = "plumb"
    floor_slope_along_deg: float = 0.0
    floor_slope_across_deg: float = 0.0
    floor_within_deg: float = 0.5
    floor_given: bool = False
    plumb_standoff_mm: float = 1.6


@dataclass(frozen=True)
class Corner:
    """What the file says of one corner.  Lengths in mm; tape: state -> name -> Reading.

    attitude: state -> "sill_slope_deg" or "roll_deg" -> deg; stands_for: role of a spare marker -> a point of EXTRA_POINTS;
    from_bush: point -> three signed Readings (forward, left, up of the bar's bush); travel, hose, joint_limit_deg: what
    `photoangle link` needs; hub_differs_within: see `linkage.corner.Corner`; bar_arm_points: "rear" or "front", from
    bush to eye (for a tape alone); use_tape: taped lengths join the photos' answer.
    """

    link_foot_on: str = "control arm"
    stuck_within_mm: float = 1.0
    standoff_mm: dict = field(default_factory=dict)
    standoff_u_mm: dict = field(default_factory=dict)
    offset_mm: dict = field(default_factory=dict)
    tape: dict = field(default_factory=dict)
    wanted: dict = field(default_factory=dict)
    link: dict = field(default_factory=dict)
    radius_mm: dict = field(default_factory=dict)
    attitude: dict = field(default_factory=dict)
    stands_for: dict = field(default_factory=dict)
    from_bush: dict = field(default_factory=dict)
    travel: dict = field(default_factory=dict)
    hose: dict = field(default_factory=dict)
    joint_limit_deg: dict = field(default_factory=dict)
    hub_differs_within: float | None = None
    bar_arm_points: str = "rear"
    use_tape: bool = False


@dataclass(frozen=True)
class Axle:
    """The bar of one axle: its rate (force at one eye for each mm of one eye against the other) and what preload
    counts as none, in mm at the eye."""

    bar_rate_n_per_mm: float | None = None
    preload_within_mm: float = 2.0


@dataclass(frozen=True)
class CarFile:
    """Everything in car.toml, with the defaults for what is not there."""

    name: str = ""
    units: str = "mm"
    tape_division_mm: float = 1.0
    tape_class: str = "II"
    wheelbase_mm: float | None = None
    kit: str | None = None
    print_check: PrintCheck = PrintCheck()
    level: Level = Level()
    corners: dict = field(default_factory=dict)
    axles: dict = field(default_factory=dict)

    def corner(self, name):
        """The Corner of a name, with defaults where the file is silent."""
        return self.corners.get(name, Corner())

    def axle(self, name):
        """The Axle of a name, with defaults where the file is silent."""
        return self.axles.get(name, Axle())
