"""The joint least-squares problem: derivatives, minimum and covariance."""

from dataclasses import replace

import numpy as np
import pytest

from calib.bundle import Bundle
from calib.kit import CardSpec, card_saddles_mm, tag_corners_mm
from calib.lens import project
from calib.poses import Pose, rotation_from_vector, vector_from_rotation
from calib.rows import BodyTie, CardRow, Priors, TagRow, Values
from calib.solution import Singular

LENS = np.array([1550.0, 0, 1003.0, 760.0, 0.09, -0.24, -0.0004, 0.0004, 0.16])
CARD = CardSpec()
SIGMA = 0.05


_SHIFTS = {False: None, True: np.array([1e-3, 2, 2]),
           "edited": np.r_[0.1, 100, 100, 0.02, 0.02, 0.05, 0.05, 0.5, 0.05]}


def problem(rng, cameras=4, tags=6, moving=False, noise=SIGMA):
    """A small scene: bundle, start values and the truth."""
    saddles = card_saddles_mm(CARD)
    bodies = [Pose.identity()] + [
        Pose(rotation_from_vector(rng.normal(0, 0.4, 3)),
             np.array([rng.uniform(-200, 450),
                       rng.uniform(-250, 400),
                       rng.normal(0, 60)])) for _ in range(tags)
    ]
    poses = []
    for _ in range(cameras):
        r = rotation_from_vector(np.r_[rng.uniform(-0.5, 0.5, 2), rng.uniform(-0.4, 0.4)])
        poses.append(Pose(r, np.array([0, 0, rng.uniform(750, 1000)]) - r @ [126, 84, 0]))
    rows, cards = [], []
    for c, camera in enumerate(poses):
        for b in range(1, tags + 1):
            if (b + c) % 3:
                seen = project(camera.apply(bodies[b].apply(tag_corners_mm(30.0))), LENS)
                rows.append(TagRow(c, b, 30.0, seen + rng.normal(0, noise, (4, 2)), np.eye(8) * SIGMA**2))
        if c != 1:
            seen = project(camera.apply(saddles), LENS)
            cards.append(CardRow(c, saddles, seen + rng.normal(0, noise, seen.shape),
                                 np.tile(np.eye(2) * SIGMA**2, (len(saddles), 1, 1))))
    sigma = np.array([5, 1e-3, 4, 4, 0.01, 0.03, 2e-4, 2e-4, 0.03])
    priors = Priors(LENS + rng.normal(0, 1, 9) * sigma * (noise > 0), np.diag(1 / sigma**2),
                    shift_sigma=_SHIFTS[moving])
    bundle = Bundle(cameras, tags + 1, rows, cards, priors)
    truth = Values(LENS.copy(), np.zeros(5), np.array([p.rotation for p in poses]),
                   np.array([p.translation_mm for p in poses]), np.zeros((cameras, 9 if moving == "edited" else 3)),
                   np.array([b.rotation for b in bodies]), np.array([b.translation_mm for b in bodies]))
    return bundle, truth


@pytest.mark.parametrize("moving", [False, True, "edited"])
def test_gradient_agrees_with_differences_of_the_cost(moving):
    rng = np.random.default_rng(5)
    bundle, truth = problem(rng, moving=moving)
    start = bundle._moved(truth, rng.normal(0, 1e-3, bundle.size) * bundle.free)
    if moving == "edited":
        start = replace(start, shift=start.shift + rng.normal(0, 0.03, start.shift.shape))
    parts = bundle.whitened(start, True)
    _, gradient, _ = bundle._normal(start, *parts)
    for k in rng.choice(np.flatnonzero(bundle.free), 25, replace=False):
        change = np.zeros(bundle.size)
        change[k] = 1e-6
        numeric = 0.0
        for sign in (1, -1):
            moved = bundle._moved(start, sign * change)
            r = bundle.whitened(moved, False)
            numeric += sign * bundle._cost(moved, r[0], r[2]) / (4 * change[k])
        assert abs(numeric - gradient[k]) < 2e-4 * max(abs(gradient[k]), 10)


def test_exact_pixels_give_the_exact_scene():
    rng = np.random.default_rng(6)
    bundle, truth = problem(rng, noise=0.0)
    solution = bundle.solve(bundle._moved(truth,
                                          rng.normal(0, 5e-3, bundle.size) * bundle.free),
                            tolerance=1e-14)
    assert np.abs(solution.values.body_mm - truth.body_mm).max() < 1e-4
    assert solution.cost < 1e-6


def test_covariance_is_true_by_sampling():
    """Tag poses over 60 draws: mean chi2 / 6 within four standard errors of one."""
    rng = np.random.default_rng(7)
    squares = []
    for _ in range(60):
        bundle, truth = problem(rng, cameras=3, tags=3)
        solution = bundle.solve(truth)
        covariance = solution.covariance()
        for b in range(1, 4):
            where = bundle.body_slice_of(b)
            v = np.r_[vector_from_rotation(solution.values.body_rotation[b] @ truth.body_rotation[b].T),
                      solution.values.body_mm[b] - truth.body_mm[b]]
            squares.append(v @ np.linalg.solve(covariance[where, where], v) / 6)
    standard_error = np.sqrt(2 / 6 / 60)  # tags of one scene share the lens: count scenes
    assert abs(np.mean(squares) - 1) < 4 * standard_error


def test_unseen_unknowns_are_refused():
    rng = np.random.default_rng(8)
    bundle, truth = problem(rng)
    lonely = Bundle(bundle.cameras, bundle.bodies + 1, bundle.tags, bundle.cards, bundle.priors)
    start = Values(truth.lens, truth.paper, truth.camera_rotation, truth.camera_mm, truth.shift,
                   np.concatenate([truth.body_rotation, np.eye(3)[None]]),
                   np.concatenate([truth.body_mm, np.zeros((1, 3))]))
    with pytest.raises(Singular):
        lonely.solve(start)


def test_a_tie_brings_two_points_together():
    rng = np.random.default_rng(9)
    bundle, truth = problem(rng, noise=0.0)
    goal = truth.body_mm[1] + [0, 0, 1.0]
    tie = BodyTie(1, np.zeros(3), -1, goal, np.eye(3) / 1e-6)
    tied = Bundle(bundle.cameras, bundle.bodies, bundle.tags, bundle.cards, bundle.priors, (tie,))
    assert np.abs(tied.solve(truth).values.body_mm[1] - goal).max() < 1e-3
