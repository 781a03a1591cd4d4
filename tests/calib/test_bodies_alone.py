"""Bodies fitted side by side are what each would be by itself."""

from dataclasses import replace

import numpy as np
import pytest

from calib.bodies_alone import fit_bodies_alone
from calib.bundle import Bundle
from calib.lens import plain_lens, project
from calib.poses import rotation_from_vector
from calib.rows import Priors, TagRow, Values
from calib.solution import Singular

SQUARE = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0.0]]) / 2


@pytest.fixture(scope="module")
def problem():
    """12 tags of 30 mm in three photos, corners off by 0.1 px; start poses off by 3 degrees and 4 mm."""
    rng = np.random.default_rng(3)
    lens = plain_lens(2600.0, 1700.0, 1275.0)
    turns = rotation_from_vector(rng.normal(0, 0.15, (3, 3)))
    shifts = np.array([[0, 0, 900.0], [60, -20, 1000.0], [-80, 30, 1100.0]])
    bodies = rotation_from_vector(np.vstack([np.zeros(3), rng.normal(0, 0.4, (12, 3))]))
    places = np.vstack([np.zeros(3), rng.uniform(-200, 200, (12, 3))])
    rows = []
    for body in range(1, 13):
        world = (30 * SQUARE) @ bodies[body].T + places[body]
        for camera in range(3):
            seen = project(world @ turns[camera].T + shifts[camera], lens) + rng.normal(0, 0.1, (4, 2))
            rows.append(TagRow(camera, body, 30.0, seen, 0.01 * np.eye(8)))
    priors = Priors(lens, np.eye(len(lens)))
    off = rotation_from_vector(np.vstack([np.zeros(3), rng.normal(0, 0.05, (12, 3))]))
    start = Values(lens, np.zeros(5), turns, shifts, np.zeros((3, 3)), off @ bodies,
                   places + np.vstack([np.zeros(3), rng.normal(0, 4, (12, 3))]))
    return Bundle(3, 13, rows, [], priors, nu=6), start


def test_as_each_by_itself(problem):
    bundle, start = problem
    values, cost = fit_bodies_alone(bundle, start, 60)
    for body in range(1, 13):
        rows = [replace(r, body=1) for r in bundle.tags if r.body == body]
        alone = Bundle(3, 2, rows, [], bundle.priors, nu=6)
        hold = np.ones(alone.size, bool)
        hold[alone.body_slice_of(1)] = False
        of = replace(start, body_rotation=start.body_rotation[[0, body]], body_mm=start.body_mm[[0, body]])
        one = alone.solve(of, hold=hold)
        assert cost[body] == pytest.approx(alone.loss(one.tag_square, 8).sum(), rel=1e-6)
        assert np.abs(values.body_mm[body] - one.values.body_mm[1]).max() < 1e-3
        assert np.abs(values.body_rotation[body] - one.values.body_rotation[1]).max() < 1e-5
    assert values.body_mm[0].tolist() == start.body_mm[0].tolist()


def test_what_is_behind_the_camera_costs_without_end(problem):
    bundle, start = problem
    lost = start.body_mm.copy()
    lost[4] = np.nan
    _, cost = fit_bodies_alone(bundle, replace(start, body_mm=lost))
    assert np.isinf(cost[4]) and np.isfinite(np.delete(cost, 4)).all()
    with pytest.raises(Singular):
        bundle.solve(replace(start, body_mm=lost))
