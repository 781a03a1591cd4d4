"""Stated intervals against the truth, over random corners of fixed seeds; and the closure against one-by-one
solving."""

import numpy as np
import pytest

from photoangle.core.findings import Refusal
from photoangle.linkage.advice import CANNOT_TELL, OUT_OF_REACH
from photoangle.linkage.kinematics.layout import FEET
from photoangle.linkage.ride import carry
from tests.linkage.bench import closure_speed, coverage, coverage_of_motion
from tests.linkage.told_half.by_tape import taped
from tests.linkage.told_half.omissions import told_half
from tests.linkage.told_half.real_corners import TRAVEL, real_corner, truth_rise


@pytest.fixture(scope="module")
def half():
    return told_half(corners=30)


def test_told_half_the_intervals_still_hold_the_truth(half):
    # 30 corners here, as many as wanted by the command; the 18 quantities of a corner share its errors, so
    # that some 540 intervals count as about 90: sigma 2.3 of 100
    assert half.refused <= 1
    assert 0.91 <= half.inside() <= 0.99
    for foot in FEET:
        assert half.inside((foot, "droop"), (foot, "set")) >= 0.88, foot


def test_told_half_no_verdict_is_wrong(half):
    firm = {k: v for k, v in half.verdicts.items() if k[1] not in (CANNOT_TELL, OUT_OF_REACH)}
    assert sum(count for count, _ in firm.values()) > 90
    assert all(wrong == 0 for _, wrong in firm.values()), firm


def test_told_everything_the_intervals_are_as_wide_as_the_errors():
    whole = told_half(corners=16, seed=12, told_share=1.0)
    assert 0.88 <= whole.inside() <= 0.99
    rows = {}
    for (_, name), of in whole.rows.items():
        rows.setdefault(name, []).extend(of)
    got = coverage({n: r for n, r in rows.items() if "gap" not in n}, show=False)
    assert 0.8 <= got.u_over_error <= 1.3


def test_intervals_of_joints_by_motion_are_true():
    got = coverage_of_motion(corners=26)
    assert 0.90 <= got.share <= 0.99
    assert 0.85 <= got.u_over_error <= 1.2


def test_closed_form_and_root_finder_agree_in_the_bench():
    got = closure_speed(samples=500, subset=400)
    assert got.worst_rad < 1e-9


@pytest.mark.parametrize("foot", FEET)
def test_by_tape_alone_wherever_the_foot_is_the_angle_is_held(foot):
    held, off = [], []
    for k in range(30):
        rng = np.random.default_rng([21, k])
        real = real_corner(rng, foot)
        made = taped(real, rng)
        true = real.at(truth_rise(real))["bar_arm_angle"][-1]
        carried = made if isinstance(made, Refusal) else carry(made, TRAVEL, samples=1500, budget=False)
        if isinstance(carried, Refusal) or not np.isfinite(true) or "bar_arm_angle" not in carried.figures:
            continue
        f = carried.figures["bar_arm_angle"]
        held.append(f.low95 <= true <= f.high95)
        off.append((f.value - true) / f.u)
    # 25 corners: 95 of 100 within sigma 4.4 of 100
    assert len(held) >= 22 and np.mean(held) >= 0.86, (len(held), np.mean(held))
    assert abs(np.mean(off)) < 0.6
