"""The lens model, against OpenCV and against numeric derivatives."""

import cv2
import numpy as np

from calib.lens import camera_matrix, distort, plain_lens, project, trusted_radius, unproject

LENS = np.array([3104.2, 1e-3, 2000.7, 1521.1, 0.091, -0.243, -0.00038, 0.00044, 0.165])
PX = 1.0


def points(rng, n=300):
    z = rng.uniform(300, 2000, n)
    return np.stack([rng.uniform(-0.6, 0.6, n) * z, rng.uniform(-0.45, 0.45, n) * z, z], 1)


def test_projection_agrees_with_opencv():
    p = points(np.random.default_rng(1))
    matrix, terms = camera_matrix(LENS)
    theirs = cv2.projectPoints(p, np.zeros(3), np.zeros(3), matrix, terms)[0].reshape(-1, 2)
    assert np.abs(project(p, LENS) - theirs).max() < 1e-9 * PX


def test_unprojection_is_the_inverse():
    p = points(np.random.default_rng(2))
    spline = np.r_[LENS, np.random.default_rng(3).normal(0, 3e-4, 8)]
    for lens in (LENS, spline):
        back = unproject(project(p, lens), lens)
        assert np.abs(back - p[:, :2] / p[:, 2:]).max() < 1e-12


def test_derivatives_agree_with_differences():
    rng = np.random.default_rng(4)
    lens = np.r_[LENS, rng.normal(0, 3e-4, 8)]
    x, y = rng.uniform(-0.6, 0.6, (2, 50))
    _, _, by_xy, by_lens = distort(x, y, lens, derivatives=True)
    h = 1e-6
    for k, (dx, dy) in enumerate(((h, 0), (0, h))):
        numeric = (np.array(distort(x + dx, y + dy, lens)) - np.array(distort(x - dx, y - dy, lens))) / (2 *
                                                                                                         h)
        assert np.abs(by_xy[:, :, k].T - numeric).max() < 1e-8
    for k in range(4, len(lens)):
        up, down = lens.copy(), lens.copy()
        up[k] += h
        down[k] -= h
        numeric = (np.array(distort(x, y, up)) - np.array(distort(x, y, down))) / (2 * h)
        assert np.abs(by_lens[:, :, k - 4].T - numeric).max() < 1e-8


def test_points_behind_the_lens_have_no_pixel():
    assert np.isnan(project(np.array([[0, 0, -100.0], [1, 1, 0]]), LENS)).all()


def test_trusted_radius_stops_where_the_polynomial_folds():
    assert trusted_radius(plain_lens(3000, 2000, 1500)) == 1.2
    folding = LENS.copy()
    folding[4:] = [-0.6, 0, 0, 0, 0]
    # r (1 - 0.6 r^2) stops growing where 1 = 1.8 r^2
    assert abs(trusted_radius(folding) - np.sqrt((1 - 0.2) / 1.8)) < 0.02
