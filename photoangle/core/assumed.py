"""What is taken for granted where nothing was measured: each default with its unit and its reason, in one
place.

Where no source is named, the value is common practice of the trade, or what the thing's build allows, from
memory.
"""

from __future__ import annotations

# The bar runs straight across the car by its build; standard uncertainty of its direction until motion, or
# its other end, shows it.
BAR_AXIS_DEG = 1.0
# The control arm's axis runs along the car by its build; standard uncertainty where only one pivot is known.
ARM_AXIS_DEG = 3.0
# From the control arm's front pivot to its rear one, where only one of them was seen: anything between.
PIVOTS_APART_MM = (120.0, 420.0)
# In-plane sway of rubber bushes and of a bar that is not quite rigid: what its axis differs by from state to
# state.
BAR_SWAY_DEG = 0.15

# How far a marker's corners lie off its plane, standard deviation, as a share of its side: 0.1 mm of 30 mm,
# paper on something stiff (common practice, no source).  What the photos show of it counts as well.
PAPER_OFF_FLAT = 0.1 / 30
# From a marker's printed face straight back to its joint's middle, where it was not measured: anything
# between.
STANDOFF_MM = (0.0, 60.0)
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
# A plumb marker's face to the string's middle: card of half a millimetre and the half of a string of two,
# with its glue.
PLUMB_STANDOFF_MM = 1.6
# A marker on a plumb string: how far its middle sits from the string's, and how well its stand-off is known.
ON_STRING_MM, STRING_STANDOFF_MM = 0.3, 0.3
# How true a strip hangs: hole and weight each within 0.3 mm (half-width) of the centre line, 290 mm apart.
STRIP_HANGS_DEG = 0.05
# A plumb string that was let come to rest indoors, in one photo: 0.1 mm over 600 mm, standard uncertainty.
STRING_SWINGS_DEG = 0.01
# A spirit level along the card's edge: 1 mm/m, makers' convention, half-width.
CARD_LEVEL_DEG = 0.057
# How far the card leans back or forward where its edge alone was levelled, which says nothing of that:
# stood against something it leans back by anything to 25 deg, held up it is a few either way; standard
# uncertainty.
CARD_LEANS_DEG = 12.0
# A slope read with a level or a phone, standard uncertainty.
LEVEL_U_DEG = 0.15

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
CAMBER_DEG_PER_MM, CAMBER_BEND_DEG_PER_MM2 = (-0.010, 0.060), 3e-4
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
# How much an axis climbs (anti-dive of a control arm's, roll of the car for the bar's).
AXIS_CLIMBS_DEG = 3.0
# How much higher the middle of both pivots is than the one that was taped.
PIVOT_HEIGHT_MM = 8.0
