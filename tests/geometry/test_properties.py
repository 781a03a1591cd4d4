"""What must not matter does not: turning and moving the whole scene, mirroring it left to right, scaling it, the
order and the names of photos.  From places and synthetic sightings, without pictures."""

from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.poses import rotation_from_vector
from photoangle.carfile.car import Level
from photoangle.core.estimate import Estimate, Source
from photoangle.core.origin import Origin
from photoangle.figures.measure import measured
from photoangle.geometry.datums import TURN, Direction, floor_axes, level_axes
from photoangle.geometry.joints import Points, coordinates
from photoangle.geometry.states import StateResult
from tests.invented_car import InventedCar

NUMBER = st.floats(-3, 3, allow_nan=False)
TURNED = st.tuples(NUMBER, NUMBER, NUMBER)
ROLES = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_pivot_rear", "arm_ball_joint", "sill_front",
         "sill_rear", "hub", "arch_lip")


@lru_cache(maxsize=8)
def places(seed):
    return InventedCar(seed).places["droop"]


def figures(seed, matrix, shift=(0, 0, 0), corner="front-left"):
    """name and datum -> (value, u) of a corner whose every place x is at matrix x + shift, known to 0.3, 0.5 and
    0.8 mm along the car's axes and to 0.1 deg in up, both carried along."""
    size = abs(np.linalg.det(matrix)) ** (1 / 3)
    at = [matrix @ places(seed)[r] + shift for r in ROLES]
    spread = matrix @ np.diag([0.3, 0.5, 0.8]) ** 2 @ matrix.T
    seen = Source(("pixels", "here"), "pixels", np.kron(np.eye(len(ROLES)), spread))
    points = Points(ROLES, Estimate.stated(coordinates(ROLES), np.concatenate(at), seen), dict.fromkeys(ROLES))
    level = Source(("hang", "here"), "level", np.eye(3) * np.radians(0.1) ** 2)
    up = Direction(matrix @ [0, 0, 1.0] / size, Estimate.stated(TURN, np.zeros(3), level), "string")
    axes = floor_axes(points, up, Level())
    state = StateResult(corner, "droop", None, SimpleNamespace(origin=Origin()), points, up, axes, level_axes(points, up))
    return {(f.name, f.datum): (f.value, f.u, f.unit) for f in measured(state).figures(None, None)}


def same(one, other, scale=1.0):
    assert one.keys() == other.keys() and len(one) > 12
    for key, (value, u, unit) in one.items():
        by = scale if unit == "mm" else 1.0
        assert other[key][0] == pytest.approx(by * value, rel=1e-7, abs=1e-6), key
        assert other[key][1] == pytest.approx(by * u, rel=1e-4, abs=1e-7), key


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(1, 8), turn=TURNED, shift=TURNED)
def test_where_the_world_is_does_not_matter(seed, turn, shift):
    same(figures(seed, np.eye(3)), figures(seed, rotation_from_vector(np.array(turn)), 1000 * np.array(shift)))


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(1, 8), size=st.floats(0.5, 3.0))
def test_a_larger_car_has_larger_lengths_and_the_same_angles(seed, size):
    same(figures(seed, np.eye(3)), figures(seed, size * np.eye(3)), size)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(1, 8), turn=TURNED)
def test_the_other_side_of_a_mirrored_car_has_the_same_figures(seed, turn):
    mirror = rotation_from_vector(np.array(turn)) @ np.diag([1.0, -1, 1])
    same(figures(seed, np.eye(3)), figures(seed, mirror, corner="front-right"))


@settings(max_examples=3, deadline=None)
@given(seed=st.integers(1, 4), order=st.permutations(range(4)), names=st.permutations("dcba"))
def test_order_and_names_of_photos_do_not_matter(seed, order, names):
    def mixed(car, state, sightings):
        return [replace(sightings[k], name=f"front-left/{state}/{names[k]}.jpg") for k in order if k < len(sightings)]

    one, other = (InventedCar(seed, between=b).measure(states=("droop",)) for b in (None, mixed))
    assert [(f.name, f.datum) for f in one.figures] == [(f.name, f.datum) for f in other.figures]
    for f, g in zip(one.figures, other.figures, strict=True):
        assert g.value == pytest.approx(f.value, abs=0.01 * f.u) and g.u == pytest.approx(f.u, rel=0.01)
