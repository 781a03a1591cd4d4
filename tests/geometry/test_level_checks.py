"""A plumb that leans the same in all photos, held against a level on the sill and against the other corner."""

from types import SimpleNamespace

import numpy as np
import pytest

from calib.poses import rotation_from_vector
from photoangle.carfile.car import Level
from photoangle.core.estimate import Estimate, Source
from photoangle.core.origin import Origin
from photoangle.core.outcome import Report
from photoangle.geometry.datums import TURN, Axes, Direction
from photoangle.geometry.plumb.checks import contradicted_plumbs
from tests.invented_car import InventedCar, Slips
from tests.misuse.truth import errors

READ = {"droop": {"sill_slope_deg": 5.0}}


def test_a_level_on_the_sill_contradicts_a_strip_that_leans():
    """Before: 3 of 18 figures outside, z up to 45."""
    car = InventedCar(1, Slips(leans=("droop", 1.0)))
    measurement = car.measure(states=("ride", "droop"), attitude=READ)
    assert any("the level on the sill disagree by 2.6 deg" in f.what for f in measurement.findings)
    assert max(abs(e / u) for _, _, e, u, _ in errors(car, measurement, "droop")) < 3


def test_a_level_across_contradicts_a_strip_that_leans_across():
    """Before: z 48.6; the sill alone says nothing of it."""
    car = InventedCar(4, Slips(leans=("droop", 3.0)))
    measurement = car.measure(states=("ride", "droop"), attitude={s: {"roll_deg": r} for s, r in (("ride", 0.0), ("droop", 0.5))})
    assert any("the level across the car disagree" in f.what for f in measurement.findings)
    assert max(abs(e / u) for _, _, e, u, _ in errors(car, measurement, "droop")) < 3


def test_a_level_on_the_sill_that_agrees_changes_nothing():
    told, not_told = (InventedCar(1).measure(states=("ride", "droop"), attitude=a) for a in (READ, {}))
    assert not any("disagree" in f.what for f in told.findings)
    assert [f.u for f in told.figures] == [f.u for f in not_told.figures]


def corner(name, lean_deg, sigma_deg=0.05):
    """A state whose chassis stands level and whose plumb leans by so much (forward, left), deg."""
    forward, left = np.radians(lean_deg)
    up = rotation_from_vector([-left, forward, 0]) @ [0, 0, 1.0]
    seen = Estimate.stated(TURN, np.zeros(3), Source(("plumb", name), "level", np.eye(3) * np.radians(sigma_deg) ** 2))
    return SimpleNamespace(name=f"{name}/set", corner=name, state="set", attitude_of=None,
                           up=Direction(up, seen, "strip"), axes=Axes(np.eye(3), Estimate.stated(TURN, np.zeros(3)), ""),
                           notes=SimpleNamespace(attitude={}), scene=SimpleNamespace(origin=Origin(f"{name}/set")))


@pytest.mark.parametrize("lean", [(1.0, 0.0), (0.0, -1.0), (0.8, 0.9)])
def test_two_corners_plumbs_that_disagree_are_both_allowed_for(lean):
    ours, theirs = corner("front-left", lean), corner("front-right", (0, 0))
    report = Report()
    assert contradicted_plumbs([ours, theirs], Level(), report)
    size = np.radians(np.hypot(*lean))
    turn = np.cross(ours.up.vector, theirs.up.vector)
    for state in (ours, theirs):
        covariance = state.up.turn.covariance()
        assert turn @ np.linalg.solve(covariance, turn) < 1.1
        # and no wider: the whole of the difference, along it
        assert np.sqrt(np.linalg.eigvalsh(covariance)[-1]) == pytest.approx(size, rel=0.02)
    assert f"by {np.degrees(size):.1f} deg" in report.findings[0].what


def test_two_corners_within_what_cars_settle_are_left_alone():
    ours, theirs = corner("front-left", (0.2, 0.1)), corner("front-right", (0, 0))
    assert not contradicted_plumbs([ours, theirs], Level(), Report())
