"""A plain checkerboard of any size: its corners against exact truth, and a lens learnt from real photos of one."""

import cv2
import numpy as np
import pytest

from calib.lens import project
from photoangle import learn_lens
from photoangle.detection.checkerboard import find_checkerboard
from tests.scenes import look_at, scaled_lens

SQUARE_MM = 30.0


def _board_photo(view, columns, rows, lens, size, rng, scale=4):
    """A drawn board of columns x rows squares as a camera sees it, with noise; and its inner corners, px."""
    width, height = size
    out = np.full((height * scale, width * scale), 200.0, np.float32)
    for j in range(rows):
        for i in range(columns):
            if (i + j) % 2 == 0:
                edge = np.linspace(0, 1, 12)
                ring = np.concatenate([np.c_[edge, 0 * edge], np.c_[0 * edge + 1, edge],
                                       np.c_[1 - edge, 0 * edge + 1], np.c_[0 * edge, 1 - edge]])
                at = np.c_[(ring + [i, j]) * SQUARE_MM, np.zeros(len(ring))]
                px = project(view.apply(at), lens)
                cv2.fillPoly(out, [np.rint(((px + 0.5) * scale - 0.5) * 16).astype(np.int32)], 30.0, cv2.LINE_AA, 4)
    small = cv2.resize(cv2.GaussianBlur(out, (0, 0), 0.7 * scale), size, interpolation=cv2.INTER_AREA)
    grey = np.clip(np.rint(small + rng.normal(0, 2, small.shape)), 0, 255).astype(np.uint8)
    inner = np.stack(np.meshgrid(np.arange(1, columns), np.arange(1, rows)), -1).reshape(-1, 2) * SQUARE_MM
    return grey, project(view.apply(np.c_[inner, np.zeros(len(inner))]), lens)


@pytest.mark.parametrize("columns, rows", [(7, 5), (10, 7), (12, 9)])
def test_a_board_of_any_size_is_found_and_its_corners_are_true(columns, rows):
    rng = np.random.default_rng(columns)
    lens = scaled_lens(1008)
    middle = np.array([columns, rows, 0]) * SQUARE_MM / 2
    view = look_at(middle + np.array([60.0, -110.0, 1.25 * SQUARE_MM * columns]), middle, 0.1, (0, 1.0, 0))
    grey, true = _board_photo(view, columns, rows, lens, (1008, 756), rng)
    board = find_checkerboard(grey)
    assert {board.columns, board.rows} == {columns - 1, rows - 1}
    assert len(board.index) > 0.9 * len(true)
    # which corner is the first is not known: each to the nearest
    error = np.linalg.norm(board.pixels[:, None] - true[None], axis=2).min(1)
    assert np.sqrt(np.mean(error**2)) < 0.05  # px, of both coordinates


def test_no_board_in_a_picture_of_noise():
    grey = np.random.default_rng(1).integers(0, 255, (480, 640)).astype(np.uint8)
    assert find_checkerboard(cv2.GaussianBlur(grey, (0, 0), 3)) is None


def test_the_published_lens_of_opencvs_own_checkerboard_photos(stereo_photos):
    """OpenCV's left_intrinsics.yml: f 535.92, centre 342.28, 235.57.  Standard deviations by cv2 with its own corner
    finder: 0.93, 0.97, 1.07 px of all 13 photos, 1.84, 1.89, 1.72 of the first seven (0.41 and 0.49 px RMS)."""
    (found,) = learn_lens(sorted(stereo_photos.glob("left[01]*.jpg")))
    assert found.board.startswith("a checkerboard of 10 x 7 squares") and found.profile.photos >= 6
    theirs = (0.93, 0.97, 1.07) if found.profile.photos > 10 else (1.84, 1.89, 1.72)
    own = np.sqrt(np.diag(found.profile.covariance))[[0, 2, 3]]
    for value, published, u, mine in zip(found.profile.lens[[0, 2, 3]], (535.92, 342.28, 235.57), theirs, own,
                                         strict=True):
        assert abs(value - published) < 3 * np.hypot(u, mine)
    assert found.profile.rms_px < 0.2
