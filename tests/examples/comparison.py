"""Did it work?  The same corner before and after the new link, errors that both share cancelled."""

import sys
from pathlib import Path

import photoangle

CAR = Path(sys.argv[1] if len(sys.argv) > 1 else "sample_images")
CORNER = CAR / "front-left"

result = photoangle.compare(CORNER / "set", CORNER / "fitted", keep=True)
(comparison,) = result.comparisons
print(f"{comparison.before.name} to {comparison.after.name}: {len(comparison.changes)} figures on both sides")
for change in comparison.changes:
    figure = change.figure
    name = figure.name.removeprefix("change:")
    print(
        f"  {name:24s} {change.before:8.2f} {change.after:8.2f}  {figure.value:+8.2f} +-"
        f" {1.96 * figure.u:5.2f} {figure.unit:3s}"
        f"  {change.verdict}"
    )

angle = result.change("bar_arm_angle", "chassis")
print(
    f"the bar arm came down by {-angle.figure.value:.2f} deg, {angle.apart_u / angle.figure.u:.1f} times"
    f" surer than the two"
    " angles by themselves"
)
for finding in result.findings:
    print(f"{finding.where}: {finding.what}")
