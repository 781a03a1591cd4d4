"""What is printed on markers and card, as exact patterns in the print's own millimetres.

A marker's own frame: origin at the tag's centre, x right, y down.  The card's: origin at
the board's top-left outer corner.  Words, crosses and lines come from small rasters.
"""
import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
COLUMNS, ROWS, SQUARE_MM, MARKER_MM = 9, 6, 28.0, 20.0
MARGIN_CELLS = 1.25
WORDS_MM = 6.5
CARD_PAPER_MM = (-22.0, -18.0, 275.0, 192.0)     # x0, y0, x1, y1: an A4 sheet round the board


def tag_cells(tag_id):
    """8 x 8 floats, 1 for paper and 0 for ink, black border included."""
    return (DICTIONARY.generateImageMarker(int(tag_id), 8, borderBits=1) > 127).astype(np.float32)


def card_board():
    """The printed board in OpenCV's terms."""
    return cv2.aruco.CharucoBoard((COLUMNS, ROWS), SQUARE_MM, MARKER_MM, DICTIONARY)


def card_saddles():
    """The 40 inner corners (40, 3), card frame, mm, flat."""
    return np.asarray(card_board().getChessboardCorners(), float)


def card_squares():
    """(ROWS, COLUMNS) ints: the marker in each square, -1 for a black square."""
    out = np.full((ROWS, COLUMNS), -1)
    board = card_board()
    for tag_id, corners in zip(np.ravel(board.getIds()), board.getObjPoints(), strict=False):
        x, y = corners[:, 0].mean(), corners[:, 1].mean()
        out[int(y // SQUARE_MM), int(x // SQUARE_MM)] = tag_id
    return out


def paper_of(marker):
    """The cut-out's edges x0, y0, x1, y1 in the marker's frame, mm."""
    h = marker.size_mm / 2 + MARGIN_CELLS * marker.size_mm / 8 + 0.4
    low = 45.0 + 10.0 if marker.cross else h + (0 if marker.size_mm < 20 else WORDS_MM)
    return -h, -h, h, low


class Raster:
    """Ink drawn by hand: value (h, w) with 1 paper, 0 ink, px_per_mm, and its top-left corner in mm."""

    def __init__(self, box_mm, px_per_mm):
        self.x0, self.y0 = box_mm[0], box_mm[1]
        self.scale = px_per_mm
        w, h = (int(np.ceil((box_mm[k + 2] - box_mm[k]) * px_per_mm)) + 1 for k in (0, 1))
        self.image = Image.new("L", (w, h), 255)
        self.pen = ImageDraw.Draw(self.image)

    def at(self, x, y):
        return (x - self.x0) * self.scale, (y - self.y0) * self.scale

    def line(self, a, b, width_mm):
        self.pen.line([self.at(*a), self.at(*b)], fill=20, width=max(1, round(width_mm * self.scale)))

    def words(self, text, x, y, height_mm):
        font = ImageFont.load_default(height_mm * self.scale)
        self.pen.text(self.at(x, y), text, fill=20, font=font, anchor="mm")

    @property
    def value(self):
        return np.asarray(self.image, np.float32) / 255


def marker_raster(marker):
    """Role words under the tag, the id, and a plate's cross and arrow."""
    r = Raster(paper_of(marker), 9)
    h = marker.size_mm / 2 + MARGIN_CELLS * marker.size_mm / 8
    if marker.cross:
        r.line((-8, 45), (8, 45), 0.4)
        r.line((0, 37), (0, 53), 0.4)
        r.line((0, h + 5.0), (0, 35), 0.5)
        r.line((0, 35), (-1.6, 32), 0.5)
        r.line((0, 35), (1.6, 32), 0.5)
        r.words(f"{marker.id} {marker.role}", 0, h + 1.6, 3.6)
    elif marker.size_mm > 20:
        r.words(f"{marker.id} {marker.role}", 0, h + 2.0, 3.8)
    return r


def card_raster():
    """The print-check lines and words round the board."""
    r = Raster(CARD_PAPER_MM, 6)
    r.line((26, 178), (226, 178), 0.35)
    r.line((262, 9), (262, 159), 0.35)
    for x in (26, 226):
        r.line((x, 175), (x, 181), 0.35)
    for y in (9, 159):
        r.line((259, y), (265, y), 0.35)
    r.words("200.0 mm", 126, 183.5, 4)
    r.words("Photoangle card: glue flat on a stiff board, print at 100 %", 126, -9, 4)
    r.words("150", 268.5, 84, 4)
    return r
