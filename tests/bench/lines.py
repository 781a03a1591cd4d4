"""Real stereo photos: rows against columns of a printed board, triangulated with a calibration from other
pairs."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calib.calibrate import View, calibrate
from calib.lens import project, unproject
from calib.poses import Pose, rotation_from_vector, vector_from_rotation
from photoangle.detection.saddles import fit_crossings
from tests.conftest import photos_from_outside

BOARD = np.array([[30 * x, 30 * y, 0] for y in range(6) for x in range(9)], float)
PLAIN = np.zeros(5)


def read_pairs(folder, fine=True):
    """Corners of every pair: list of (left (54, 2), right (54, 2), covariances (54, 2, 2) each)."""
    pairs = []
    for path in sorted(folder.glob("left[0-9][0-9].jpg")):
        both = []
        for name in (path.name, path.name.replace("left", "right")):
            grey = cv2.imread(str(folder / name), 0)
            found, corners = cv2.findChessboardCorners(grey, (9, 6))
            if not found:
                break
            corners = cv2.cornerSubPix(grey, corners, (5, 5), (-1, -1),
                                       (3, 60, 1e-4)).reshape(-1, 2).astype(float)
            covariance = np.tile(np.eye(2) * 0.04, (54, 1, 1))
            if fine:
                grid = corners.reshape(6, 9, 2)
                along, down = np.gradient(grid, axis=1), np.gradient(grid, axis=0)
                angles = np.stack([np.arctan2(d[..., 1], d[..., 0]) for d in (along, down)],
                                  -1).reshape(-1, 2)
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

    found = [
        calibrate([View(str(k), BOARD, *p[side]) for k, p in enumerate(pairs)],
                  640,
                  480,
                  None, (270.0, 180.0),
                  PLAIN,
                  models=((False, False),),
                  noise_known=False,
                  brown_sigma=np.array([0.5, 1.5, 0.01, 0.01, 0]),
                  centre_sigma=0.5) for side in (0, 1)
    ]
    relative = [r @ left.inverse() for left, r in zip(found[0].poses, found[1].poses, strict=False)]
    start = np.r_[
        found[0].lens[:8], found[1].lens[:8],
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
        for pair, p in zip(pairs, poses, strict=False):
            left = Pose(rotation_from_vector(p[:3]), p[3:])
            for side, pose in ((0, left), (1, right @ left)):
                out.append((project(pose.apply(BOARD), lenses[side]) - pair[side][0]).ravel())
        return np.concatenate(out) / 0.15

    best = least_squares(residual, np.zeros(len(start)), loss="soft_l1")
    # the residuals say how well corners are really known; a robust loss pays a little for it
    spread = 2 * best.cost / (len(best.fun) - len(start))
    covariance = np.linalg.inv(best.jac.T @ best.jac) * spread
    return Rig(start + best.x * scale, scale[:22], covariance[:22, :22], spread * 0.15**2)


@dataclass(frozen=True)
class Rig:
    """Two cameras: unknowns (22, then the boards' poses), steps (22,) and covariance (22, 22) in steps;
    corner_px2: variance of a corner's coordinate, by the residuals."""

    unknowns: np.ndarray
    steps: np.ndarray
    covariance: np.ndarray
    corner_px2: float

    def cameras(self, step=None):
        """Two lenses and right_from_left, perhaps a step of the unknowns away."""
        x = self.unknowns[:22] + (0 if step is None else step * self.steps)
        return [np.r_[x[:8], 0], np.r_[x[8:16], 0]], Pose(rotation_from_vector(x[16:19]), x[19:22])


def triangulate(pair, lenses, right):
    """Points (54, 3) in the left camera's frame, by least squares of the reprojection, and their covariances
    (54, 3, 3) for corners known to 1 px."""
    rays = [np.c_[unproject(pair[side][0], lenses[side]), np.ones(54)] for side in (0, 1)]
    origin = right.inverse().translation_mm
    second = rays[1] @ right.rotation
    a = np.stack([rays[0], -second], 2)
    s = (np.linalg.pinv(a) @ origin)
    x = (rays[0] * s[:, :1] + origin + second * s[:, 1:]) / 2
    for _ in range(4):
        rows, miss = [], []
        for side, pose in ((0, Pose.identity()), (1, right)):
            h = 1e-3
            rows.append(
                np.stack(
                    [(project(pose.apply(x + d), lenses[side]) - project(pose.apply(x - d), lenses[side])) /
                     (2 * h) for d in np.eye(3) * h], 2))
            miss.append(pair[side][0] - project(pose.apply(x), lenses[side]))
        j, m = np.concatenate(rows, 1), np.concatenate(miss, 1)
        x = x + (np.linalg.pinv(j) @ m[:, :, None])[:, :, 0]
    return x, np.linalg.inv(j.transpose(0, 2, 1) @ j)


def line_angles(points):
    """Angles (54,) deg between every row and every column of a board of points (54, 3)."""
    grid = points.reshape(6, 9, 3)
    rows, columns = [_direction(r) for r in grid], [_direction(grid[:, c]) for c in range(9)]
    return np.array([np.degrees(np.arccos(min(abs(r @ c), 1))) for r in rows for c in columns])


def _direction(points):
    return np.linalg.svd(points - points.mean(0))[2][0]


def line_u_deg(points, covariances, pair, rig):
    """Standard uncertainties (54,) deg of `line_angles`: the corners' part, and the cameras' by differences.

    A point's error e across a line of points at t turns it by sum(t e) / sum(t^2).
    """
    grid, spread = points.reshape(6, 9, 3), covariances.reshape(6, 9, 3, 3) * rig.corner_px2

    def turn_variance(line, c, across):
        t = (line - line.mean(0)) @ _direction(line)
        return float(np.einsum("k,i,kij,j->", (t / (t @ t)) ** 2, across, c, across))

    rows, columns = [_direction(r) for r in grid], [_direction(grid[:, c]) for c in range(9)]
    corners = [
        turn_variance(grid[r], spread[r], columns[c]) + turn_variance(grid[:, c], spread[:, c], rows[r])
        for r in range(6) for c in range(9)
    ]
    base = line_angles(points)
    slopes = np.stack([line_angles(triangulate(pair, *rig.cameras(step))[0]) - base for step in np.eye(22)])
    cameras = np.einsum("il,ij,jl->l", slopes, rig.covariance, slopes)
    return np.sqrt(np.degrees(1) ** 2 * np.array(corners) + cameras)


def held_out(folder, fine=True):
    """All held-out lines' differences from 90 deg and their standard uncertainties, two-fold."""
    pairs = read_pairs(folder, fine)
    errors, sigmas = [], []
    for fold in (0, 1):
        cameras = rig([p for k, p in enumerate(pairs) if k % 2 != fold])
        for k, pair in enumerate(pairs):
            if k % 2 == fold:
                points, covariances = triangulate(pair, *cameras.cameras())
                errors.append(90 - line_angles(points))
                sigmas.append(line_u_deg(points, covariances, pair, cameras))
    return np.concatenate(errors), np.concatenate(sigmas)


def run():
    """Print the table."""
    folder = photos_from_outside("stereo_photos")
    if folder is None:
        print("outside photos not there: apt install opencv-doc")
        return
    for title, fine in (("ours (crossings)", True), ("OpenCV's cornerSubPix, same solver", False)):
        errors, sigmas = held_out(folder, fine)
        print(
            f"{title:36s} rows against columns: {np.sqrt(np.mean(errors**2)):.3f} deg RMS from 90 over"
            f" {len(errors)} lines;"
            f" {100 * np.mean(np.abs(errors) < 1.96 * sigmas):.1f} % within their 95 %, RMS z"
            f" {np.sqrt(np.mean((errors / sigmas) ** 2)):.2f}"
        )
