"""Where a camera stood, from points whose places are known: starting values for the solver."""

from __future__ import annotations

import cv2
import numpy as np

from calib.lens import project, unproject
from calib.poses import Pose


def planar_poses(points_mm, pixels, lens):
    """Both poses that explain a flat set of points, best first.

    Parameters: points_mm (k, 3) with z = 0, k >= 4; pixels (k, 2); lens.
    Returns a list of (camera_from_plane Pose, RMS px): a flat target seen from afar fits almost as well when
    mirrored about the line of sight (Collins and Bartoli 2014, "Infinitesimal plane-based pose estimation").
    """
    flat = unproject(pixels, lens)
    points = np.ascontiguousarray(points_mm, float)
    try:
        found = cv2.solvePnPGeneric(points, flat, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return []
    return _ranked(points, pixels, flat, lens, found[1], found[2])


def square_poses(size_mm, pixels, lens):
    """Both poses of a square tag from its corners (4, 2) px: as `planar_poses`."""
    h = size_mm / 2
    points = np.array([[-h, -h, 0], [h, -h, 0], [h, h, 0], [-h, h, 0.0]])
    return planar_poses(points, pixels, lens)


def _ranked(points, pixels, flat, lens, turns, shifts):
    out = []
    for turn, shift in zip(turns, shifts, strict=False):
        if not (np.isfinite(turn).all() and np.isfinite(shift).all()):
            continue
        if len(points) > 4:
            turn, shift = cv2.solvePnPRefineLM(points, flat, np.eye(3), None, turn, shift)
        pose = Pose(cv2.Rodrigues(turn)[0], shift.ravel())
        miss = project(pose.apply(points), lens) - pixels
        if np.isfinite(miss).all():
            out.append((pose, float(np.sqrt((miss**2).mean()))))
    return sorted(out, key=lambda p: p[1])


def camera_from_points(points_mm, pixels, lens, limit_px=25.0):
    """Camera pose from points anywhere in space, outliers left out.

    Parameters: points_mm (k, 3), pixels (k, 2), k >= 6 for safety; limit_px of the inliers.
    Returns camera_from_world Pose or None.
    """
    if len(points_mm) < 6:
        return None
    flat = unproject(pixels, lens)
    points = np.ascontiguousarray(points_mm, float)
    cv2.setRNGSeed(1)  # the same photos give the same answer
    try:
        fine, turn, shift, chosen = cv2.solvePnPRansac(
            points, flat, np.eye(3), None, flags=cv2.SOLVEPNP_SQPNP,
            reprojectionError=limit_px / lens[0], iterationsCount=200)
    except cv2.error:
        return None
    if not fine or chosen is None or len(chosen) < 6:
        return None
    chosen = chosen.ravel()
    turn, shift = cv2.solvePnPRefineLM(points[chosen], flat[chosen], np.eye(3), None, turn, shift)
    return Pose(cv2.Rodrigues(turn)[0], shift.ravel())
