"""Learn the phone's lens, measure one state of a car, and look at a figure's budget."""

import sys
from pathlib import Path

import numpy as np

import photoangle

CAR = Path(sys.argv[1] if len(sys.argv) > 1 else "sample_images")

(lens,) = photoangle.learn_lens(CAR / "lens")
focal_px, u_px = lens.profile.lens[0], np.sqrt(lens.profile.covariance[0, 0])
print(f"focal length {focal_px:.1f} +- {1.96 * u_px:.1f} px; {lens.verdict}")

car = photoangle.measure(CAR, only="front-left/set", keep=True)
state = car["front-left/set"]
for name, camera_from_world in state.cameras.items():
    place_mm = camera_from_world.inverse().translation_mm
    print(f"{name} was taken from {np.linalg.norm(place_mm):.0f} mm off the card")

angle = state.figure("bar_arm_angle", "chassis")
low, high = angle.interval
print(f"bar arm angle {angle.value:+.2f} deg, {low:.2f} to {high:.2f} at 95 %, u {angle.u:.2f}")
for source, share in angle.budget.items():
    print(f"  {source:12s} {100 * share:3.0f} %")
for finding in car.findings:
    print(f"{finding.where}: {finding.what}")
