"""The card as a picture for a screen, pixel by pixel: a tablet is flatter than any paper, for lens photos."""

from __future__ import annotations

import cv2
import numpy as np

from calib.kit import CardSpec

# Cells of a tag across, its one-cell border included, and how a square is to a tag on the card: only squares
# of whole cells come out sharp.
_CELLS = 8


class TooSmall(ValueError):
    """A screen that the card does not fit on at a pixel or more for each cell."""


def screen_card(card: CardSpec, width_px: int, height_px: int) -> tuple[np.ndarray, int]:
    """The card in the middle of a white screen.

    Returns (picture (H, W) uint8, the side of a square, px).  Every edge lies between two pixels.  Raises
    TooSmall.
    """
    most = min(width_px // card.columns, height_px // card.rows)
    # a tag of c pixels a cell is 8 c wide, and its square that by the card's own proportion
    fits = [(c, c * _CELLS * card.square_mm / card.tag_mm) for c in range(1, most // _CELLS + 1)]
    whole = [(c, round(square)) for c, square in fits
             if square <= most and abs(square - round(square)) < 1e-9]
    if not whole:
        raise TooSmall(f"{width_px} x {height_px}")
    _, square = whole[-1]
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.family))
    board = cv2.aruco.CharucoBoard((card.columns, card.rows), card.square_mm, card.tag_mm, dictionary,
                                   np.array(card.tag_ids))
    board.setLegacyPattern(card.legacy)
    drawn = board.generateImage((card.columns * square, card.rows * square))
    out = np.full((height_px, width_px), 255, np.uint8)
    top, left = (height_px - drawn.shape[0]) // 2, (width_px - drawn.shape[1]) // 2
    out[top:top + drawn.shape[0], left:left + drawn.shape[1]] = drawn
    return out, square
