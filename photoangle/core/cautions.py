"""The usual cautions of this work, once and plainly.  The maker's manual goes before them."""

CAUTIONS = (
    "Chock the wheels. Stands under the maker's points; never a jack alone.",
    "Nobody under the car while a knuckle is jacked. Stop at the first sign that the car lifts off a stand.",
    "Lift both wheels of the axle before you undo a link, or the bar's twist is let go in your hands.",
    "A caliper is never hung by its hose.",
    "A seized stud that must be ground off wants goggles, no fuel or brake line near the sparks, and a fire"
    " watch.",
    "Nothing near a hot exhaust or a moving part. Markers, string and card come off before the car moves.",
    "New lock nuts. Final tightening of bushed joints at ride height, to the maker's torque.",
    "Check hose and joints hanging, at set height, near the bump stop (both sides jacked) and at both locks."
    " A hose that touches"
    " anything means the car is not driven. Look again after the first drive.",
    "Suspension and brakes are safety parts: follow the maker's manual and your local road rules, and have"
    " the work inspected by"
    " someone qualified. Photoangle measures; it does not certify.",
)

# The same on the kit's printed page, in words that fit its two columns.
PRINTED_CAUTIONS = (
    "Chock the wheels. Stand the car on stands, under the points its maker gives: never on a "
    "jack alone.",
    "Nobody under the car while a knuckle is jacked. Stop at the first sign that the car lifts "
    "off a stand.",
    "Lift both wheels of the axle before you undo a drop link, or the bar's twist lets go in "
    "your hands.",
    "Never hang a caliper by its hose.",
    "Grinding off a seized stud: goggles on, no fuel or brake line near the sparks, someone on "
    "fire watch.",
    "Keep away from a hot exhaust and from anything that moves.",
    "Fit new lock nuts. Do the final tightening of bushed joints at ride height, to the maker's "
    "torque.",
    "Take markers, string and card off before the car moves.",
    "Check hose and joints hanging, at ride height, near the bump stop (both sides jacked) and "
    "at both locks. A hose that touches anything: do not drive. Look again after the first drive.",
    "Suspension and brakes are safety parts: follow the maker's manual and your road rules, and "
    "have the work inspected by someone qualified. Photoangle measures; it does not certify.",
)
