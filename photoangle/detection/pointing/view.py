"""One photo of a solved scene, as the pointing sees it: its picture, its camera and its lens."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calib.lens import project, unproject
from calib.poses import Pose


@dataclass(frozen=True, eq=False)
class View:
    """name; grey (H, W) uint8 in the sensor's frame; camera: camera_from_world; lens: parameters as they
    stood for this photo."""

    name: str
    grey: np.ndarray
    camera: Pose
    lens: np.ndarray

    @property
    def origin_mm(self):
        """Where the lens stood (3,), world frame."""
        return -self.camera.rotation.T @ self.camera.translation_mm

    def rays(self, pixels):
        """Directions (n, 3) of pixels (n, 2), world frame, of depth one along the camera's axis."""
        return np.c_[unproject(pixels, self.lens), np.ones(len(pixels))] @ self.camera.rotation

    def pixels(self, places_mm):
        """Where the photo shows places (n, 3) of the world, (n, 2) px; NaN behind the lens."""
        return project(self.camera.apply(places_mm), self.lens)

    def depth_mm(self, place_mm):
        """How far in front of the lens a place (3,) lies, along the camera's axis."""
        return float(self.camera.apply(place_mm[None])[0, 2])

    def inside(self, pixels, margin=2.0):
        """(n,) whether pixels lie in the picture, a margin in px from its edge."""
        height, width = self.grey.shape
        with np.errstate(invalid="ignore"):
            return ((pixels >= margin) & (pixels <= [width - 1 - margin, height - 1 - margin])).all(-1)


def sampled(picture, pixels):
    """Values of a float32 picture at pixels (..., 2), by cubic interpolation; whatever lies outside counts as
    the edge."""
    at = np.nan_to_num(pixels, nan=-1e4).astype(np.float32)
    flat = at.reshape(-1, 1, 2)
    out = np.empty(len(flat), np.float32)
    for start in range(0, len(flat), 30_000):  # a row of remap holds less than 32767 values
        part = flat[start:start + 30_000]
        out[start:start + 30_000] = cv2.remap(picture, part, None, cv2.INTER_CUBIC,
                                              borderMode=cv2.BORDER_REPLICATE)[:, 0]
    return out.reshape(at.shape[:-1])
