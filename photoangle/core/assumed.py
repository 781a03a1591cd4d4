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

# How far a marker's corners lie off its plane, standard deviation, as a share of its side: 0.1 mm of 30 mm,
# paper on something stiff (common practice, no source).  What the photos show of it counts as well.
PAPER_OFF_FLAT_U = 0.1 / 30
# Odds that photos were changed after they were taken where EXIF and the picture's size are as the phone
# writes them: one set in a hundred.
EDITED_ODDS = 0.01
# How much photos are changed that were, standard deviations: enlarged; cut out off the middle, of the width;
# squeezed; sheared; perspective; share of the distortion taken out; radial term beyond it.
EDITS_SPREAD = (0.3, 0.05, 0.05, 0.03, 0.01, 0.05, 0.05, 0.7, 0.02)

# From a marker's printed face straight back to its joint's middle, where it was not measured: anything
# between.
STANDOFF_MM = (0.0, 60.0)
# How well markers were centred on their joints, half-width, as the starter file has it.
STUCK_WITHIN_MM = 1.0
# A joint's bolt lies straight across the car by its build, standard uncertainty, where its face's own slope
# was not seen; and how far the middle of what was pointed at lies off its joint's, half-width: a bolt's play
# in its hole.
JOINT_AXIS_DEG = 10.0
BOLT_PLAY_MM = 0.5
# Half the thickness of a brake hose, and of the joint at the bar's end, where they were not measured:
# anything between.
HOSE_RADIUS_MM, EYE_RADIUS_MM = (4.0, 9.0), (8.0, 20.0)
# The same of the link at its thickest, and of the bar's arm, with what it is bent off the straight line.
LINK_RADIUS_MM, BAR_RADIUS_MM = (4.0, 12.0), (7.0, 16.0)
# Between two markers a hose runs in a bow of about this radius, to whichever side; where three show how it
# runs, half as much off that.
HOSE_RADIUS_OF_BEND_MM = 150.0
# Beyond its first and its last marker a brake hose goes on for pieces of so long each, and from each to the
# next it bends by so much, standard uncertainty about either axis (hoses are 300 to 500 mm long, and are not
# bent tighter than a radius of about 75 mm).
HOSE_BEYOND_MM, HOSE_BENDS_DEG = (75.0, 75.0, 75.0, 75.0), 40.0
# The print's size over nominal without a print check, standard uncertainty: a printer at 100 % holds half a
# percent, but "fit to page" shrinks a sheet to its printable part, 97 % where 3 mm of 210 stay white at each
# edge, and nobody sees it: anything within 3 %.  How much more along the feed than across it.
PRINT_WITHIN = 0.03
PRINT_SCALE_U, PRINT_ASPECT_U = PRINT_WITHIN / 3**0.5, 0.003
# A plumb marker's face to the string's middle: card of half a millimetre and the half of a string of two,
# with its glue.
PLUMB_STANDOFF_MM = 1.6
# A marker on a plumb string: how far its middle sits from the string's, and how well its stand-off is known.
ON_STRING_MM, STRING_STANDOFF_MM = 0.3, 0.3
# How true a strip hangs: hole and weight each within 0.3 mm (half-width) of the centre line, 290 mm apart.
STRIP_HANGS_DEG = 0.05
# A plumb string that was let come to rest indoors, in one photo: 0.1 mm over 600 mm, standard uncertainty.
STRING_SWINGS_DEG = 0.01
# A plumb that was seen to swing, or to be touched, between photos: by so much, standard deviation in each
# photo, or three times more or less (people's hands and draughts; no source).
PLUMB_SWINGS_DEG = 0.5
# A spirit level along the card's edge: 1 mm/m, makers' convention, half-width.
CARD_LEVEL_DEG = 0.057
# How far the card leans back or forward where its edge alone was levelled, which says nothing of that:
# stood against something it leans back by anything to 25 deg, held up it is a few either way; standard
# uncertainty.
CARD_LEANS_DEG = 12.0
# A slope read with a level or a phone, standard uncertainty.
LEVEL_U_DEG = 0.15

# How level a garage's floor is, half-width, where nobody measured it.
FLOOR_WITHIN_DEG = 0.5

# The sill's line (or the control arm's pivots') against the chassis's x axis, seen from above.
SILL_YAW_DEG, PIVOT_YAW_DEG = 1.0, 3.0
# The car's roll on stands where neither a level nor another state shows it, standard uncertainty: stands of
# two notches' difference (20 to 25 mm each) under points a metre apart roll it by 1.3 to 1.6 deg, a soft
# jacking point or a sloping floor by as much again.
STANDS_ROLL_DEG = 1.5
# Two like points left and right of the car against its own level: 10 mm in height over 1.4 m.
LEVEL_ACROSS_DEG = 0.4
# The nose up (front wheels off the ground) or the tail (rear ones) where nothing shows it: anything from
# level to the most lift that stands give over the shortest wheelbase; 300 mm over 2.5 m is 6.8 deg.
MOST_LIFT_MM, LEAST_WHEELBASE_MM = 450.0, 1800.0
# How alike the car stands while one corner after the other is photographed.
STANCE_DEG = 0.15
# A chassis marker that nobody touched between two states: what fuel, rubber and tape let it move by.
UNMOVED_MM, UNMOVED_DEG = 0.05, 0.02

# The knuckle's turn for each mm that its ball joint rises, where what holds its top is not known.  Camber
# gained upwards, anything between: with the hub 85 mm outboard, the hub's rise is 0.985 to 1.09 of the ball
# joint's, 1.037 in the middle (the geometry of real corners: 0.98 to 1.10, in the median 1.034); and how much
# that changes over the travel, half-width: (1 / 250 - 1 / 350 mm) / 200 mm, arms of unlike length.
CAMBER_DEG_PER_MM, CAMBER_BENDS_DEG_PER_SQUARE_MM = (-0.010, 0.060), 3e-4
# Caster (anti-dive) and steering with the wheel's travel, standard uncertainties.
CASTER_DEG_PER_MM, BUMP_STEER_DEG_PER_MM = 0.012, 0.008
# From the lower ball joint to the hub where it was not seen: forward, outboard, up; anything between.
HUB_FROM_BALL_MM = ((-15.0, 15.0), (40.0, 130.0), (40.0, 170.0))
# From the lower ball joint to the strut's top: how high, leaning inboard, trailing; anything between.
STRUT_TOP_UP_MM, STRUT_LEANS_DEG, STRUT_TRAILS_DEG = (430.0, 730.0), (4.0, 18.0), (-2.0, 9.0)
# How far the strut's line misses the ball joint, forward and sideways, half-widths.
STRUT_LOW_ASIDE_MM = (25.0, 45.0)
# How much an upper arm's axis climbs or toes against the lower one's, standard uncertainty.
UPPER_AXIS_DEG = 4.0
# From the lower ball joint to a link's foot on strut or knuckle that was taped: forward, inboard; anything
# between.
FOOT_FROM_BALL_MM = ((-90.0, 90.0), (0.0, 100.0))
# Where a control arm's joints are from the link's foot on it: forward, outward, up, each anything between
# (common practice, no source).  Taken only at ride height, where the link's length hardly hangs on them.
ARM_FROM_FOOT_MM = {"arm_ball_joint": ((-80.0, 80.0), (20.0, 180.0), (-90.0, 30.0)),
                    "arm_pivot_front": ((60.0, 280.0), (-380.0, -80.0), (-60.0, 80.0)),
                    "arm_pivot_rear": ((-280.0, -60.0), (-380.0, -80.0), (-60.0, 80.0))}
# How far lower they are where the foot is on the strut or the knuckle.
ARM_BELOW_FOOT_MM = 180.0
# How far a stud at the link's end was from square to the link when it was measured, half-width: what ball and
# rod ends allow.
STUD_TILT_DEG = 25.0
# A plate lies as square to its stud as nut and washer make it.
STUD_DEG = 2.0
# The same where it was only said which way it points, at the place it had then.
STUD_SAID_DEG = 6.0

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
    "JOINT_AXIS_DEG": Assumption(f"the bolt of {{of}} lies across the car within {2 * JOINT_AXIS_DEG:g} deg",
                                 "point at it in photos from clearly different sides"),
    "BOLT_PLAY_MM": Assumption(f"what was pointed at sits on its joint's middle within {BOLT_PLAY_MM:g} mm",
                               "nothing: bolts have play in their holes"),
    "PRINT_SCALE_U": Assumption(f"the sheets printed at 100 % within {100 * PRINT_WITHIN:g} %",
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
    "LEVEL_ACROSS_DEG": Assumption("two like points left and right of the car lie level within"
                                   f" {2 * LEVEL_ACROSS_DEG:g} deg",
                                   "read the level across in the same place on the wheels too"),
    "STRING_SWINGS_DEG": Assumption(f"the plumb string came to rest within {2 * STRING_SWINGS_DEG:g} deg",
                                    "let it hang still, out of the wind; more photos"),
    "PLUMB_SWINGS_DEG": Assumption(f"the plumb, which was seen to swing, by about {PLUMB_SWINGS_DEG:g} deg",
                                   "let it hang still, out of the wind, and take the photos again"),
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
    "PRINT_WITHIN": "the half-width that PRINT_SCALE_U comes from",
    "PAPER_OFF_FLAT_U": "what the photos show of a marker's bend counts as well; paper's bend in the budgets",
    "EDITED_ODDS": "weighed against the photos, which nearly always decide",
    "EDITS_SPREAD": "the photos show it, where it was found at all",
    "ARM_AXIS_DEG": "one unknown with PIVOTS_APART_MM, settled by the same marker",
    "PLUMB_STANDOFF_MM": "a value whose spread is STRING_STANDOFF_MM",
    "CARD_LEVEL_DEG": "one unknown with CARD_LEANS_DEG, and the lesser",
    "UNMOVED_DEG": "one unknown with UNMOVED_MM",
    "PRINT_ASPECT_U": "the photos of the card show it to some hundredths of a percent",
    "MOST_LIFT_MM": "the link's: pitch on stands, said there, with its line in the link's budgets",
    "LEAST_WHEELBASE_MM": "one unknown with MOST_LIFT_MM",
    "ALONG_AXIS_MM": "only in what heights by tape come to, beside the photos",
    "AXIS_CLIMBS_DEG": "only in what heights by tape come to, beside the photos",
    "PIVOT_HEIGHT_MM": "only in what heights by tape come to, beside the photos",
    "LINK_RADIUS_MM": "the link's: thickness, said there, with its line in the link's budgets",
    "BAR_RADIUS_MM": "the link's: thickness",
    "HOSE_RADIUS_OF_BEND_MM": "the link's: how a hose runs between its markers",
    "HOSE_BEYOND_MM": "the link's: said there where nobody looked how the hose goes on",
    "HOSE_BENDS_DEG": "one unknown with HOSE_BEYOND_MM",
    "CAMBER_DEG_PER_MM": "the link's: the knuckle's turn, said there, with its line in the link's budgets",
    "CAMBER_BENDS_DEG_PER_SQUARE_MM": "the link's: the knuckle's turn",
    "CASTER_DEG_PER_MM": "the link's: the knuckle's turn",
    "BUMP_STEER_DEG_PER_MM": "the link's: the knuckle's turn",
    "HUB_FROM_BALL_MM": "the link's: the hub's place, with its line in the link's budgets",
    "STRUT_TOP_UP_MM": "the link's: the knuckle's turn",
    "STRUT_LEANS_DEG": "the link's: the knuckle's turn",
    "STRUT_TRAILS_DEG": "the link's: the knuckle's turn",
    "STRUT_LOW_ASIDE_MM": "the link's: the knuckle's turn",
    "UPPER_AXIS_DEG": "the link's: the knuckle's turn",
    "FOOT_FROM_BALL_MM": "by tape alone: the line link foot's place in the link's budgets",
    "ARM_FROM_FOOT_MM": "the link's: said there, with its line in the link's budgets",
    "ARM_BELOW_FOOT_MM": "one unknown with ARM_FROM_FOOT_MM",
    "STUD_TILT_DEG": "the link's: which way a stud points, said there",
    "STUD_SAID_DEG": "the link's: how well a stud points as it was said to",
    "BAR_ARMS_APART_DEG": "the link's: said there where the bar's free shape is not known",
    "STUD_DEG": "the link's: how a plate lies on its stud",
    "LINK_LEANS_DEG": "by tape alone: the line link's lean in the link's budgets",
}
