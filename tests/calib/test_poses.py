"""Rotations and rigid transforms, against SciPy."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from calib.poses import Pose, angle_between_rotations, fit_rigid, rotation_from_vector, vector_from_rotation

ROUNDING = 1e-12


def test_rotation_vectors_agree_with_scipy():
    vectors = np.random.default_rng(1).normal(0, 1.2, (200, 3))
    vectors = np.concatenate([vectors, [[0, 0, 0], [1e-7, 0, 0], [1e-4, 2e-4, 0]]])
    ours = rotation_from_vector(vectors)
    assert np.abs(ours - Rotation.from_rotvec(vectors).as_matrix()).max() < 10 * ROUNDING
    assert np.abs(vector_from_rotation(ours) - Rotation.from_matrix(ours).as_rotvec()).max() < 1e4 * ROUNDING


def test_half_turns_are_recovered_up_to_sign():
    axis = np.array([[1, 2, -0.5], [0, 0, 1.0], [-1, 0, 0]])
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    back = vector_from_rotation(rotation_from_vector(np.pi * axis))
    assert np.allclose(np.abs(back), np.pi * np.abs(axis), atol=1e-6)


def test_frames_cancel():
    rng = np.random.default_rng(2)
    a = Pose(rotation_from_vector(rng.normal(size=3)), rng.normal(size=3))
    b = Pose(rotation_from_vector(rng.normal(size=3)), rng.normal(size=3))
    points = rng.normal(size=(5, 3))
    assert np.allclose((a @ b).apply(points), a.apply(b.apply(points)))
    assert np.allclose((a @ a.inverse()).apply(points), points)


def test_rigid_fit_recovers_a_known_transform():
    rng = np.random.default_rng(3)
    true = Pose(rotation_from_vector(np.array([0.3, -2.0, 0.9])), np.array([10.0, -300, 42]))
    points = rng.normal(0, 100, (7, 3))
    found = fit_rigid(points, true.apply(points))
    assert angle_between_rotations(found.rotation, true.rotation) < 1e-7
    assert np.abs(found.translation_mm - true.translation_mm).max() < 1e-9
    with pytest.raises(ValueError):
        fit_rigid(points[:2], points[:2])
