"""Real photos from outside, with other tags than the kit's."""

import numpy as np

from calib.images.photo import read_photo
from calib.lens import plain_lens
from calib.resection import planar_poses
from photoangle.core.kit import read_kit
from photoangle.core.options import PhotoOptions
from photoangle.detection.detect_photo import detect_photo
from photoangle.pipeline import measure_photos
from tests.conftest import quiet

BOARD = """
family = "DICT_6X6_250"
any_id = true
size = "20 mm"
[card]
columns = 5
rows = 7
square = "40 mm"
tag = "20 mm"
first_id = 0
legacy = {legacy}
family = "DICT_6X6_250"
"""
SINGLES = 'family = "DICT_6X6_250"\nany_id = true\nsize = "50 mm"\n'


def test_all_24_corners_of_a_real_board(tmp_path, charuco_photos):
    """Its calibration by OpenCV's tutorial: RMS 0.182 px; a plain pipeline gets all 24 corners at 0.216 px
    with it."""
    kit_path = tmp_path / "kit.toml"
    kit_path.write_text(BOARD.format(legacy="false"))
    kit = read_kit(kit_path)
    photo = read_photo(charuco_photos / "choriginal.jpg")
    sighting, _ = detect_photo(photo, kit)
    assert list(sighting.card.index) == list(range(24))
    lens = plain_lens(452.51, 317.70, 277.75)
    lens[1] = 456.77 / 452.51 - 1
    lens[4:9] = [0.1214, -1.0855, 0.00011787, -0.00046486, 2.9543]
    from calib.kit import card_saddles_mm

    poses = planar_poses(card_saddles_mm(kit.card), sighting.card.pixels, lens)
    assert poses[0][1] * np.sqrt(2) < 0.3


def test_six_real_tags_by_a_kit_file(tmp_path, charuco_photos):
    kit_path = tmp_path / "kit.toml"
    kit_path.write_text(SINGLES)
    photo = read_photo(charuco_photos / "singlemarkersoriginal.jpg")
    sighting, _ = detect_photo(photo, read_kit(kit_path))
    assert sorted(sighting.tags) == [23, 40, 62, 98, 124, 203]
    measured = measure_photos([charuco_photos / "singlemarkersoriginal.jpg"], quiet, PhotoOptions(kit_path))
    assert len(measured.states[0].scene.markers) == 6


def test_without_the_kit_file_they_are_not_ours(charuco_photos):
    from photoangle.core.kit import default_kit

    photo = read_photo(charuco_photos / "singlemarkersoriginal.jpg")
    sighting, _ = detect_photo(photo, default_kit())
    assert not sighting.tags and sighting.card is None
