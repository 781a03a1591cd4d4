"""Real stereo photos: rows against columns of a printed board, triangulated with a calibration from other pairs."""

from __future__ import annotations

import cv2
import numpy as np

from calib.calibrate import View, calibrate
from calib.lens import project, unproject
from calib.poses import Pose, rotation_from_vector, vector_from_rotation
from photoangle.saddles import fit_crossings
from tests.conftest import SHARED

BOARD = np.array([[30 * x, 30 * y, 0] for y in range(6) for x in range(9)], float)
PLAIN = np.zeros(5)


def read_pairs(folder, fine=True):
    """Corners of every pair: list of (left (54, 2), right (54, 2), covariances (54, 2, 2) each)."""
    pairs = []
    for path in sorted(folder.glob("left*.jpg")):
        both = []
        for name in (path.name, path.name.replace("left", "right")):
            grey = cv2.imread(str(folder / name), 0)
            found, corners = cv2.findChessboardCorners(grey, (9, 6))
            if not found:
                break
            corners = cv2.cornerSubPix(grey, corners, (5, 5), (-1, -1), (3, 60, 1e-4)).reshape(-1, 2).astype(float)
            covariance = np.tile(np.eye(2) * 0.04, (54, 1, 1))
            if fine:
                grid = corners.reshape(6, 9, 2)
                along, down = np.gradient(grid, axis=1), np.gradient(grid, axis=0)
                angles = np.stack([np.arctan2(d[..., 1], d[..., 0]) for d in (along, down)], -1).reshape(-1, 2)
                reach = int(np.clip(0.32 * np.linalg.norm(along, axis=-1).min(), 4, 9))
                corners, covariance, _ = fit_crossings(grey, corners, angles, reach)
                covariance = covariance + 0.05**2 * np.eye(2)
            both.append((corners, covariance))
        if len(both) == 2:
            pairs.append(both)
    return pairs


def rig(pairs):
    """Two lenses and right_from_left from pairs, refined together."""
    from scipy.optimize import least_squares

    found = [calibrate([View(str(k), BOARD, *p[side]) for k, p in enumerate(pairs)], 640, 480, None, (270.0, 180.0), PLAIN,
                       models=((False, False),), noise_known=False, brown_sigma=np.array([0.5, 1.5, 0.01, 0.01, 0]),
                       centre_sigma=0.5) for side in (0, 1)]
    relative = [r @ left.inverse() for left, r in zip(found[0].poses, found[1].poses)]
    start = np.r_[found[0].lens[:8], found[1].lens[:8],
                  np.median([vector_from_rotation(p.rotation) for p in relative], 0),
                  np.median([p.translation_mm for p in relative], 0),
                  np.concatenate([np.r_[vector_from_rotation(p.rotation), p.translation_mm] for p in found[0].poses])]
    scale = np.r_[np.tile([1, 1e-3, 1, 1, 0.01, 0.02, 1e-3, 1e-3], 2), np.full(3, 1e-3), np.full(3, 0.3),
                  np.tile(np.r_[np.full(3, 1e-3), np.full(3, 0.5)], len(pairs))]

    def unpack(x):
        lenses = [np.r_[x[:8], 0], np.r_[x[8:16], 0]]
        return lenses, Pose(rotation_from_vector(x[16:19]), x[19:22]), x[22:].reshape(-1, 6)

    def residual(z):
        lenses, right, poses = unpack(start + z * scale)
        out = []
        for pair, p in zip(pairs, poses):
            left = Pose(rotation_from_vector(p[:3]), p[3:])
            for side, pose in ((0, left), (1, right @ left)):
                out.append((project(pose.apply(BOARD), lenses[side]) - pair[side][0]).ravel())
        return np.concatenate(out) / 0.15

    best = least_squares(residual, np.zeros(len(start)), loss="soft_l1")
    lenses, right, _ = unpack(start + best.x * scale)
    return lenses, right


def triangulate(pair, lenses, right):
    """Points (54, 3) in the left camera's frame, by least squares of the reprojection."""
    rays = [np.c_[unproject(pair[side][0], lenses[side]), np.ones(54)] for side in (0, 1)]
    origin = right.inverse().translation_mm
    second = rays[1] @ right.rotation
    out = np.zeros((54, 3))
    for k in range(54):
        a = np.stack([rays[0][k], -second[k]], 1)
        s = np.linalg.lstsq(a, origin, rcond=None)[0]
        x = (rays[0][k] * s[0] + origin + second[k] * s[1]) / 2
        for _ in range(4):
            rows, miss = [], []
            for side, pose in ((0, Pose.identity()), (1, right)):
                at = pose.apply(x[None])
                h = 1e-3
                j = np.stack([(project(pose.apply((x + d)[None]), lenses[side])
                               - project(pose.apply((x - d)[None]), lenses[side]))[0] / (2 * h)
                              for d in np.eye(3) * h], 1)
                rows.append(j)
                miss.append(pair[side][0][k] - project(at, lenses[side])[0])
            x = x + np.linalg.lstsq(np.concatenate(rows), np.concatenate(miss), rcond=None)[0]
        out[k] = x
    return out


def line_angles(points):
    """Angles (54,) deg between every row and every column of a board of points (54, 3)."""
    grid = points.reshape(6, 9, 3)

    def direction(p):
        return np.linalg.svd(p - p.mean(0))[2][0]

    rows, columns = [direction(r) for r in grid], [direction(grid[:, c]) for c in range(9)]
    return np.array([np.degrees(np.arccos(min(abs(r @ c), 1))) for r in rows for c in columns])


def angle_rms(folder, fine=True):
    """RMS over all held-out lines of their difference from 90 deg, two-fold, and how many lines."""
    pairs = read_pairs(folder, fine)
    errors = []
    for fold in (0, 1):
        lenses, right = rig([p for k, p in enumerate(pairs) if k % 2 != fold])
        for k, pair in enumerate(pairs):
            if k % 2 == fold:
                errors.append(90 - line_angles(triangulate(pair, lenses, right)))
    return float(np.sqrt(np.mean(np.square(errors)))), np.size(errors)


def run():
    """Print the table."""
    folder = SHARED / "stereo_photos"
    if not folder.is_dir():
        print(f"outside photos not there: {folder}")
        return
    for title, fine in (("ours (crossings)", True), ("OpenCV's cornerSubPix, same solver", False)):
        rms, count = angle_rms(folder, fine)
        print(f"{title:36s} rows against columns: {rms:.3f} deg RMS from 90 over {count} lines")
