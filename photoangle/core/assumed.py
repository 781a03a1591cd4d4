"""What is taken for granted where nothing was measured: each default with its unit and its reason, in one
place.

Where no source is named, the value is common practice of the trade, or what the thing's build allows, from
memory.
"""

from __future__ import annotations

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
