"""Finding tags and measuring corners, on pictures with exact truth."""

import cv2
import numpy as np
import pytest

from calib.poses import Pose
from photoangle.detection import tags
from photoangle.detection.alignment.align import align_tag
from photoangle.detection.codes import read_codes, sample_cells, wrong_cells
from photoangle.detection.saddles import find_saddles
from photoangle.detection.tags import find_tags
from tests.scenes import (
    FAMILY,
    KIT,
    Camera,
    card_flat,
    facing,
    look_at,
    scaled_lens,
    shoot,
    tag_flat,
    true_corners,
    true_saddles,
)

WIDTH, HEIGHT = 1344, 1008
LENS = scaled_lens(WIDTH)
PX = 1.0


def six_tags(rng, mode, **camera):
    """Six tags of about 60 px and the card, seen from 0.7 m: picture, camera pose, tag poses, card pose."""
    card = Pose(facing([0.1, -1, 0.2], 0.05), np.array([-126.0, 0, 250]))
    view = look_at(np.array([80.0, -560, 260]), np.array([0, 0, 250.0]))
    tags = {
        100 + k: Pose(facing([rng.uniform(-0.6, 0.6), -1, rng.uniform(-0.6, 0.6)], rng.uniform(-0.5, 0.5)),
                      np.array([-200 + 80 * k, -20, 360.0]))
        for k in range(6)
    }
    dirt = camera.pop("dirt", 0.0)
    flats = [card_flat(card)] + [tag_flat(i, 30.0, p, rng=rng, dirt=dirt) for i, p in tags.items()]
    return shoot(flats, view, LENS, WIDTH, HEIGHT, Camera(mode, **camera), rng), view, tags, card


def corner_errors(grey, view, tags):
    errors, radial, squares = [], [], []
    for tag in find_tags(grey, FAMILY):
        if tag.tag_id < 100:
            continue
        aligned = align_tag(grey, FAMILY, tag.tag_id, tag.corners_px, LENS)
        true = true_corners(tags[tag.tag_id], 30.0, view, LENS)
        e = aligned.corners_px - true
        out = true - true.mean(0)
        radial.append((e * out / np.linalg.norm(out, axis=1, keepdims=True)).sum(1).mean())
        errors.append(e)
        squares.append(e.ravel() @ np.linalg.solve(aligned.covariance_px2, e.ravel()) / 8)
    return np.array(errors), np.array(radial), np.array(squares)


@pytest.mark.parametrize("mode, limit", [("linear", 0.008), ("srgb", 0.012), ("phone", 0.016)])
def test_corners_are_unbiased_by_blur_and_tone(mode, limit):
    grey, view, tags, _ = six_tags(np.random.default_rng(1), mode)
    errors, radial, squares = corner_errors(grey, view, tags)
    assert len(errors) == 6
    assert np.sqrt((errors**2).mean()) < limit * PX
    assert abs(radial.mean()) < 0.02 * PX
    assert squares.mean() < 1.5


def test_motion_and_dirt():
    grey, view, tags, _ = six_tags(np.random.default_rng(2), "srgb", motion_px=4.0)
    errors, _, _ = corner_errors(grey, view, tags)
    assert len(errors) >= 5 and np.sqrt((errors**2).mean()) < 0.01 * PX
    grey, view, tags, _ = six_tags(np.random.default_rng(3), "srgb", dirt=0.08)
    errors, _radial, squares = corner_errors(grey, view, tags)
    assert len(errors) >= 5 and np.sqrt((errors**2).mean()) < 0.04 * PX and squares.mean() < 2


def test_card_corners():
    grey, view, _, card = six_tags(np.random.default_rng(4), "srgb")
    found = find_saddles(grey, KIT.card, [t for t in find_tags(grey, FAMILY) if t.tag_id < 27])
    e = found.pixels - true_saddles(card, view, LENS)[found.index]
    assert len(found.index) == 40 and np.sqrt((e**2).mean()) < 0.03 * PX
    assert np.abs(e.mean(0)).max() < 0.01 * PX


def test_ids_in_all_turns_and_never_in_a_mirror():
    board = np.full((400, 400), 220, np.uint8)
    tag = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FAMILY)).generateImageMarker(123, 160)
    board[120:280, 120:280] = tag
    for turn in range(4):
        found = find_tags(np.ascontiguousarray(np.rot90(board, turn)), FAMILY)
        assert [t.tag_id for t in found] == [123]
        # the printed top-left corner turns with the picture
        at = np.array([119.5, 119.5]) - 199.5
        for _ in range(turn):
            at = np.array([at[1], -at[0]])
        assert np.abs(found[0].corners_px[0] - (at + 199.5)).max() < 1.0
    assert find_tags(np.ascontiguousarray(board[:, ::-1]), FAMILY) == []


def test_nothing_is_found_in_noise():
    rng = np.random.default_rng(5)
    for sigma in (1, 3, 9):
        noise = cv2.GaussianBlur(rng.normal(size=(900, 1200)).astype(np.float32), (0, 0), sigma)
        noise = np.clip(120 + 60 * noise / noise.std(), 0, 255).astype(np.uint8)
        assert find_tags(noise, FAMILY) == []


def test_half_in_shade_is_still_read():
    """A shadow's edge across the tag, light differing four times, defeats one threshold for the whole tag."""
    board = np.full((300, 300), 220, np.float32)
    tag = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FAMILY)).generateImageMarker(77, 128)
    board[86:214, 86:214] = 20 + 200 * (tag > 0)
    board[:, 150:] *= 0.25
    grey = cv2.GaussianBlur(board, (0, 0), 1.0).astype(np.uint8)
    assert 77 in [t.tag_id for t in find_tags(grey, FAMILY)]


def test_codes_survive_two_wrong_bits_and_not_five():
    payload = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FAMILY)).generateImageMarker(42, 8) > 127
    grid = np.ones((10, 10), bool)
    grid[1:-1, 1:-1] = payload
    rng = np.random.default_rng(6)
    for wrong, expected in ((0, 42), (2, 42), (5, -1)):
        seen = grid.copy()
        for k in rng.choice(36, wrong, replace=False):
            seen[2 + k // 6, 2 + k % 6] ^= True
        ids, turns, misses, *_ = read_codes(
            np.where(seen, 200, 30).astype(np.float32).reshape(1, 100), FAMILY)
        assert ids[0] == expected
        if expected == 42:
            assert turns[0] == 0 and misses[0] == wrong


def test_wrong_cells_counts_what_is_covered():
    grey, view, tags, _ = six_tags(np.random.default_rng(7), "srgb")
    corners = true_corners(tags[102], 30.0, view, LENS)
    assert wrong_cells(grey, corners, FAMILY, 102)[0] <= 1
    assert wrong_cells(grey, corners, FAMILY, 103)[0] > 15
    assert sample_cells(grey, corners[None], 8).shape == (1, 100)


def test_bands_show_what_the_whole_picture_does(monkeypatch):
    """However a picture is cut into bands, its dark squares are seen once each and where they are, those
    across a cut among them."""
    grey, *_ = six_tags(np.random.default_rng(4), "srgb")

    def middles():
        at = tags._dark_quads(grey, False, 9.0, 110).mean(1)
        return at[np.lexsort(np.rint(at).T)]

    whole = middles()
    assert len(whole) > 50
    for rows in (60, 67, 83):
        monkeypatch.setattr(tags, "_BAND_PX", rows * 4 * WIDTH)
        bands = middles()
        # a quadrilateral about an outline may turn out a little otherwise elsewhere
        assert len(bands) == len(whole) and np.abs(bands - whole).max() < 1.0 * PX
