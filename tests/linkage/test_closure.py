"""The closure against the textbook's four-bar and an independent root finder."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from photoangle.linkage.kinematics.closure import branch_side, close_link, reach_of_bar, solve_swing
from tests.linkage.reference.closed_form import arm_terms
from tests.linkage.reference.four_bar import four_bar

HUNDREDTH_DEG = 0.01
GEOMETRIES = 1000


def test_textbook_four_bar_on_both_branches():
    # 40, 120, 80, 100 mm at 40 deg: a textbook's example, recomputed from the half-angle formula
    bars = four_bar(40, 120, 80, 100, np.radians(40))
    published = {
        "rocker_open": 57.325, "coupler_open": 20.298, "rocker_crossed": -98.005, "coupler_crossed": -60.978
    }
    for name, degrees in published.items():
        assert abs(np.degrees(getattr(bars, name)) - degrees) < 1 * HUNDREDTH_DEG, name


def test_four_bar_that_cannot_close_is_nan_on_both_branches():
    bars = four_bar(40, 30, 20, 100, np.radians([90.0, 0.0]))
    assert np.isnan(bars.rocker_open).tolist() == [True, True]
    assert np.isnan(bars.coupler_crossed).all()


def _random(rng, planar):
    eye, origin, foot = rng.uniform(-300, 300, (3, 3))
    axis = np.array([0, 0, 1.0]) if planar else rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    if planar:
        eye[2] = origin[2] = foot[2] = 0.0
    low, high = reach_of_bar(eye, origin, axis, foot)
    return eye, origin, axis, foot, low + (high - low) * rng.uniform(0.02, 0.98)


def _roots(eye, origin, axis, foot, link):
    """Both roots by SciPy, from rotations made by SciPy: no code shared with the closure."""
    def excess(angle):
        there = origin + Rotation.from_rotvec(axis * angle).apply(eye - origin)
        return np.linalg.norm(there - foot) - link

    grid = np.linspace(-np.pi, np.pi, 49)
    spun = origin + Rotation.from_rotvec(axis * grid[:, None]).apply(eye - origin)
    values = np.linalg.norm(spun - foot, axis=1) - link
    at = np.flatnonzero(np.sign(values[:-1]) != np.sign(values[1:]))
    return sorted(brentq(excess, grid[i], grid[i + 1], xtol=1e-14, rtol=1e-14) for i in at)


@pytest.mark.parametrize("planar", [True, False])
def test_random_geometries_against_scipys_root_finder(planar):
    rng = np.random.default_rng(41 + planar)
    compared = 0
    for _ in range(GEOMETRIES // 2):
        eye, origin, axis, foot, link = _random(rng, planar)
        found = np.sort([close_link(eye, origin, axis, foot, link, np.float64(s)).turn for s in (-1, 1)])
        roots = _roots(eye, origin, axis, foot, link)
        if len(roots) != 2:  # both roots within one step of the scan
            continue
        compared += 1
        # an angle's error is the eye's error over its lever
        assert np.abs(found - roots).max() < 1e-9 * np.pi
    assert compared > 0.9 * GEOMETRIES / 2


def test_assembled_position_lies_on_its_own_branch_and_needs_no_turn():
    rng = np.random.default_rng(5)
    for _ in range(200):
        eye, origin, axis, foot, _ = _random(rng, False)
        side = branch_side(eye, origin, axis, foot)
        closed = close_link(eye, origin, axis, foot, np.linalg.norm(eye - foot), side)
        assert abs(closed.turn) < 1e-7
        other = close_link(eye, origin, axis, foot, np.linalg.norm(eye - foot), -side)
        assert abs(other.turn) > 1e-6


def test_margin_is_the_angle_between_link_and_lever_in_the_plane():
    # lever along x, link 30 deg off it
    eye, origin, axis = np.array([100.0, 0, 0]), np.zeros(3), np.array([0, 0, 1.0])
    foot = eye + 80 * np.array([np.cos(np.radians(30)), np.sin(np.radians(30)), 0])
    closed = close_link(eye, origin, axis, foot, 80.0, branch_side(eye, origin, axis, foot))
    assert abs(np.degrees(closed.margin) - 30) < 1e-9
    assert branch_side(eye, origin, axis, eye + [50.0, 0, 0]) == 0


def test_margin_vanishes_and_closure_ends_at_the_reach():
    rng = np.random.default_rng(6)
    eye, origin, axis, foot, _ = _random(rng, False)
    low, high = reach_of_bar(eye, origin, axis, foot)
    side = np.float64(1)
    for inside, outside in ((low * (1 + 1e-9), low * (1 - 1e-9)), (high * (1 - 1e-9), high * (1 + 1e-9))):
        assert close_link(eye, origin, axis, foot, inside, side).margin < 1e-3
        beyond = close_link(eye, origin, axis, foot, outside, side)
        assert np.isnan(beyond.turn) and np.isnan(beyond.margin)


def test_arm_terms_say_the_same_as_carrying_the_foot():
    rng = np.random.default_rng(7)
    eye, origin, axis, foot, _ = _random(rng, False)
    pivot, arm_axis = rng.uniform(-300, 300, 3), np.array([0.98, 0.1, np.sqrt(1 - 0.98**2 - 0.01)])
    angles = np.linspace(-0.1, 0.1, 9)
    feet = pivot + Rotation.from_rotvec(arm_axis * angles[:, None]).apply(foot - pivot)
    link = np.linalg.norm(eye - foot)
    slow = close_link(eye, origin, axis, feet, link, branch_side(eye, origin, axis, foot))
    quick = arm_terms(eye, origin, axis, foot, pivot, arm_axis).close(angles)
    assert np.isfinite(slow.turn).all()
    assert np.abs(quick.turn - slow.turn).max() < 1e-10
    assert np.abs(quick.margin - slow.margin).max() < 1e-10


def test_swing_has_two_roots_or_none():
    roots = solve_swing(3.0, 4.0, 2.0)
    assert np.abs(3 * np.cos(roots) + 4 * np.sin(roots) - 2).max() < 1e-12
    assert np.isnan(solve_swing(3.0, 4.0, 5.1)).all()
