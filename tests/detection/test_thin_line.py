"""A thin straight line to a fraction of a pixel, and nothing where there is none."""

import cv2
import numpy as np
import pytest

from photoangle.detection.thin_line import find_thin_line

H, W, FINE = 700, 120, 8
COURSE = np.stack([np.full(600, 60.0), np.arange(50.0, 650.0)], 1)
PX_PER_MM = 2.0


def picture(x_of, half_px=2.0, light=0.7, ground=None, noise=0.01, seed=1):
    """A strip about x_of(y) px, drawn with subpixels, blurred, in linear light with noise; (H, W) uint8."""
    y, x = np.mgrid[0:H:1 / FINE, 0:W:1 / FINE] + (0.5 / FINE - 0.5)
    ground = np.full(x.shape, 0.25) if ground is None else ground(x, y)
    fine = np.where(np.abs(x - x_of(y)) < half_px, light, ground)
    image = cv2.resize(fine.astype(np.float32), (W, H), interpolation=cv2.INTER_AREA)
    image = cv2.GaussianBlur(image, (0, 0), 0.8) + np.random.default_rng(seed).normal(0, noise, (H, W))
    return np.clip(255 * image, 0, 255).astype(np.uint8)


def found(image, course=COURSE):
    return find_thin_line(image, course, PX_PER_MM, 7.0)


def off(line, x_of):
    """How far each end lies from the truth, over its sigma."""
    return (line.ends_px[:, 0] - x_of(line.ends_px[:, 1])) / line.sigma_px


@pytest.mark.parametrize("start, slope", [(60.3, 0.0), (57.1, 0.008), (63.7, -0.01)])
@pytest.mark.parametrize("light, half_px", [(0.7, 2.0), (0.05, 1.4), (0.6, 3.5)])
def test_a_string_is_found_to_its_sigma(start, slope, light, half_px):
    def x_of(y):
        return start + slope * (y - 350)

    line = found(picture(x_of, half_px, light))
    assert line is not None and line.length_px > 550
    assert np.abs(off(line, x_of)).max() < 2 and line.sigma_px < 0.12


def test_what_lies_behind_it_does_not_move_it():
    """A step of the background, on one side of the string only, over a third of it."""
    def x_of(y):
        return 60.2 + 0.004 * (y - 350)

    line = found(picture(x_of, ground=lambda x, y: np.where((y > 400) & (x > 60), 0.45, 0.25)))
    assert line is not None and np.abs(off(line, x_of)).max() < 3


def test_a_string_that_is_hidden_in_places_is_still_found():
    def x_of(y):
        return 60.5 + 0 * y

    image = picture(x_of)
    image[200:290], image[400:440] = 64, 200
    line = found(image)
    assert line is not None and np.abs(off(line, x_of)).max() < 2


@pytest.mark.parametrize("image", [
    picture(lambda y: -100 + 0 * y),  # nothing
    picture(lambda y: -100 + 0 * y, ground=lambda x, y: np.where(x > 61, 0.6, 0.2)),  # an edge
    picture(lambda y: 58 + 5e-5 * (y - 350) ** 2),  # bent by 4.5 px
    picture(lambda y: np.where(np.abs(y - 350) < 60, 60, -100)),  # too short a piece
    picture(lambda y: 60 + 4 * np.sin(y / 15)),  # a wavy one
    picture(lambda y: 60 + 0.03 * (y - 350)),  # one that crosses
])
def test_what_is_no_hanging_string_is_not_taken_for_one(image):
    assert found(image) is None


def test_near_the_pictures_edge_it_takes_what_there_is():
    course = np.stack([np.full(1000, 60.0), np.arange(-200.0, 800.0)], 1)
    line = found(picture(lambda y: 60.4 + 0 * y), course)
    assert line is not None and 600 < line.length_px < H
    assert found(picture(lambda y: 60.4 + 0 * y), course + [200, 0]) is None
