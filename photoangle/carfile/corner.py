"""What car.toml says of one corner: markers, tape, link, travel, wishes.  Each key once, with all that is
said of it.

Beside a key: what it may be, the words of its comment, an example (for mm and for in), and its `kinds.Use`.
"""

from __future__ import annotations

from dataclasses import field
from functools import partial
from typing import Annotated, ClassVar

from pydantic import Field, model_validator

from photoangle.carfile.kinds import (
    Choice,
    Length,
    ListOf,
    Number,
    Pitch,
    Refused,
    StandOff,
    Table,
    TapeKey,
    Use,
)
from photoangle.carfile.section import Section, section
from photoangle.core.assumed import STUCK_WITHIN_MM
from photoangle.core.roles import ROLE_BY_KEY
from photoangle.core.states import DROOP, FITTED, RIDE
from photoangle.core.states import SET as AT_SET

NONE, SET, OFFERED, INSTEAD, PAGE = Use.NONE, Use.SET, Use.OFFERED, Use.INSTEAD, Use.PAGE
Mm = float | None
_nothing = partial(field, default_factory=dict)

# Which way a stud may be said to point: forward, left, up.
STUD_WAYS = {"across": (0, 1, 0), "along": (1, 0, 0), "upright": (0, 0, 1)}
# Points of the linkage that no printed marker is named after.
EXTRA_POINTS = {
    "upper_pivot_front": "the upper arm's front inner bush",
    "upper_pivot_rear": "the upper arm's rear inner bush",
    "upper_ball_joint": "the upper arm's outer ball joint", "strut_top": "the strut's top mount",
    "strut_low": "a point low on the strut's line, where it misses the ball joint",
    "tie_rod_inner": "the steering rack's joint", "tie_rod_outer": "the tie rod's outer joint",
    "bar_bush_far": "the bar's bush on the other side"
}
_STANDOFFS = {"bar_bush": ("38 mm", "1 1/2 in"), "bar_eye": (["16 mm", "16.5 mm"], ["5/8 in", "21/32 in"]),
              "link_foot": ("16 mm", "5/8 in"), "arm_ball_joint": ("25 mm", "1 in")}


def _standoff(role):
    shown = OFFERED if role in _STANDOFFS else NONE
    return StandOff((0, 400), "", _STANDOFFS.get(role, ("16 mm", "5/8 in")), PAGE | shown, signed=True)


def _taped(words, example, use=NONE):
    return TapeKey((1, 3000), words, example, PAGE | use)


ATTITUDE = {
    "sill_slope_deg": Number((-20, 20), "a level along the sill: nose up is positive", 0.3, OFFERED | PAGE),
    "roll_deg": Number((-20, 20), "a level across, on two like points: left side up is positive", 0.2,
                       OFFERED | PAGE)}
TAPE = {
    "hub_to_arch": _taped("wheel's middle straight up to the arch lip", ("378 mm", "14 7/8 in"), OFFERED),
    "bar_arm_length": _taped("bush to eye", ("186 mm", "7 5/16 in"), OFFERED), "control_arm_length": _taped(
        "pivot to ball joint",
        ("328 mm", "12 15/16 in")), "link_length": _taped("eye to foot", ("153 mm", "6 1/32 in")),
    "bar_lever": _taped("eye square to the bar's axis",
                        ("180 mm", "7 1/16 in")), "link_foot_from_pivot": _taped(
                            "the link's foot square to the arm's pivots",
                            ("216 mm", "8 1/2 in")), "sill_length": _taped("between the sill's markers",
                                                                           ("600 mm", "23 5/8 in"))
} | {
    f"hose_gap_{h}": _taped(f"nearest gap between hose {h} and link or bar eye", ("14 mm", "9/16 in"))
    for h in "abc"
} | {
    f"{role}_height": TapeKey((0, 3000), f"{ROLE_BY_KEY[role].title} over one level line; below it negative",
                              ("150 mm", "5 7/8 in"), PAGE, signed=True)
    for role in tuple(ROLE_BY_KEY)[:8]
} | ATTITUDE


@section
class WantedPlace(Section):
    """Where the bar's arm is to be: its angle, how far it may be off, and whether square to the link
    instead."""

    heading: ClassVar[str] = "where the bar's arm should be at ride height"
    bar_arm_angle_deg: Annotated[float,
                                 Number((-80, 80), "0 is level; eye above bush is positive", 0.0, SET
                                        | PAGE)] = 0.0
    within_deg: Annotated[float, Number((0.01, 45), "how far off is still right", 3.0, SET | PAGE)] = 3.0
    datum: Annotated[str, Choice(("chassis", "gravity"), "what level means", "chassis")] = "chassis"
    square_to_link: Annotated[bool,
                              Choice(
                                  (True, False), "the arm square to the link, not at an angle", True)] = False


@section
class LinkNotes(Section):
    """The drop link's adjuster, mm; None where the file is silent.

    eye_holes_mm: how much nearer to the bush each other hole of the bar is; a hole farther away is negative.
    lengths_mm: links of fixed lengths to choose from.
    """

    heading: ClassVar[str] = "the drop link"
    thread_pitch_mm: Annotated[Mm,
                               Pitch((0.3, 5), "or threads per inch",
                                     ("1.25 mm", "24 tpi"), OFFERED | PAGE)] = None
    threaded_ends: Annotated[int, Number((0, 2), "0, 1 or 2", 2, OFFERED | PAGE, whole=True)] = 2
    opposite_hands: Annotated[bool,
                              Choice(
                                  (True,
                                   False), "one end left-hand: turning the middle moves both", True)] = True
    shortest_mm: Annotated[Mm,
                           Length((10, 1500), "centre to centre, by its maker",
                                  ("120 mm", "4 3/4 in"), OFFERED | PAGE)] = None
    longest_mm: Annotated[Mm,
                          Length((10, 1500), "the same, screwed out",
                                 ("165 mm", "6 1/2 in"), OFFERED | PAGE)] = None
    thread_mm: Annotated[Mm, Length((3, 40), "the thread's diameter,", ("10 mm", "3/8 in"), OFFERED)] = None
    thread_in_mm: Annotated[Mm,
                            Length((0, 200), "and how much of it is in at each end now",
                                   ("22 mm", "7/8 in"), OFFERED)] = None
    thread_out_mm: Annotated[Mm,
                             Length((0, 400), "bare thread from body to end, jam nut on it",
                                    ("12 mm", "1/2 in"))] = None
    jam_nut_mm: Annotated[Mm, Length((0, 40), "the jam nut's height", ("6 mm", "1/4 in"))] = None
    least_engagement_mm: Annotated[Mm,
                                   Length((1, 100), "thread that must stay in, by its maker",
                                          ("15 mm", "5/8 in"))] = None
    eye_holes_mm: Annotated[tuple[float, ...], ListOf(
        (0, 8), "other holes of the bar, so much nearer to the bush", (["20 mm"], ["3/4 in"]), OFFERED,
        Length((1, 300), signed=True))] = ()
    lengths_mm: Annotated[tuple[float, ...], ListOf(
        (0, 12), "links of fixed lengths that can be had, centre to centre",
        (["120 mm", "130 mm"], ["4 3/4 in", "5 1/8 in"]), OFFERED, Length((10, 1500)))] = ()

    @model_validator(mode="after")
    def _shortest_first(self):
        if self.shortest_mm and self.longest_mm and self.shortest_mm >= self.longest_mm:
            raise Refused("shortest is not less than longest",
                          "exchange the two, or correct one",
                          of_key=False)
        return self


@section
class TravelNotes(Section):
    """How far the wheel goes from ride height, mm; None where the file is silent.  steps: how finely it is
    gone through."""

    heading: ClassVar[str] = "of the wheel, from ride height"
    bump_mm: Annotated[Mm, Length((1, 400), "up to the bump stop",
                                  ("45 mm", "1 3/4 in"), OFFERED | PAGE)] = None
    damper_free_mm: Annotated[Mm,
                              Length((1, 400), "the damper shaft's free length",
                                     ("30 mm", "1 1/4 in"), INSTEAD)] = None
    damper_ratio: Annotated[
        float | None,
        Number((0.2, 1.5), "with damper_free: damper's travel over the wheel's", 0.8, OFFERED)] = None
    droop_mm: Annotated[Mm,
                        Length((1, 400), "down to hanging, where it was not taped",
                               ("60 mm", "2 3/8 in"), PAGE)] = None
    steps: Annotated[int, Number((3, 501), "how finely the travel is gone through", 61, whole=True)] = 61

    @model_validator(mode="after")
    def _one_bump_stop(self):
        if self.bump_mm is not None and self.damper_free_mm is not None:
            raise Refused("bump and damper_free both say where the bump stop is",
                          "give one of them",
                          of_key=False)
        return self


_BODIES = ("chassis", "between", "knuckle")


@section
class HoseNotes(Section):
    """What each hose marker rides on, and the gap wanted between hose and link or bar, mm."""

    heading: ClassVar[str] = "what its markers ride on; not needed when seen at droop and at set"
    hose_a_on: Annotated[str | None, Choice(_BODIES, 'or "between", "knuckle"', "chassis", OFFERED)] = None
    hose_b_on: Annotated[str | None, Choice(_BODIES, "as hose_a_on", "between")] = None
    hose_c_on: Annotated[str | None, Choice(_BODIES, "as hose_a_on", "knuckle")] = None
    leads_away: Annotated[bool,
                          Choice((True, False), "you looked: beyond its end markers it comes no nearer", True,
                                 OFFERED | PAGE)] = False
    wanted_gap_mm: Annotated[float,
                             Length((0, 200), "to the link and the bar's eye",
                                    ("10 mm", "3/8 in"), OFFERED)] = 0.0


@section
class CornerNotes(Section):
    """What the file says of one corner.  Lengths in mm.

    standoff: role -> Reading; offset_mm: role -> (right, down, into) as on the marker; taped: state -> name
    -> Reading or deg; stands_for: role of a spare marker -> a point of EXTRA_POINTS; from_bush: point ->
    three Readings (forward, left, up of the bar's bush); from_bush_state: where the wheel was then; stud:
    joint -> key of STUD_WAYS; radius_mm: thing -> half its thickness; hub_differs_within: a share, see
    `linkage.corner.Corner`.
    """

    link_foot_on: Annotated[str,
                            Choice(("control arm", "strut",
                                    "knuckle"), 'or "strut", "knuckle"', "control arm", SET)] = "control arm"
    stuck_within_mm: Annotated[float,
                               Length((0, 20), "how well you could centre the markers",
                                      ("1 mm", "1/16 in"), SET)] = STUCK_WITHIN_MM
    bar_arm_points: Annotated[str | None,
                              Choice(("rear", "front"), 'from bush to eye, or "front"; photos show it',
                                     "rear", OFFERED)] = None
    use_tape: Annotated[bool,
                        Choice((True,
                                False), "taped lengths join the photos' answer, not check it", True)] = False
    hub_differs_within: Annotated[float | None,
                                  Number((0, 50), "hub's rise against the ball joint's", 5, over=100),
                                  Field(alias="hub_rise_within_percent")] = None
    standoff: Annotated[
        dict,
        Table({role: _standoff(role)
               for role in ROLE_BY_KEY},
              "a marker's printed face straight back to its joint's middle; of several the mean")] = _nothing(
              )
    offset_mm: Annotated[
        dict,
        Table(
            {
                role: ListOf((3, 3),
                             "right, down, into as on the marker", ["0 mm", "45 mm", "16 mm"],
                             each=Length((0, 500), signed=True))
                for role in ROLE_BY_KEY
            }, "from a marker's middle to a joint that is not straight behind it")] = _nothing()
    taped: Annotated[dict,
                     Table(Table(TAPE), "readings with the wheels hanging; also .set .ride .fitted", "droop"),
                     Field(alias="tape")] = _nothing()
    link: LinkNotes = LinkNotes()
    radius_mm: Annotated[dict, Table({
        "hose": Length((0, 100), "the brake hose", ("5 mm", "3/16 in"), OFFERED | PAGE),
        "bar_eye": Length((0, 100), "the joint at the bar's eye", ("14 mm", "9/16 in"), OFFERED | PAGE),
        "link": Length((0, 100), "the link at its thickest", ("10 mm", "3/8 in"), OFFERED | PAGE),
        "bar": Length((0, 100), "the bar's arm", ("11 mm", "7/16 in"), OFFERED | PAGE)},
        "half the thickness, for the gaps")] = _nothing()
    hose: HoseNotes = HoseNotes()
    travel: TravelNotes = TravelNotes()
    joint_limit: Annotated[dict,
                           Table(
                               {
                                   "eye_deg": Number(
                                       (1, 90), "at the bar's eye", 20, OFFERED | PAGE), "foot_deg": Number(
                                           (1, 90), "at the link's foot", 20, OFFERED | PAGE)
                               }, "how far the link's joints may tilt, by their maker")] = _nothing()
    wanted: WantedPlace = WantedPlace()
    stud: Annotated[dict,
                    Table(
                        {
                            joint: Choice(tuple(STUD_WAYS), 'or "along", "upright"', "across", OFFERED | PAGE)
                            for joint in ("bar_eye", "link_foot")
                        }, "which way the bolts of the link's joints point")] = _nothing()
    stands_for: Annotated[
        dict,
        Table(
            {
                role: Choice(tuple(EXTRA_POINTS), "the point that this marker sits on", "strut_top")
                for role in ROLE_BY_KEY
            },
            once=True)] = _nothing()
    from_bush: Annotated[
        dict,
        Table({
            point: ListOf((3, 3),
                          f"forward, left, up of the bar's bush to {words}", ["-80 mm", "120 mm", "310 mm"],
                          each=TapeKey((0, 2000), signed=True))
            for point, words in (EXTRA_POINTS | {r.key: r.title
                                                 for r in ROLE_BY_KEY.values()}).items()
        })] = _nothing()

    from_bush_state: Annotated[
        str | None,
        Choice((DROOP, AT_SET, RIDE, FITTED), "the state that from_bush was taped in", DROOP)] = None

    @property
    def standoff_mm(self):
        """Role -> stand-off, mm."""
        return {role: reading.value_mm for role, reading in self.standoff.items()}

    @property
    def standoff_u_mm(self):
        """Role -> standard uncertainty of the stand-off, mm."""
        return {role: reading.u_mm for role, reading in self.standoff.items()}

    @property
    def tape(self):
        """State -> name -> Reading."""
        return {
            state: {name: r
                    for name, r in row.items() if name not in ATTITUDE}
            for state, row in self.taped.items()
        }

    @property
    def attitude(self):
        """State -> "sill_slope_deg" or "roll_deg" -> deg, for states in which a level was read."""
        return {
            state: read
            for state, row in self.taped.items() if (read := {n: row[n]
                                                              for n in ATTITUDE if n in row})
        }

    @property
    def hose_on(self):
        """Hose marker's role -> "chassis", "between" or "knuckle", where the file says it."""
        on = {"hose_a": self.hose.hose_a_on, "hose_b": self.hose.hose_b_on, "hose_c": self.hose.hose_c_on}
        return {role: body for role, body in on.items() if body is not None}

    @property
    def joint_limit_deg(self):
        """Joint of the link ("eye", "foot") -> how far it may tilt, deg."""
        return {key.removesuffix("_deg"): value for key, value in self.joint_limit.items()}
