"""A small flat patch about a place in one photo, carried into another for a supposed depth and slope.

A patch of the plane through X with normal n is seen by the ray o + s d of each of its pixels at
s = n.(X - o) / n.d (a ray and a plane); where another camera shows those places is the warp.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np

from photoangle.detection.pointing.view import View, sampled

# The grid that a patch is compared on, and how wide the weight is that falls off from its middle.
_ACROSS, _FALLS_OFF = 21, 0.55


@dataclass(frozen=True, eq=False)
class Patch:
    """A patch in its photo: view; at (2,) px, its middle; half_px: half its width; grid: pixels across."""

    view: View
    at: np.ndarray
    half_px: float
    grid: int = _ACROSS
    _pictures: dict = field(default_factory=dict)

    @cached_property
    def pixels(self):
        """(n, 2) px, a square grid about the middle, even where the step is no whole pixel."""
        line = np.linspace(-self.half_px, self.half_px, self.grid)
        x, y = np.meshgrid(line, line)
        return self.at + np.stack([x.ravel(), y.ravel()], 1)

    @property
    def step_px(self):
        """From one of its pixels to the next."""
        return 2 * self.half_px / (self.grid - 1)

    @cached_property
    def weights(self):
        """(n,) of sum one: the middle counts most, the same on all sides, so that a slope that is not quite
        right does not move the place."""
        r = np.linalg.norm((self.pixels - self.at) / self.half_px, axis=1)
        w = np.exp(-r**2 / 2 / _FALLS_OFF**2) * (r <= 1.0)
        return w / w.sum()

    @cached_property
    def rays(self):
        return self.view.rays(self.pixels)

    @cached_property
    def middle_ray(self):
        """Of depth one along the camera's axis, world frame (3,)."""
        return self.view.rays(self.at[None])[0]

    def place(self, depth_mm):
        """Where the middle lies for depths (...), (..., 3) world frame."""
        return self.view.origin_mm + np.asarray(depth_mm)[..., None] * self.middle_ray

    def warp(self, other, places_mm, normals):
        """Where another View shows the patch.

        Parameters: other; places_mm (h, 3) of its middle; normals (h, 3) of its plane.
        Returns (h, n, 2) px, NaN where the plane is seen from behind or on edge.
        """
        origin = self.view.origin_mm
        height = ((places_mm - origin) * normals).sum(1)
        steep = normals @ self.rays.T
        with np.errstate(divide="ignore", invalid="ignore"):
            s = height[:, None] / steep
        s = np.where((s > 0) & (np.abs(steep) > 0.12 * np.linalg.norm(self.rays, axis=1)), s, np.nan)
        places = origin + s[..., None] * self.rays
        return other.pixels(places.reshape(-1, 3)).reshape(*s.shape, 2)

    def softened(self, view, more_px=0.0):
        """A view's picture, float32, blurred as far as the grid's step asks and more_px beside."""
        sigma = float(np.hypot(0.45 * max(self.step_px, 0.8), more_px))
        key = (view.name, round(sigma, 2))
        if key not in self._pictures:
            self._pictures[key] = cv2.GaussianBlur(view.grey.astype(np.float32), (0, 0), sigma)
        return self._pictures[key]

    def seen(self, more_px=0.0):
        """(n,) its own values."""
        return sampled(self.softened(self.view, more_px), self.pixels)

    def likeness(self, other, places_mm, normals, more_px=(0.0, 0.0)):
        """Weighted normalised cross-correlation with what another view shows, (h,); NaN where it lies out of
        the picture.  more_px: blur of the own and of the other picture beside."""
        at = self.warp(other, places_mm, normals)
        held = other.inside(at).all(1)
        out = np.full(len(places_mm), np.nan)
        if held.any():
            out[held] = correlation(self.seen(more_px[0]),
                                    sampled(self.softened(other, more_px[1]), at[held]), self.weights)
        return out

    def detail(self, other, more_px=0.0):
        """Correlation of its own with other values (n,) when what is coarser than a third of it is taken off
        both: one edge alone, such as a card's, looks like any other, and its detail does not."""
        size = 2 * (self.grid // 6) + 1
        fine = [(v - cv2.blur(v, (size, size), borderType=cv2.BORDER_REFLECT)).ravel()
                for v in (self.seen(more_px).reshape(self.grid, -1), other.reshape(self.grid, -1))]
        return float(correlation(fine[0], fine[1][None], self.weights)[0])


def correlation(one, others, weights):
    """Weighted normalised cross-correlation of (n,) with (h, n)."""
    a = one - weights @ one
    b = others - (others @ weights)[:, None]
    power = (weights * a * a).sum() * (b * b) @ weights
    return (b * (weights * a)).sum(1) / np.sqrt(np.maximum(power, 1e-6))
