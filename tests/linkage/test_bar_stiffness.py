"""A bar's stiffness: the closed form against the strain energy added up along the bar, section by section."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from photoangle.core.figure import Figure
from photoangle.linkage.bar_stiffness import (
    SHEAR_N_PER_MM2,
    YOUNG_N_PER_MM2,
    BarShape,
    bar_rate,
    wheel_rate,
)


def by_energy(bar):
    """N/mm, from 2 U = F delta with F = 1 up at the left eye and down at the right one, bushes at the bends.

    Moments are vectors, of the forces on one side of a cut: what lies along the bar twists, the rest bends.
    """
    run = math.sqrt(max(bar.arm_mm**2 - bar.lever**2, 0.0))
    left, right = np.array([0.0, 0.0, 0.0]), np.array([0.0, bar.length_mm, 0.0])
    eye_left = left + [bar.lever, -run, 0]
    eye_right = right + [bar.lever, run, 0]
    up = np.array([0.0, 0.0, 1.0])
    # the bushes hold up and down alone: moments about the left one along x give the right one's force
    push = (eye_right[1] - left[1] - (eye_left[1] - left[1])) / bar.length_mm
    second = bar.second_moment_mm4

    def energy(at, along, forces):
        moment = sum(np.cross(p - at, f) for p, f in forces)
        twist = moment @ along
        bend2 = moment @ moment - twist**2
        return twist**2 / (2 * SHEAR_N_PER_MM2 * 2 * second) + bend2 / (2 * YOUNG_N_PER_MM2 * second)

    arm = (eye_left - left) / bar.arm_mm
    total = 2 * quad(lambda s: energy(left + arm * s, arm, [(eye_left, up)]), 0, bar.arm_mm)[0]
    axis = np.array([0.0, 1.0, 0.0])
    total += quad(lambda s: energy(left + axis * s, axis, [(eye_left, up), (left, -push * up)]), 0,
                  bar.length_mm)[0]
    return 1 / (2 * total)


@given(st.floats(10, 40), st.floats(300, 1200), st.floats(80, 400), st.floats(0.6, 1.0),
       st.one_of(st.none(), st.floats(0.1, 0.5)))
def test_as_the_strain_energy_has_it(diameter, length, arm, share, wall):
    bar = BarShape(diameter, length, arm, share * arm, None if wall is None else wall * diameter)
    assert bar_rate(bar) == pytest.approx(by_energy(bar), rel=1e-6)


def test_the_handbooks_shaft_and_cantilever():
    """The two terms by themselves: a shaft's twist T L / (G J) and a cantilever's F l^3 / (3 E I)."""
    stiff_arms = BarShape(20.0, 1e6, 100.0)  # so long that arms do not count
    polar = math.pi * 20.0**4 / 32
    assert bar_rate(stiff_arms) == pytest.approx(SHEAR_N_PER_MM2 * polar / (1e6 * 100.0**2), rel=1e-3)
    short = BarShape(20.0, 1e-3, 300.0)
    assert bar_rate(short) == pytest.approx(3 * YOUNG_N_PER_MM2 * math.pi * 20.0**4 / 64 / (2 * 300.0**3), rel=1e-3)


def test_a_tube_with_all_its_wall_is_solid():
    solid, tube = BarShape(22, 800, 200), BarShape(22, 800, 200, wall_mm=11)
    assert bar_rate(tube) == pytest.approx(bar_rate(solid))
    assert bar_rate(BarShape(22, 800, 200, wall_mm=3)) < bar_rate(solid)


@pytest.mark.parametrize("wrong", [
    {"diameter_mm": 0}, {"length_mm": -1}, {"arm_mm": math.nan}, {"lever_mm": 300}, {"wall_mm": 12}, {"wall_mm": 0}])
def test_what_no_bar_has_is_refused(wrong):
    with pytest.raises(ValueError):
        BarShape(**({"diameter_mm": 22, "length_mm": 800, "arm_mm": 200} | wrong))


def test_at_the_wheel_by_virtual_work():
    ratio = Figure(None, None, "motion_ratio", None, "-", 0.6, 0.01, 1e9, 0.58, 0.62)
    single, roll = wheel_rate(20.0, ratio, False), wheel_rate(20.0, ratio, True)
    # 1 mm of one wheel: the eyes come apart by 0.6 mm, 12 N, of which 0.6 at the wheel; in roll by 1.2 mm
    assert single[0] == pytest.approx(7.2) and roll[0] == pytest.approx(14.4)
    rng = np.random.default_rng(2)
    assert single[1] == pytest.approx(np.std(20 * rng.normal(0.6, 0.01, 200_000)**2), rel=0.02)
