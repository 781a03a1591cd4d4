"""Distances between segments against a brute-force search."""

import numpy as np

from photoangle.linkage.kinematics.gaps import (
    point_to_polyline,
    point_to_segment,
    polyline_to_segment,
    segment_to_segment,
)


def test_random_segments_against_a_fine_grid():
    rng = np.random.default_rng(3)
    share = np.linspace(0, 1, 401)[:, None]
    for _ in range(100):
        a, b, c, d = rng.uniform(-100, 100, (4, 3))
        grid = np.linalg.norm((a + share * (b - a))[:, None] - (c + share * (d - c))[None], axis=-1).min()
        ours = segment_to_segment(a, b, c, d)
        step = (np.linalg.norm(b - a) + np.linalg.norm(d - c)) / 400
        assert grid - step <= ours <= grid + 1e-9


def test_crossing_parallel_and_pointlike_segments():
    o, x, y = np.zeros(3), np.array([10.0, 0, 0]), np.array([0, 10.0, 0])
    assert segment_to_segment(-x, x, -y + [0, 0, 3], y + [0, 0, 3]) == 3
    assert segment_to_segment(o, x, o + [20, 4, 0], x + [20, 4, 0]) == np.hypot(10, 4)
    assert segment_to_segment(o, x, o + [2, 4, 0], x + [-2, 4, 0]) == 4
    assert point_to_segment(np.array([3.0, 4, 0]), o, o) == 5
    assert polyline_to_segment([np.array([3.0, 4, 0])], o, x) == 4


def test_a_chain_is_as_near_as_its_nearest_piece():
    chain = [np.array(p, float) for p in ((0, 50, 0), (0, 10, 0), (60, 10, 0))]
    assert point_to_polyline(np.zeros(3), chain) == 10
    assert point_to_polyline(np.array([30.0, 0, 0]), chain) == 10
    assert point_to_polyline(np.zeros(3), chain[:1]) == 50
