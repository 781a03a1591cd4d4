"""A photo to draw on: upright, reduced, points given in the sensor's pixels."""

from __future__ import annotations

import itertools

import numpy as np

from calib.images.photo import read_upright, turn_points, turn_upright
from calib.sheets.palette import BLACK, WHITE
from photoangle.output.drawn.labels import Labels, leader


class Canvas:
    """A picture in the sensor's frame, drawn on upright.  change(pixels, scale) may alter it first."""

    def __init__(self, path, most_px, change=None):
        from PIL import Image, ImageDraw

        pixels, self.scale, self.orientation = read_upright(path, most_px)
        if change is not None:
            pixels = change(pixels, self.scale)
        self.size = pixels.shape[1], pixels.shape[0]
        upright = turn_upright(pixels, self.orientation)
        self.picture = Image.fromarray(np.ascontiguousarray(upright[..., ::-1]))
        self.draw = ImageDraw.Draw(self.picture)
        self.unit = max(self.picture.size) / 1000

    def at(self, points):
        p = (np.atleast_2d(points) + 0.5) * self.scale - 0.5
        return turn_points(p, *self.size, self.orientation)

    def close_up(self, points, wide_px):
        """Cut the picture to what surrounds points (n, 2), at most ``wide_px`` wide or high.

        Returns (top left corner of the cut (2,), factor): a point p of before is now at (p - corner) *
        factor.
        """
        from PIL import Image, ImageDraw

        size = np.array(self.picture.size)
        points = np.clip(points, 0, size - 1)
        low, high = points.min(0), points.max(0)
        reach = np.maximum((high - low).max() * 0.9, 0.12 * size.max()) * np.array([1.0, 0.6])
        low, high = np.maximum(low - reach, 0).astype(int), np.minimum(high + reach, size).astype(int)
        cut = self.picture.crop((*low, *high))
        factor = min(2.0, wide_px / max(cut.size))
        self.picture = cut.resize([max(1, round(v * factor)) for v in cut.size], Image.Resampling.LANCZOS)
        self.draw = ImageDraw.Draw(self.picture)
        self.unit = max(self.picture.size) / 1000
        return low, factor

    def font(self, size):
        from PIL import ImageFont

        return ImageFont.load_default(size * self.unit)

    def line(self, a, b, colour, width=3.0, dashes=0):
        a, b = np.asarray(a), np.asarray(b)
        pieces = [(a, b)]
        if dashes:
            t = np.linspace(0, 1, 2 * dashes)
            pieces = [(a + (b - a) * t[k], a + (b - a) * t[k + 1]) for k in range(0, 2 * dashes - 1, 2)]
        for extra, c in ((2.0, BLACK), (0.0, colour)):
            for p, q in pieces:
                self.draw.line([tuple(p), tuple(q)], fill=c, width=max(1, round((width + extra) * self.unit)))

    def plate(self, text, colour, size, labels, around, pointed=True):
        """A label, white on a dark plate with an edge of ``colour``, beside the box ``around``, where
        ``labels`` has room, with a leader to it where it could not stand close.  Returns its box."""
        font = self.font(size)
        box = self.draw.textbbox((0, 0), text, font=font)
        room = 4 * self.unit
        x0, y0, x1, y1 = labels.place(around, box[2] - box[0] + 2 * room, box[3] - box[1] + 2 * room)
        if pointed:
            a, b = leader((x0, y0, x1, y1), around)
            if np.hypot(*(b - a)) > 6 * self.unit:
                self.line(a, b, colour, 1.5)
        self.draw.rectangle([x0, y0, x1, y1], fill=(20, 20, 20), outline=colour,
                            width=max(1, round(0.12 * size * self.unit)))
        self.draw.text((x0 + room - box[0], y0 + room - box[1]), text, fill=WHITE, font=font)
        return x0, y0, x1, y1

    def arc(self, apex, start, end, colour, width=3.0):
        """The angle between the lines from ``apex`` to two points, as an arc near their ends."""
        a, b = np.asarray(start) - apex, np.asarray(end) - apex
        radius = 0.75 * min(np.hypot(*a), np.hypot(*b))
        first, turn = np.arctan2(a[1], a[0]), np.arctan2(b[1], b[0])
        turn = (turn - first + np.pi) % (2 * np.pi) - np.pi
        steps = first + np.linspace(0, turn, 16)
        points = apex + radius * np.c_[np.cos(steps), np.sin(steps)]
        for p, q in itertools.pairwise(points):
            self.line(p, q, colour, width)

    def dot(self, at, radius, fill, outline=BLACK):
        r = radius * self.unit
        self.draw.ellipse([at[0] - r, at[1] - r, at[0] + r, at[1] + r], fill=fill, outline=outline,
                          width=max(1, round(1.5 * self.unit)))

    def labels(self):
        """Labels for this picture."""
        return Labels(self.picture.size)
