"""Boards that people have, drawn: which it is, and a lens learnt from it against exact truth."""

import cv2
import numpy as np
import pytest

from calib.calibrate import projection_sigma
from calib.images.photo import CameraIdentity, Photo
from calib.poses import Pose
from photoangle.carfile.car import PrintCheck
from photoangle.detection.detect_photo import detect_photo
from photoangle.detection.other_boards import checkerboard_with_tags, tags_in
from photoangle.reconstruction.lens.learn_lens import learn_lenses
from tests.phones.profiles import unhidden_px as over_the_picture
from tests.scenes import KIT, Camera, Flat, look_at, scaled_lens, shoot

WIDTH, HEIGHT = 1344, 1008
PER_MM = 4
IDENTITY = CameraIdentity("Plover", "P9", "", None, 26.0, 1.0, WIDTH, HEIGHT)


def with_tags(columns, rows, square, tag, family, legacy):
    """OpenCV's own picture of a checkerboard with tags, as a Flat."""
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    board = cv2.aruco.CharucoBoard((columns, rows), float(square), float(tag), book)
    board.setLegacyPattern(legacy)
    return flat_of(board.generateImage((columns * square * PER_MM, rows * square * PER_MM), marginSize=0))


def sheet(family, places, size, width, height):
    """Tags wherever they lie, id -> (x, y) mm."""
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    image = np.full((height * PER_MM, width * PER_MM), 255, np.uint8)
    for tag_id, (x, y) in places.items():
        side = size * PER_MM
        tag = book.generateImageMarker(tag_id, side)
        image[y * PER_MM:y * PER_MM + side, x * PER_MM:x * PER_MM + side] = tag
    return flat_of(image)


def flat_of(image):
    pad = 10
    values = 0.05 + 0.75 * np.pad(image, pad * PER_MM, constant_values=255).astype(np.float32) / 255
    high = (image.shape[1] / PER_MM + pad, image.shape[0] / PER_MM + pad)
    return Flat(Pose.identity(), (-float(pad), -float(pad)), high, values, PER_MM)


def photos(flat, lens, count, seed):
    """Photos of a board from all sides."""
    rng = np.random.default_rng(seed)
    middle = np.array([*np.mean([flat.low_mm, flat.high_mm], axis=0), 0.0])
    out = []
    for k in range(count):
        turn, lean = 2 * np.pi * k / count, rng.uniform(0.35, 0.7)
        away = rng.uniform(300, 400) * np.array([np.sin(lean) * np.cos(turn), np.sin(lean) * np.sin(turn),
                                                 -np.cos(lean)])
        aim = middle + np.array([*rng.uniform(-40, 40, 2), 0])
        view = look_at(aim + away, aim, rng.uniform(-0.3, 0.3), (0, -1.0, 0))
        grey = shoot([flat], view, lens, WIDTH, HEIGHT, Camera("phone"), rng, 3)
        out.append(Photo(f"p{k}", grey, 1, IDENTITY, ""))
    return out


@pytest.mark.parametrize("columns, rows, legacy, family", [
    (7, 5, False, "DICT_6X6_250"), (8, 6, True, "DICT_4X4_50"), (9, 6, False, "DICT_APRILTAG_36h11")])
def test_a_checkerboard_with_tags_is_told_from_photos_alone(columns, rows, legacy, family):
    board = with_tags(columns, rows, 28, 20, family, legacy)
    seen = {p.path: p.grey for p in photos(board, scaled_lens(WIDTH), 3, 1)}
    name, tags = tags_in(seen, seen.get)
    card = checkerboard_with_tags(name, tags)
    assert (card.columns, card.rows, card.legacy) == (columns, rows, legacy)
    assert card.family.rsplit("_", 1)[0] == family.rsplit("_", 1)[0]
    assert card.tag_mm / card.square_mm == pytest.approx(20 / 28, abs=0.03)


def learnt(taken):
    """LensResults of photos by somebody who has the printed kit as well."""
    sightings = [detect_photo(p, KIT)[0] for p in taken]
    return learn_lenses(sightings, KIT, PrintCheck(), {p.path: p.grey for p in taken}.get)[0]


def z_over_the_picture(profile, lens):
    """RMS of the learnt lens's error that no photo's pose can hide, over what is stated; its middle in px."""
    moving = profile.shift_sigma is not None
    error = over_the_picture(lens, profile.lens, moving, (WIDTH, HEIGHT))
    stated = projection_sigma(profile.lens, profile.covariance, WIDTH, HEIGHT, moving=moving)
    return np.sqrt(np.mean((error / stated)**2)), np.sqrt(np.mean(error[2:-2, 2:-2]**2))


def test_a_lens_by_a_checkerboard_with_tags():
    lens = scaled_lens(WIDTH)
    (found,) = learnt(photos(with_tags(9, 6, 28, 20, "DICT_5X5_100", False), lens, 8, 2))
    assert found.board == "a checkerboard of 9 x 6 squares with tags of DICT_5X5_50"
    z, middle = z_over_the_picture(found.profile, lens)
    assert z < 1.5 and middle < 0.3  # px


def test_a_lens_by_a_sheet_of_tags_whose_places_nobody_told():
    rng, lens = np.random.default_rng(5), scaled_lens(WIDTH)
    places = {i: (int(6 + 46 * (i % 5) + rng.integers(0, 8)), int(6 + 46 * (i // 5) + rng.integers(0, 8)))
              for i in range(20)}
    (found,) = learnt(photos(sheet("DICT_APRILTAG_36h11", places, 32, 240, 200), lens, 8, 3))
    assert found.board == "a sheet of 20 tags of DICT_APRILTAG_36h11"
    z, middle = z_over_the_picture(found.profile, lens)
    assert z < 1.5 and middle < 0.5  # px
