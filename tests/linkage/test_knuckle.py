"""The knuckle against a six-unknown solution by SciPy, and what it changes."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from photoangle.linkage.kinematics.knuckle import arm_angle_for_ball_rise, arm_angle_for_rise, knuckle_at
from photoangle.linkage.kinematics.layout import KnuckleTurn
from tests.linkage.corners import STRUT, TIE_ROD, UPPER, corner

NANOMETRE = 1e-6


@pytest.mark.parametrize("tops", [UPPER, STRUT, UPPER | TIE_ROD, STRUT | TIE_ROD])
@pytest.mark.parametrize("degrees", [-8.0, 5.0, 17.0])
def test_knuckle_against_its_constraints_solved_by_scipy(tops, degrees):
    layout = corner(change=tops).nominal()
    at = {k: v[0, 0] for k, v in layout.at.items()}
    axis = at["arm_pivot_front"] - at["arm_pivot_rear"]
    spin = Rotation.from_rotvec(axis / np.linalg.norm(axis) * np.radians(degrees))
    ball = at["arm_pivot_front"] + spin.apply(at["arm_ball_joint"] - at["arm_pivot_front"])

    def constraints(x):
        turn = Rotation.from_rotvec(x[:3])

        def carried(p):
            return ball + turn.apply(p - at["arm_ball_joint"])

        out = []
        if "strut_top" in at:
            slide = at["strut_top"] - at["strut_low"]
            slide = turn.apply(slide / np.linalg.norm(slide))
            out += list(np.cross(slide, at["strut_top"] - carried(at["strut_top"])))
        else:
            top, pivot = carried(at["upper_ball_joint"]), at["upper_pivot_front"]
            line = pivot - at["upper_pivot_rear"]
            line = line / np.linalg.norm(line)
            before = at["upper_ball_joint"] - pivot
            out += [
                np.linalg.norm(top - pivot) - np.linalg.norm(before), line @ (top - pivot) - line @ before
            ]
        if "tie_rod_inner" in at:
            rod = np.linalg.norm(at["tie_rod_outer"] - at["tie_rod_inner"])
            out.append(np.linalg.norm(carried(at["tie_rod_outer"]) - at["tie_rod_inner"]) - rod)
        else:
            out.append(100 * turn.apply([0, 1.0, 0])[0])
        return np.array(out)

    solved = least_squares(constraints, np.zeros(3), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert np.abs(solved.fun).max() < 1e-7
    hub = ball + Rotation.from_rotvec(solved.x).apply(at["hub"] - at["arm_ball_joint"])
    ours = knuckle_at(layout, np.full((1, 1), np.radians(degrees))).carried(layout.at["hub"])[0, 0]
    assert np.abs(ours - hub).max() < 10 * NANOMETRE


@pytest.mark.parametrize("tops", [{}, UPPER, STRUT, UPPER | TIE_ROD])
def test_hub_rises_by_what_was_asked(tops):
    layout = corner(change=tops).nominal()
    rise = np.linspace(-30, 120, 16)
    knuckle = knuckle_at(layout, arm_angle_for_rise(layout, rise))
    assert np.abs((knuckle.carried(layout.at["hub"]) - layout.at["hub"])[0, :, 2] -
                  rise).max() < 1 * NANOMETRE


def test_hub_and_ball_joint_do_not_rise_alike():
    # a few per cent, since the knuckle tilts (common practice, no source)
    layout = corner(change=UPPER).nominal()
    ball = knuckle_at(layout, arm_angle_for_rise(layout, np.array(
        [70.0]))).ball[0, 0, 2] - layout.at["arm_ball_joint"][0, 0, 2]
    assert 0.5 < abs(ball - 70.0) < 0.05 * 70


def test_without_a_top_the_hub_rises_with_the_knuckles_turn():
    layout = corner().nominal()
    rate = np.radians([[[0.03, 0.01, -0.008]]])
    turning = replace(layout, knuckle_turn=KnuckleTurn(rate, np.radians([[2e-4]])))
    rise = np.linspace(-40, 110, 7)
    knuckle = knuckle_at(turning, arm_angle_for_rise(turning, rise))
    hub, ball = layout.at["hub"][0, 0], layout.at["arm_ball_joint"][0, 0]
    for k, wanted in enumerate(rise):
        s = knuckle.ball[0, k, 2] - ball[2]
        turn = Rotation.from_rotvec(rate[0, 0] * s + [np.radians(2e-4) * s**2 / 2, 0, 0])
        moved = knuckle.ball[0, k] + turn.apply(hub - ball)
        assert abs(moved[2] - hub[2] - wanted) < 1 * NANOMETRE
        assert np.abs(knuckle.carried(layout.at["hub"])[0, k] - moved).max() < 1 * NANOMETRE
    back = knuckle.returned(knuckle.carried(layout.at["hub"]))
    assert np.abs(back - hub).max() < 1 * NANOMETRE


def test_a_rise_beyond_the_arms_circle_is_nan():
    layout = corner().nominal()
    assert np.isnan(arm_angle_for_ball_rise(layout, np.array([1000.0]))).all()
    for tops in (UPPER, STRUT):
        assert np.isnan(arm_angle_for_rise(corner(change=tops).nominal(), np.array([1000.0]))).all()
