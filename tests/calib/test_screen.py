"""The card as pixels: its corners where the arithmetic has them, found and read as the printed one."""

import numpy as np
import pytest

from calib.images.photo import CameraIdentity, Photo
from calib.kit import CardSpec, card_saddles_mm
from calib.sheets.screen import TooSmall, screen_card
from photoangle.detection.detect_photo import detect_photo
from tests.scenes import KIT


@pytest.mark.parametrize("width, height", [(2732, 2048), (1920, 1200), (1280, 800)])
def test_the_cards_corners_lie_between_whole_pixels(width, height):
    card = CardSpec()
    picture, square = screen_card(card, width, height)
    assert picture.shape == (height, width) and square * card.tag_mm / card.square_mm % 8 == 0
    photo = Photo("screen", picture, 1, CameraIdentity("", "", "", None, None, 1.0, width, height), "")
    seen = detect_photo(photo, KIT)[0].card
    assert len(seen.index) == len(card_saddles_mm(card))
    left, top = (width - card.columns * square) // 2, (height - card.rows * square) // 2
    # OpenCV's pixels: an edge between two of them lies at a half
    wanted = card_saddles_mm(card)[seen.index, :2] / card.square_mm * square + [left - 0.5, top - 0.5]
    assert np.abs(seen.pixels - wanted).max() < 0.02  # px


def test_a_screen_that_is_too_small():
    with pytest.raises(TooSmall):
        screen_card(CardSpec(), 300, 200)
