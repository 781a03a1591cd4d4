"""Small tags in pictures that a phone has denoised and sharpened: found, and as exact as they say."""

import numpy as np
import pytest

from photoangle.detection.alignment.align import FLOOR_PX, floor_px
from tests.detection.small_tags import run


@pytest.fixture(scope="module")
def rows():
    found = run(2, 4, ("phone", "by patches", "wide bilateral"), (0.03,), (16, 60))
    return np.concatenate(list(found.values()))


def test_small_tags_err_no_more_over_what_they_state_than_larger_ones(rows):
    """The solver has one factor for all: squared errors of corners over their variance, in the mean.  It was 1.5 to
    2 times as much under 25 px as over 35."""
    small, large = (rows[chosen, 3] for chosen in (rows[:, 0] < 25, rows[:, 0] > 35))
    assert len(small) > 25 and len(large) > 25
    assert np.mean(small) < 1.35 * np.mean(large) and np.mean(rows[:, 3]) < 1


def test_the_floor_of_large_tags_is_what_it_was():
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    assert floor_px(120 * square) == pytest.approx(FLOOR_PX, rel=0.01)
    assert floor_px(60 * square) == pytest.approx(FLOOR_PX, rel=0.08)
    assert floor_px(20 * square) > 2.5 * FLOOR_PX
