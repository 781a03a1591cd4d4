"""Are the linkage's intervals and verdicts true where people tell half of what they could?

    python -m tests.linkage.told_half.omissions --corners 300 --seed 11

Random real corners (`real_corners`), hanging or at ride height, link foot on arm, strut and knuckle in turn, of
which each thing that may be left out is left out as often as not; or, with --complete, nothing is.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field

import numpy as np

from photoangle.core.findings import Refusal
from photoangle.linkage.advice import CHANGE, LEAVE, advise
from photoangle.linkage.kinematics.layout import FEET
from photoangle.linkage.kinematics.lengths import Wanted, lengths
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Limits, over_travel, ride_rise
from photoangle.linkage.verdicts import NEAR_LINE_DEG
from tests.linkage.bench import coverage
from tests.linkage.told_half.real_corners import OPTIONAL, TRAVEL, measured, real_corner, truth_rise

WANTED, TILT_DEG = Wanted(0.0, 3.0), 20.0
_AT_RIDE = ("bar_arm_angle", "control_arm_angle", "link_lean_side", "link_lean_front", "bar_to_link_angle",
            "motion_ratio", "line_up", "joint_tilt_eye", "joint_tilt_foot", "gap_eye", "gap_link", "gap_arm")
# extreme -> (the course it is of, which, its limit, whether above it is well)
_EXTREMES = {
    "gap_min_eye": ("gap_eye", np.min, 0.0, True), "gap_min_link": ("gap_link", np.min, 0.0, True),
    "gap_min_arm": ("gap_arm", np.min, 0.0, True), "line_up_min": ("line_up", np.min, NEAR_LINE_DEG, True),
    "joint_tilt_max_eye": ("joint_tilt_eye", np.max, TILT_DEG, False),
    "joint_tilt_max_foot": ("joint_tilt_foot", np.max, TILT_DEG, False)
}


@dataclass
class Told:
    """rows: (group, quantity) -> [(value, u, low95, high95, truth)]; verdicts: (what, verdict) -> [how often,
    how often wrong]; refused: corners without an answer."""

    rows: dict = field(default_factory=dict)
    verdicts: dict = field(default_factory=dict)
    refused: int = 0

    def figure(self, group, name, f, truth):
        if f is not None:
            self.rows.setdefault((group, name), []).append((f.value, f.u, f.low95, f.high95, truth))

    def verdict(self, what, verdict, right):
        count = self.verdicts.setdefault((what, verdict), [0, 0])
        count[0] += 1
        count[1] += not right

    def inside(self, *groups):
        """Share of intervals that hold the truth, of some groups or of all."""
        rows = np.array([r for (g, _), of in self.rows.items() if not groups or g in groups for r in of])
        return float(np.mean((rows[:, 2] <= rows[:, 4]) & (rows[:, 4] <= rows[:, 3])))


def told_half(corners=60, seed=11, samples=600, told_share=0.5, feet=FEET):
    """Told: answers from corners of which each thing is told with probability told_share."""
    out = Told()
    for k in range(corners):
        rng = np.random.default_rng([seed, k])
        foot = feet[k % len(feet)]
        real, state = real_corner(rng, foot), "droop" if rng.random() < 0.6 else "set"
        told = frozenset(o for o in OPTIONAL if rng.random() < told_share)
        rise = truth_rise(real)
        with np.errstate(all="ignore"):
            true = real.at(rise)
        if not np.isfinite(true["bar_arm_angle"]).all():
            continue
        _one(out, real, measured(real, rng, told, state=state), true, Sampling(samples, seed=k, budget=False))
    return out


def _one(out, real, corner, true, sampling):
    group = (corner.link_foot_on, corner.state)
    answer = over_travel(corner, TRAVEL, sampling=sampling, limits=Limits({"eye": TILT_DEG, "foot": TILT_DEG}))
    advice = advise(corner, TRAVEL, WANTED, sampling=sampling)
    if isinstance(answer, Refusal) or isinstance(advice, Refusal):
        out.refused += 1
        return
    for name in _AT_RIDE:
        out.figure(group, name, answer.at_ride.get(name), true[name][-1])
    for name, (course, pick, limit, above) in _EXTREMES.items():
        near, truth = answer.nearest.get(name), pick(true[course][:-1])
        if near is not None:
            out.figure(group, name, near.figure, truth)
            well = (truth > limit) == above
            out.verdict(name[:3], near.verdict, {"clear": well, "not clear": not well}.get(near.verdict, True))
    exact = real.layout
    needed = lengths(exact, ride_rise(exact, TRAVEL), WANTED)
    present, low, high = (v.item() for v in (needed.present_mm, needed.low_mm, needed.high_mm))
    out.figure(group, "link_length_wanted", advice.figures.get("link_length_wanted"), needed.wanted_mm.item())
    out.figure(group, "link_change", advice.figures.get("link_change"), needed.wanted_mm.item() - present)
    good = low <= present <= high
    out.verdict(group[0], advice.verdict, {LEAVE: good, CHANGE: not good}.get(advice.verdict, True))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--corners", type=int, default=60)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--complete", action="store_true", help="leave nothing out")
    given = parser.parse_args()
    got = told_half(given.corners, given.seed, told_share=1.0 if given.complete else 0.5)
    for group in sorted({g for g, _ in got.rows}):
        print(f"\n{' '.join(group)}: ", end="")
        coverage({n: r for (g, n), r in got.rows.items() if g == group}, show=True)
    print(f"\nall: {100 * got.inside():.1f} of 100 inside; without an answer {got.refused} of {given.corners}")
    for (what, verdict), (count, wrong) in sorted(got.verdicts.items()):
        print(f"{what:12s} {verdict:14s} {count:5d}, wrong {wrong}")


if __name__ == "__main__":
    main()
