"""The phone's lens: pinhole with Brown's distortion (OpenCV's k1 k2 p1 p2 k3), exactly inverted.

Pixels: an integer coordinate is a pixel's centre, in stored (unrotated) pixels.
Camera frame: x right, y down, z forward, mm.
"""
from dataclasses import dataclass

import numpy as np

from ..mechanics.rigid import unit

WIDTH_PX, HEIGHT_PX = 3400, 2550
FOCAL_PX = 0.77 * WIDTH_PX
PRINCIPAL_PX = (1710.8, 1265.9)
DISTORTION = (0.083, -0.224, 0.00041, -0.00036, 0.151)


@dataclass(frozen=True)
class Camera:
    """One photo's camera: K (3, 3), distortion (5,), world -> camera R (3, 3) and t (3,)."""
    K: np.ndarray
    R: np.ndarray
    t: np.ndarray
    distortion: tuple = DISTORTION

    @property
    def place(self):
        """The lens's place in the world, mm."""
        return -self.R.T @ self.t

    def project(self, points):
        """World points (..., 3) -> pixels (..., 2); behind the camera gives nan."""
        c = np.asarray(points, float) @ self.R.T + self.t
        z = np.where(c[..., 2] > 1, c[..., 2], np.nan)
        x, y = distort(c[..., 0] / z, c[..., 1] / z, self.distortion)
        return np.stack([self.K[0, 0] * x + self.K[0, 2], self.K[1, 1] * y + self.K[1, 2]], -1)


def distort(x, y, d):
    """Ideal image-plane coordinates to distorted ones; arrays of any kind that do arithmetic."""
    k1, k2, p1, p2, k3 = d
    r2 = x * x + y * y
    g = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return (x * g + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
            y * g + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y)


def undistort(xd, yd, d, rounds=14):
    """The exact inverse of distort by repeated substitution (to about 1e-10 over this lens's field)."""
    k1, k2, p1, p2, k3 = d
    x, y = xd, yd
    for _ in range(rounds):
        r2 = x * x + y * y
        g = 1 / (1 + r2 * (k1 + r2 * (k2 + r2 * k3)))
        dx = 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
        dy = p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
        x, y = (xd - dx) * g, (yd - dy) * g
    return x, y


def camera_at(place, target, roll_deg, portrait, rng):
    """A camera at place looking at target (world, mm), with this photo's own focus and shift.

    portrait: the phone is held upright and its sensor lies on its side (EXIF Orientation 6).
    """
    z = unit(np.asarray(target, float) - place)
    x = unit(np.cross(z, (0, 0, 1.0)))
    y = np.cross(z, x)
    a = np.radians(roll_deg)
    x, y = np.cos(a) * x + np.sin(a) * y, np.cos(a) * y - np.sin(a) * x
    R = np.stack([y, -x, z] if portrait else [x, y, z])
    f = FOCAL_PX * (1 + rng.normal(0, 0.001))
    cx, cy = np.array(PRINCIPAL_PX) + rng.normal(0, 3.0, 2)
    K = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
    return Camera(K, R, -R @ np.asarray(place, float))
