"""A tag's blurred pattern against SciPy's filters on a finely drawn one, and its slopes against
differences."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates

from photoangle.detection.alignment.blurred_pattern import BlurredPattern
from photoangle.detection.alignment.pattern_rows import CellMap, PatternRows
from photoangle.detection.alignment.tag_window import Pixels
from photoangle.detection.codes import cell_pattern
from tests.scenes import FAMILY

N, TAG, FINE = 8, 123, 40
SQUARE = np.array([[0, 0], [96, 0], [96, 96], [0, 96.0]])  # 12 px a cell
WHITE = 1.0


def drawn():
    """The pattern with two cells of margin, FINE samples a cell."""
    return np.kron(np.pad(cell_pattern(FAMILY, TAG), 2, constant_values=1), np.ones((FINE, FINE)))


def places(count=500):
    return np.random.default_rng(0).uniform(-0.3, N + 0.3, (2, count)).astype(np.float32)


def looked_up(picture, u, v):
    return map_coordinates(picture, [(v + 2) * FINE - 0.5, (u + 2) * FINE - 0.5], order=1, mode="nearest")


@pytest.mark.parametrize("sigma_px", [0.8, 1.5, 3.0])
def test_a_round_blur(sigma_px):
    u, v = places()
    seen = BlurredPattern(FAMILY, TAG, N, 40, sigma_px**2 * np.eye(2), SQUARE).read(u, v)[0]
    true = looked_up(gaussian_filter(drawn(), sigma_px / 12 * FINE, mode="nearest"), u, v)
    assert np.abs(seen - true).max() < 0.003 * WHITE


@pytest.mark.parametrize("degrees", [0, 20, 45, 110])
def test_a_movement_is_a_line(degrees):
    """6 px of even movement in focus of 0.8 px: its variance is 6^2 / 12."""
    way = 6 * np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    u, v = places()
    pattern = BlurredPattern(FAMILY, TAG, N, 40, 0.64 * np.eye(2) + np.outer(way, way) / 12, SQUARE)
    still = gaussian_filter(drawn(), 0.8 / 12 * FINE, mode="nearest")
    true = np.mean([
        looked_up(still, u + t * way[0] / 12, v + t * way[1] / 12) for t in (np.arange(60) + 0.5) / 60 - 0.5
    ], 0)
    assert np.abs(pattern.read(u, v)[0] - true).max() < 0.01 * WHITE
    assert pattern.laid * 144 == pytest.approx(0.64 * np.eye(2) + np.outer(way, way) / 12, abs=0.05)


def test_a_blur_askew_to_the_pattern():
    """A round blur on a tag that is seen sheared lies askew on it: correlation 0.6."""
    sheared = SQUARE @ np.array([[1, 0], [0.75, 1.0]])
    u, v = places()
    seen = BlurredPattern(FAMILY, TAG, N, 40, 1.44 * np.eye(2), sheared).read(u, v)[0]
    # drawn in the picture's own pixels, 8 samples each
    y, x = np.mgrid[-20:120:1 / 8, -40:210:1 / 8] + 1 / 16
    cells = np.stack([x, y], -1) @ np.linalg.inv(np.array([[1, 0], [0.75, 1.0]])) / 12
    picture = gaussian_filter(
        map_coordinates(drawn(), [(cells[..., 1] + 2) * FINE - 0.5, (cells[..., 0] + 2) * FINE - 0.5],
                        order=0,
                        mode="nearest"), 1.2 * 8)
    at = np.stack([u, v], 1) * 12 @ np.array([[1, 0], [0.75, 1.0]])
    true = map_coordinates(picture, [(at[:, 1] + 20) * 8 - 0.5, (at[:, 0] + 40) * 8 - 0.5], order=1)
    assert np.abs(seen - true).max() < 0.006 * WHITE


def test_slopes_are_differences():
    blur, h = np.diag([1.2, 0.9]), np.float32(0.02)
    u, v = places(200)
    pattern = BlurredPattern(FAMILY, TAG, N, 40, blur, SQUARE)
    _value, by_u, by_v, _, uu, vv, uv = pattern.read(u, v)
    assert by_u == pytest.approx((pattern.read(u + h, v)[0] - pattern.read(u - h, v)[0]) / (2 * h), abs=0.12)
    assert by_v == pytest.approx((pattern.read(u, v + h)[0] - pattern.read(u, v - h)[0]) / (2 * h), abs=0.12)
    assert uu == pytest.approx((pattern.read(u + h, v)[1] - pattern.read(u - h, v)[1]) / (2 * h), abs=2.5)
    assert uv == pytest.approx((pattern.read(u, v + h)[1] - pattern.read(u, v - h)[1]) / (2 * h), abs=2.5)
    assert vv == pytest.approx((pattern.read(u, v + h)[2] - pattern.read(u, v - h)[2]) / (2 * h), abs=2.5)


class Window:
    middle, extent = np.array([48.0, 48.0]), 48.0


def test_rows_are_the_models_derivatives_by_corners_and_blur():
    """Central differences of the model with the levels held: 2 % of the largest, RMS."""
    grid = np.linspace(-1.05, 1.05, 60, dtype=np.float32)
    x, y = (a.ravel() for a in np.meshgrid(grid, grid))
    quad = SQUARE + np.array([[3, 2], [-4, 1], [2, -3], [0, 2.0]])
    blur = 1.1 * np.eye(2)
    grey = np.zeros(len(x), np.float32)

    def model(q, b):
        # built anew, so that the correction of a blur not laid on has no part
        pixels = Pixels(np.arange(len(x)), grey, x, y)
        return PatternRows(pixels,
                           CellMap(pixels, Window, q, N),
                           BlurredPattern(FAMILY, TAG, N, 40, b, q),
                           b,
                           rough=True)

    base = model(quad, blur)
    # seen as black 40 and white 200: the levels then fit exactly, and the gain is 160
    base.seen = 40 + 160 * base.value
    base._fit_levels(np.zeros_like(base.value), rough=True)
    rows = base.derivatives()
    for k in range(8):
        step = np.zeros(8)
        step[k] = 0.05
        step = step.reshape(4, 2)
        slope = 160 * (model(quad + step, blur).value - model(quad - step, blur).value) / 0.1
        assert np.sqrt(np.mean((rows[k] - slope) ** 2)) < 0.02 * np.abs(slope).max()
    for k, change in enumerate((np.diag([1, 0]), np.diag([0, 1]), np.array([[0, 1], [1, 0]]))):
        slope = 160 * (model(quad, blur + 0.05 * change).value -
                       model(quad, blur - 0.05 * change).value) / 0.1
        assert np.sqrt(np.mean((rows[8 + k] - slope) ** 2)) < 0.05 * np.abs(slope).max()


@pytest.mark.parametrize("variance_px2", [0.5, 1.5, 3.0])
def test_a_halos_slopes_and_bend(variance_px2):
    """Slopes against central differences, 1 % of the largest; the bend, a rule of thumb, to 0.2 of the
    pattern's own."""
    def blurred(more=0.0):
        return BlurredPattern(FAMILY, TAG, N, 40, (variance_px2 + more) * np.eye(2), SQUARE)

    (u, v), h, pattern = places(2000), np.float32(0.02), blurred()
    differences = [(pattern.read(u + a, v + b)[3] - pattern.read(u - a, v - b)[3]) / (2 * h)
                   for a, b in ((h, 0), (0, h))]
    for seen, true in zip(pattern.halo_slopes(u, v), differences, strict=False):
        assert np.sqrt(np.mean((seen - true) ** 2)) < 0.01 * np.abs(true).max()
    value, halo = (blurred(0.03).read(u, v) - blurred(-0.03).read(u, v))[[0, 3]]
    assert pattern.halo_bend == pytest.approx(halo @ value / (value @ value), abs=0.2)
