"""The drop link for a corner: by tape alone, from photos, and what if it were shorter."""

import sys
from pathlib import Path

import photoangle

CAR = Path(sys.argv[1] if len(sys.argv) > 1 else "sample_images")
CORNER = "front-left"

notes = photoangle.read_car(CAR)
by_tape = photoangle.link_by_tape(notes, only=CORNER)[CORNER]
print(f"{notes.name}, by tape alone: {len(by_tape.figures)} figures; {by_tape.findings[0].what}")

car = photoangle.measure(CAR, only=CORNER, keep=True)
answer = photoangle.link(car, photoangle.LinkRequest(state="set"), only=CORNER, keep=True)[CORNER]
length, change = answer.figure("link_length"), answer.figure("link_change")
print(f"from photos: set the link to {length.value:.1f} mm, a change of {change.value:+.1f} mm")

# The measurement is kept: another wish costs no second look at the photos.
shorter = photoangle.link(car, photoangle.LinkRequest(state="set", change_mm=-20.0), only=CORNER, keep=True)[CORNER]
at_ride = shorter.proposed.at_ride["bar_arm_angle"]
print(
    f"20 mm shorter: bar arm at {at_ride.value:+.1f} deg at ride height, {at_ride.low95:.1f} to"
    f" {at_ride.high95:.1f}"
)
for finding in shorter.findings:
    print(f"{finding.where}: {finding.what}")
