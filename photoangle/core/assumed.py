"""What is taken for granted where nothing was measured: each default with its unit and its reason, in one
place.

Where no source is named, the value is common practice of the trade, or what the thing's build allows, from
memory.
"""

from __future__ import annotations

from dataclasses import dataclass

# The bar runs straight across the car by its build; standard uncertainty of its direction until motion, or
# its other end, shows it.
BAR_AXIS_DEG = 1.0
# How far the bar's two arms differ with the bar free, where nobody saw it so, half-width: bars are made alike
# on both sides.
BAR_ARMS_APART_DEG = 2.0
# The control arm's axis runs along the car by its build; standard uncertainty where only one pivot is known.
ARM_AXIS_DEG = 3.0
# From the control arm's front pivot to its rear one, where only one of them was seen: anything between.
PIVOTS_APART_MM = (120.0, 420.0)
# In-plane sway of rubber bushes and of a bar that is not quite rigid: what its axis differs by from state to
# state.
BAR_SWAY_DEG = 0.15

# From a marker's printed face straight back to its joint's middle, where it was not measured: anything
# between.
STANDOFF_MM = (0.0, 60.0)
# How well markers were centred on their joints, half-width, as the starter file has it.
STUCK_WITHIN_MM = 1.0
# Half the thickness of a brake hose, and of the joint at the bar's end, where they were not measured:
# anything between.
HOSE_RADIUS_MM, EYE_RADIUS_MM = (4.0, 9.0), (8.0, 20.0)
# The print's size over nominal without a print check, standard uncertainty: a printer at 100 % holds half a
# percent, but "fit to page" shrinks a sheet to its printable part, 97 % where 3 mm of 210 stay white at each
# edge, and nobody sees it; 95 in 100 within 3 %.  How much more along the feed than across it.
PRINT_SCALE_U, PRINT_ASPECT_U = 0.015, 0.003
# A plumb marker's face to the string's middle: card of half a millimetre and the half of a string of two,
# with its glue.
PLUMB_STANDOFF_MM = 1.6
# A marker on a plumb string: how far its middle sits from the string's, and how well its stand-off is known.
ON_STRING_MM, STRING_STANDOFF_MM = 0.3, 0.3
# How true a strip hangs: hole and weight each within 0.3 mm (half-width) of the centre line, 290 mm apart.
STRIP_HANGS_DEG = 0.05
# A spirit level along the card's edge: 1 mm/m, makers' convention, half-width.
CARD_LEVEL_DEG = 0.057
# How far the card leans to or from the photos where its edge alone was levelled.
CARD_LEANS_DEG = 3.0
# A slope read with a level or a phone, standard uncertainty.
LEVEL_U_DEG = 0.15

# How level a garage's floor is, half-width, where nobody measured it.
FLOOR_WITHIN_DEG = 0.5

# The sill's line (or the control arm's pivots') against the chassis's x axis, seen from above.
SILL_YAW_DEG, PIVOT_YAW_DEG = 1.0, 3.0
# The car's roll on stands where nothing shows it.
STANDS_ROLL_DEG = 0.6
# The nose up or down on stands where nothing shows it, half-width: 300 mm of lift over a wheelbase of 2.5 m
# is 6.9 deg.
PITCH_ON_STANDS_DEG = 7.0
# How alike the car stands while one corner after the other is photographed.
STANCE_DEG = 0.15
# A chassis marker that nobody touched between two states: what fuel, rubber and tape let it move by.
UNMOVED_MM, UNMOVED_DEG = 0.05, 0.02

# Hub's rise against the ball joint's: half-width of their difference as a share, since the knuckle tilts.
HUB_DIFFERS_WITHIN = 0.05
# A plate lies as square to its stud as nut and washer make it.
STUD_DEG = 2.0

# For angles by tape alone, or where photos do not show it; standard uncertainties.
# How far the outer joint of an arm lies along its axis from the middle of the inner ones.
ALONG_AXIS_MM = 40.0
# How far a drop link leans that nobody taped, half-width.
LINK_LEANS_DEG = 20.0
# How much an axis climbs (anti-dive of a control arm's, roll of the car for the bar's).
AXIS_CLIMBS_DEG = 3.0
# How much higher the middle of both pivots is than the one that was taped.
PIVOT_HEIGHT_MM = 8.0


@dataclass(frozen=True)
class Assumption:
    """What a constant of this file stands for, in words ({of}: whose it is), and the reading that settles
    it."""

    words: str
    settled_by: str


@dataclass(frozen=True)
class Assumed:
    """What an error's source says of itself where its size is a constant of this file and no reading.

    name: the constant's; of: whose, in words.  Raises KeyError for a name that ASSUMPTIONS does not list.
    """

    name: str
    of: str = ""

    def __post_init__(self) -> None:
        ASSUMPTIONS[self.name]

    @property
    def words(self) -> str:
        return ASSUMPTIONS[self.name].words.format(of=self.of)

    @property
    def settled_by(self) -> str:
        return ASSUMPTIONS[self.name].settled_by


def _between(of_mm: tuple[float, float]) -> str:
    return f"anything from {of_mm[0]:g} to {of_mm[1]:g} mm"


# What a measurement of photos takes for granted: `photoangle measure --assumed` and the report list it.
ASSUMPTIONS: dict[str, Assumption] = {
    "STANDOFF_MM": Assumption(f"stand-off of {{of}}, {_between(STANDOFF_MM)}",
                              "measure from its printed face straight back to the joint's middle (standoff)"),
    "HOSE_RADIUS_MM": Assumption(f"half the hose's thickness at {{of}}, {_between(HOSE_RADIUS_MM)}",
                                 "measure the hose's thickness (radius, hose)"),
    "EYE_RADIUS_MM": Assumption("half the thickness of the joint at the bar's end,"
                                f" {_between(EYE_RADIUS_MM)}",
                                "measure the joint's thickness (radius, bar_eye)"),
    "STUCK_WITHIN_MM": Assumption(f"markers centred on their joints within {STUCK_WITHIN_MM:g} mm",
                                  "look how far each sits off and write it (stuck_within), or use the plate"
                                  " form"),
    "PRINT_SCALE_U": Assumption(f"the sheets printed at 100 % within {200 * PRINT_SCALE_U:g} %",
                                "lay a steel rule on the two print-check lines (print)"),
    "BAR_AXIS_DEG": Assumption(f"the bar lies straight across the car within {2 * BAR_AXIS_DEG:g} deg",
                               "put a marker on the bar's arm and measure in two positions of the wheel"),
    "BAR_SWAY_DEG": Assumption(f"the bar's axis sways from state to state by up to {2 * BAR_SWAY_DEG:g} deg",
                               "nothing: bushes are rubber"),
    "PIVOTS_APART_MM": Assumption(f"the control arm's other pivot, {_between(PIVOTS_APART_MM)} away along the"
                                  " car", "mark both of the control arm's pivots"),
    "ON_STRING_MM": Assumption(f"plumb markers within {2 * ON_STRING_MM:g} mm of the string's middle",
                               "use the printed strip, or hang them farther apart"),
    "STRING_STANDOFF_MM": Assumption(
        f"the string {PLUMB_STANDOFF_MM:g} mm behind the plumb markers within {2 * STRING_STANDOFF_MM:g} mm",
        "measure it (plumb_standoff), or use the printed strip"),
    "STRIP_HANGS_DEG": Assumption(f"the strip hangs true within {2 * STRIP_HANGS_DEG:g} deg",
                                  "punch its hole and hang its weight on the centre line; a longer string"
                                  " is truer"),
    "CARD_LEANS_DEG": Assumption(f"the card leans to or from the photos by up to {2 * CARD_LEANS_DEG:g} deg",
                                 "hang the plumb strip in the picture"),
    "LEVEL_U_DEG": Assumption(f"a level or a phone reads true within {2 * LEVEL_U_DEG:g} deg",
                              "take ride photos"),
    "FLOOR_WITHIN_DEG": Assumption(f"the floor level within {FLOOR_WITHIN_DEG:g} deg",
                                   "lay a long level on the floor (floor_slope_along_deg)"),
    "SILL_YAW_DEG": Assumption(f"the sill points along the car within {2 * SILL_YAW_DEG:g} deg",
                               "put both sill markers at the same distance from the car's middle"),
    "PIVOT_YAW_DEG": Assumption("the control arm's pivots lie along the car within"
                                f" {2 * PIVOT_YAW_DEG:g} deg",
                                "put a marker on the front and the rear of the sill"),
    "STANDS_ROLL_DEG": Assumption(f"the car stands level across within {2 * STANDS_ROLL_DEG:g} deg",
                                  "take ride photos, or read a level across the car here and on the wheels"
                                  " (roll_deg)"),
    "STANCE_DEG": Assumption(f"the car stood alike for both corners within {2 * STANCE_DEG:g} deg",
                             "take ride photos of this corner too"),
    "UNMOVED_MM": Assumption(f"chassis markers stayed put between states within {2 * UNMOVED_MM:g} mm and"
                             f" {2 * UNMOVED_DEG:g} deg", "use more markers on the chassis"),
}
# Constants that no measurement of photos lists, each with the reason.
NOT_LISTED: dict[str, str] = {
    "ARM_AXIS_DEG": "one unknown with PIVOTS_APART_MM, settled by the same marker",
    "PLUMB_STANDOFF_MM": "a value whose spread is STRING_STANDOFF_MM",
    "CARD_LEVEL_DEG": "one unknown with CARD_LEANS_DEG, and the lesser",
    "UNMOVED_DEG": "one unknown with UNMOVED_MM",
    "PRINT_ASPECT_U": "the photos of the card show it to some hundredths of a percent",
    "PITCH_ON_STANDS_DEG": "only in what a tape held by hand may have read, beside the photos",
    "ALONG_AXIS_MM": "only in what heights by tape come to, beside the photos",
    "AXIS_CLIMBS_DEG": "only in what heights by tape come to, beside the photos",
    "PIVOT_HEIGHT_MM": "only in what heights by tape come to, beside the photos",
    "HUB_DIFFERS_WITHIN": "the link's: said there, with its line in the link's budgets",
    "BAR_ARMS_APART_DEG": "the link's: said there where the bar's free shape is not known",
    "STUD_DEG": "the link's: how a plate lies on its stud",
    "LINK_LEANS_DEG": "by tape alone: the line link's lean in the link's budgets",
}
