"""Short codes among letters and other print: none invented, none lost."""

import cv2
import numpy as np
import pytest

from calib.images.photo import CameraIdentity, Photo
from calib.kit import FAMILIES
from photoangle.core.kit import read_kit
from photoangle.detection.codes import chance, is_short, most_wrong_bits
from photoangle.detection.detect_photo import detect_photo
from tests.detection.clutter import HEIGHT, WIDTH, cluttered

SHORT = "DICT_4X4_50"


def kit_of(path, family):
    path.write_text(f'family = "{family}"\nany_id = true\nsize = "50 mm"\n')
    return read_kit(path)


def seen_in(grey, kit):
    return detect_photo(Photo("p", grey, 1, CameraIdentity(width_px=WIDTH, height_px=HEIGHT), ""), kit)


def opencv_ids(grey, family):
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    _, ids, _ = cv2.aruco.ArucoDetector(book, cv2.aruco.DetectorParameters()).detectMarkers(grey)
    return [] if ids is None else np.ravel(ids).tolist()


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_wrong_bits_stay_within_what_the_codes_stand_apart_for(family):
    """OpenCV states how many bits each dictionary can put right: (distance - 1) // 2."""
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    assert most_wrong_bits(family) <= min(2, book.maxCorrectionBits)
    assert most_wrong_bits(family) == 0 or chance(family, most_wrong_bits(family)) < 0.01


def test_the_kits_own_family_is_long():
    assert most_wrong_bits("DICT_APRILTAG_36h11") == 2 and not is_short("DICT_APRILTAG_36h11")
    assert is_short(SHORT) and most_wrong_bits(SHORT) == 0
    assert chance(SHORT) == 200 / 2**16


def test_among_print_every_tag_is_found_and_hardly_a_letter_is_one(tmp_path):
    """Blocks that are valid codes are drawn among it: no detector can tell them; OpenCV's is the measure."""
    kit, ours, theirs = kit_of(tmp_path / "kit.toml", SHORT), 0, 0
    for seed in range(2):
        rng = np.random.default_rng(seed)
        tags = list(zip(rng.choice(30, 6, replace=False).tolist(), (36, 60, 90, 130, 200, 350), strict=True))
        grey, true = cluttered(rng, SHORT, tags)
        sighting, findings = seen_in(grey, kit)
        for tag_id, corners in true.items():
            assert np.abs(sighting.tags[tag_id].corners_px - corners).max() < 1.0
        ours += len(sighting.tags) - len(true)
        theirs += len(opencv_ids(grey, SHORT)) - len(true)
        assert not any("seen" in f.what or "printed" in f.what for f in findings)
    assert ours <= max(theirs, 1)


def test_among_print_no_letter_is_a_tag_of_the_kits_own_family(tmp_path):
    grey, _ = cluttered(np.random.default_rng(3), "DICT_APRILTAG_36h11")
    sighting, findings = seen_in(grey, kit_of(tmp_path / "kit.toml", "DICT_APRILTAG_36h11"))
    assert not sighting.tags and not sighting.found and not findings


def two_alike(sides):
    """A picture of one tag twice, of two sizes, and the corners of the first."""
    page = np.full((HEIGHT, WIDTH), 210, np.uint8)
    tag = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, SHORT))
    at = [(200, 300), (200, 1000)]
    for (y, x), side in zip(at, sides, strict=True):
        page[y:y + side, x:x + side] = np.maximum(tag.generateImageMarker(7, side), 20)
    a = sides[0]
    return cv2.GaussianBlur(page, (0, 0), 0.8), np.array([[0, 0], [a, 0], [a, a], [0, a]]) - 0.5 + [300, 200]


def test_a_speck_that_reads_alike_does_not_lose_the_tag(tmp_path):
    kit = kit_of(tmp_path / "kit.toml", SHORT)
    grey, corners = two_alike((396, 24))
    sighting, findings = seen_in(grey, kit)
    assert np.abs(sighting.tags[7].corners_px - corners).max() < 0.1 and not findings
    sighting, findings = seen_in(two_alike((396, 198))[0], kit)
    assert 7 not in sighting.tags and "seen 2 times" in findings[0].what
