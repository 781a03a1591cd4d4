"""Sheets of tags with captions, among printed text and other dark shapes, as a phone sees them."""

from __future__ import annotations

from pathlib import Path

import cv2
import matplotlib
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from tests.scenes import Camera, develop

WIDTH, HEIGHT = 1600, 1200
_FONTS = [Path(matplotlib.get_data_path()) / "fonts" / "ttf" / f"{name}.ttf"
          for name in ("DejaVuSans", "DejaVuSans-Bold", "DejaVuSerif-Bold", "DejaVuSansMono")]
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789#%&@[]=+"


def cluttered(rng, family, tags=(), camera=None):
    """A picture (HEIGHT, WIDTH) uint8 with words, tables, bars and dark blocks, and some tags.

    tags: (id, side px) to lay in a row along the top, each with a caption.  Returns (picture, id -> corners (4, 2) px).
    """
    sheet = Image.new("L", (WIDTH, HEIGHT), 255)
    draw = ImageDraw.Draw(sheet)
    words = ["".join(rng.choice(list(_LETTERS), rng.integers(1, 9))) for _ in range(400)]
    top = max((side for _, side in tags), default=0) + 130
    y = top
    while y < HEIGHT - 40:
        size, x = int(rng.choice([14, 18, 24, 32, 48, 80])), 20
        font = ImageFont.truetype(str(rng.choice(_FONTS)), size)
        while x < WIDTH - 60:
            word = str(rng.choice(words))
            if rng.random() < 0.1:  # light on dark
                box = draw.textbbox((x, y), word, font)
                draw.rectangle((box[0] - 6, box[1] - 6, box[2] + 6, box[3] + 6), fill=0)
                draw.text((x, y), word, 255, font)
            else:
                draw.text((x, y), word, int(rng.choice([0, 60])), font)
            x += int(draw.textlength(word, font)) + size
        y += int(1.5 * size)
    for _ in range(60):  # keys of a keyboard, windows, bars
        x, y, w = rng.integers(20, WIDTH - 120), rng.integers(top, HEIGHT - 100), int(rng.integers(10, 60))
        h = int(w * rng.uniform(0.7, 1.4))
        draw.rectangle((x - 5, y - 5, x + w + 5, y + h + 5), fill=255)
        draw.rectangle((x, y, x + w, y + h), fill=int(rng.choice([0, 40])))
        for _ in range(rng.integers(0, 5)):
            a, b = rng.uniform(0.1, 0.8, 2)
            s = rng.uniform(0.1, 0.3, 2)
            draw.rectangle((x + a * w, y + b * h, x + min(a + s[0], 0.9) * w, y + min(b + s[1], 0.9) * h), fill=255)
    corners = _laid(sheet, family, tags)
    page = np.array(sheet).astype(np.float32) / 255
    turn = np.float32([[0, 0], [WIDTH, 0], [WIDTH, HEIGHT], [0, HEIGHT]])
    seen = turn + rng.uniform(-60, 60, (4, 2)).astype(np.float32)
    h = cv2.getPerspectiveTransform(turn, seen)
    page = cv2.warpPerspective(page, h, (WIDTH, HEIGHT), flags=cv2.INTER_AREA, borderValue=0.3)
    grey = develop(0.05 + 0.75 * page, camera or Camera("phone", noise=0.008), rng)
    return grey, {i: cv2.perspectiveTransform(q[None].astype(np.float32), h)[0] for i, q in corners.items()}


def _laid(sheet, family, tags):
    book, corners, x = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family)), {}, 90
    font = ImageFont.truetype(str(_FONTS[0]), 30)
    for tag_id, side in tags:
        sheet.paste(Image.fromarray(book.generateImageMarker(tag_id, side)), (x, 60))
        corners[tag_id] = np.array([[0, 0], [side, 0], [side, side], [0, side]]) - 0.5 + [x, 60]
        ImageDraw.Draw(sheet).text((x, 60 + side + 25), f"id {tag_id}", 0, font)
        x += side + 90
    return corners
