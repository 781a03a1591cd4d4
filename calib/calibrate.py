"""Photos of the card -> the camera's lens with its covariance.

Zhang's method for the start (homographies of a flat board), then one least-squares problem over
lens, card and views.  Whether the phone moves its lens from photo to photo (focus,
stabiliser) and whether three radial terms describe it is decided by the residuals: the simplest of
four models within 5 % of the best variance factor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from calib.bundle import Bundle
from calib.differences import jacobian
from calib.lens import BROWN, phone_information, plain_lens, project, unproject
from calib.poses import Pose, angle_between_rotations
from calib.resection import planar_poses
from calib.rows import PAPER_SIGMA, CardRow, Priors, Values
from calib.solution import Singular

# Loose beliefs about any phone lens; the photos decide.
_ASPECT_SIGMA = 1e-3
_CENTRE_SIGMA = 60.0 / 4032  # of the picture's width
MOVING_SIGMA = np.array([0.005, 15.0, 15.0])  # focal scale, principal point px at 4032 px
_LEAST_MOVING = np.array([2e-4, 0.3, 0.3])
# A lens stood still whose spread is less than so many times the least.
_STILL, _EM_ROUNDS = 3.0, 12


@dataclass(frozen=True)
class View:
    """The board in one photo: points_mm (k, 3) in the board's frame, pixels (k, 2), covariance_px2 (k, 2,
    2)."""

    name: str
    points_mm: np.ndarray
    pixels: np.ndarray
    covariance_px2: np.ndarray


@dataclass(frozen=True)
class Calibration:
    """What the views say of the lens.

    lens (L,) and covariance (L, L); shift_sigma (3,) or None: how focal scale and principal point wander
    from photo to photo; floor_px: noise per coordinate beyond the corners' own; variance_factor;
    rms_px of the residuals; view_rms_px per view; poses camera_from_board; paper (5,);
    models: variance factor of each lens model tried.
    """

    lens: np.ndarray
    covariance: np.ndarray
    shift_sigma: np.ndarray | None
    floor_px: float
    variance_factor: float
    rms_px: float
    view_names: tuple
    view_rms_px: np.ndarray
    poses: tuple
    paper: np.ndarray
    models: dict


class TooFewViews(Exception):
    """Not enough photos of the board to learn a lens from."""


def first_focal(views, width, height):
    """Focal length (px) from the boards' homographies, principal point in the middle (Zhang 2000)."""
    flat = [v.points_mm.astype(np.float32) for v in views]
    seen = [v.pixels.astype(np.float32) for v in views]
    matrix = cv2.initCameraMatrix2D(flat, seen, (width, height))
    focal = float(np.sqrt(abs(matrix[0, 0] * matrix[1, 1])))
    return focal if np.isfinite(focal) and 0.3 * width < focal < 8 * width else float(width)


def _priors(focal, width, height, spline, moving, paper_sigma, focal_sigma, aspect_sigma, brown_sigma,
            centre_sigma):
    mean = plain_lens(focal, (width - 1) / 2, (height - 1) / 2, spline)
    across = max(width, height)
    sigma = np.array([focal_sigma * focal, aspect_sigma, centre_sigma * across, centre_sigma * across])
    if brown_sigma is None:
        information = phone_information(sigma, focal, across)[:len(mean), :len(mean)]
    else:
        waves = phone_information(sigma, focal, across).diagonal()[BROWN:len(mean)]
        information = np.diag(np.r_[1 / np.r_[sigma, np.maximum(brown_sigma, 1e-9)]**2, waves])
    shift = MOVING_SIGMA * [1, across / 4032, across / 4032] if moving else None
    return Priors(mean, information, paper_sigma=paper_sigma, shift_sigma=shift)


def calibrate(views, width, height, focal_px=None, board_mm=(252.0, 168.0), paper_sigma=None, models=None,
              noise_known=True, aspect_sigma=_ASPECT_SIGMA, brown_sigma=None,
              centre_sigma=_CENTRE_SIGMA, robust=True):
    """Learn a lens.

    Parameters: views: list of View; width, height of the picture, px; focal_px: a guess (EXIF) or None;
    board_mm: outline, for its bow; paper_sigma (5,): see `calib.bundle`, zeros for an exact board; models:
    (moving, spline) pairs to try, the plainest that fits is taken (None: the whole model, whose spread from
    photo to photo and radial spline are as large as the photos say); noise_known: False when the views'
    covariances are only relative, then the residuals set the noise (as cv2.calibrateCameraExtended does);
    aspect_sigma, brown_sigma (5,): beliefs about the lens, 0 for "none of this term"; robust: Student's t for
    outliers, else plain squares. Returns Calibration.  Raises TooFewViews below three views.
    """
    if len(views) < 3:
        raise TooFewViews(f"{len(views)} usable photos of the card; at least three are needed")
    paper_sigma = PAPER_SIGMA if paper_sigma is None else np.asarray(paper_sigma, float)
    paper_sigma = np.r_[0.0, paper_sigma[1:]]  # the card alone does not know the markers' scale
    homography_focal = first_focal(views, width, height)
    starts = [homography_focal] if focal_px is None else [float(focal_px), homography_focal]
    tried, whole = {}, models is None
    models = ((False, True), (True, True)) if whole else models
    for moving, spline in models:
        if moving and len(views) < 5:
            continue
        best = None
        for focal in starts:
            priors = _priors(focal, width, height, spline, moving, paper_sigma,
                             0.1 if focal_px is not None else 0.5, aspect_sigma, brown_sigma, centre_sigma)
            solution = _fit(views, priors, board_mm, robust)
            if best is None or solution.cost < best.cost:
                best = solution
        tried[moving, spline] = best
    if whole and (True, True) in tried:
        tried[True, True] = _as_it_moves(views, tried[True, True], board_mm, robust, noise_known)
        still = (tried[True, True].bundle.priors.shift_sigma <= _STILL * _LEAST_MOVING).all()
        tried = {k: s for k, s in tried.items() if k == (not still, True)}
    factors = {key: s.variance_factor() for key, s in tried.items()}
    least = min(factors.values())
    order = [key for key in models if key in tried]
    chosen = next(key for key in order if factors[key] < 1.05 * least + 0.02)
    return _result(views, tried[chosen], factors, noise_known)


def _as_it_moves(views, solution, board_mm, robust, noise_known):
    """A moving lens's solution with the spread from photo to photo that the photos themselves tell.

    Expectation and maximisation in turns (Dempster, Laird and Rubin 1977): the mean of each photo's square
    and its variance.  Where the photos tell little the spread stays as wide as it was; where the lens stood
    still it falls to next to nothing.  Corners that are worse than they say would be taken for a lens that
    moves: what their residuals show beyond it is added to their noise.
    """
    floor = 0.0
    for done in range(_EM_ROUNDS):
        if noise_known and done % 3 == 0:
            floor = _floor_px(views, solution)
        rows = [CardRow(k, v.points_mm, v.pixels, v.covariance_px2 + floor**2 * np.eye(2))
                for k, v in enumerate(views)]
        bundle, priors = solution.bundle, solution.bundle.priors
        at = bundle.camera_start + bundle.per_camera * np.arange(bundle.cameras)[:, None] + 6 + np.arange(3)
        try:
            variance = solution.covariance().diagonal()[at]
        except Singular:
            break
        sigma = np.sqrt((solution.values.shift**2 + variance).mean(0))
        sigma = np.clip(sigma, _LEAST_MOVING, priors.shift_sigma)
        small = (sigma > 0.97 * priors.shift_sigma).all()
        solution = Bundle(len(views), 1, [], rows, replace(priors, shift_sigma=sigma), card_size_mm=board_mm,
                          **({} if robust else {"nu": 0.0})).solve(solution.values)
        if small:
            break
    return solution


def _floor_px(views, solution):
    """Noise per coordinate beyond what the views' corners say of themselves, px."""
    there = solution.bundle.card_there
    residual = np.linalg.solve(solution.bundle.card_white[there], solution.card_residual[there][..., None])
    lost = solution.bundle.rows / max(solution.degrees_of_freedom(), 1)
    spread = 1.4826 * np.median(np.abs(residual)) * np.sqrt(lost)
    stated = np.median(np.concatenate([np.trace(v.covariance_px2, axis1=1, axis2=2) / 2 for v in views]))
    return float(np.sqrt(max(0.0, spread**2 - stated)))


def _start(views, lens, cameras=None):
    poses = []
    for view in views:
        both = planar_poses(view.points_mm, view.pixels, lens)
        poses.append(both[0][0] if both else Pose(np.eye(3), np.array([0, 0, 500.0])))
    return poses


def _values(lens, poses):
    c = len(poses)
    return Values(lens, np.zeros(5), np.array([p.rotation for p in poses]),
                  np.array([p.translation_mm for p in poses]), np.zeros((c, 3)),
                  np.eye(3)[None], np.zeros((1, 3)))


def _fit(views, priors, board_mm, robust):
    rows = [CardRow(k, v.points_mm, v.pixels, v.covariance_px2) for k, v in enumerate(views)]
    plain = Bundle(len(views), 1, [], rows, priors, card_size_mm=board_mm, nu=0.0)
    weighed = Bundle(len(views), 1, [], rows, priors, card_size_mm=board_mm) if robust else plain
    # Plain squares first: from a poor start robust weights can throw out a good far corner.
    solution = plain.solve(_values(priors.lens_mean.copy(), _start(views, priors.lens_mean)))
    for _ in range(3):
        values, changed = _other_tilts(views, solution)
        if not changed:
            break
        trial = plain.solve(values)
        if trial.cost >= solution.cost:
            break
        solution = trial
    return weighed.solve(solution.values) if robust else solution


def _other_tilts(views, solution):
    """Start values with each view's mirrored pose where that fits clearly better."""
    values, changed = solution.values, False
    rotations, shifts = values.camera_rotation.copy(), values.camera_mm.copy()
    for k, view in enumerate(views):
        lens = values.lens.copy()
        now = Pose(rotations[k], shifts[k])
        rms = np.sqrt(np.nanmean((project(now.apply(view.points_mm), lens) - view.pixels) ** 2))
        for pose, other in planar_poses(view.points_mm, view.pixels, lens):
            if other < 0.7 * rms and angle_between_rotations(pose.rotation, rotations[k]) > 0.03:
                rotations[k], shifts[k], changed = pose.rotation, pose.translation_mm, True
                break
    return solution.with_values(camera_rotation=rotations, camera_mm=shifts), changed


def _result(views, solution, factors, noise_known):
    bundle, values = solution.bundle, solution.values
    covariance = solution.covariance(None if noise_known else solution.variance_factor() *
                                     solution.robust_loss())
    there = bundle.card_there
    white = bundle.card_white[there]
    residual = np.linalg.solve(white, solution.card_residual[there][..., None])[..., 0]
    which = np.broadcast_to(np.arange(len(views))[:, None], there.shape)[there]
    view_rms = np.array([np.sqrt((residual[which == k] ** 2).mean()) for k in range(len(views))])
    floor = _floor_px(views, solution) if noise_known else 0.0
    shift = None
    if bundle.shifts:
        shift = np.maximum(bundle.priors.shift_sigma, _LEAST_MOVING)
    n = bundle.lens_size
    return Calibration(
        values.lens, covariance[:n, :n], shift, floor, solution.variance_factor(),
        float(np.sqrt((residual**2).mean())), tuple(v.name for v in views), view_rms,
        tuple(Pose(r, t) for r, t in zip(values.camera_rotation, values.camera_mm, strict=False)),
        values.paper, factors)


def projection_sigma(lens, covariance, width, height, grid=(9, 7), moving=False):
    """How well the lens is known over the picture, as the standard deviation of a far point's pixel.

    The camera's own turn is taken out, since every photo's pose is free to follow (after
    mrcal's projection uncertainty): what is left is the error that poses cannot hide.  With
    ``moving``, focal length and principal point, which then belong to each photo, are taken out too.
    Returns (rows, columns) px, RMS of the two coordinates.  Leaves out the spread of a moving lens.
    """
    u = np.linspace(0, width - 1, grid[0])
    v = np.linspace(0, height - 1, grid[1])
    pixels = np.stack(np.meshgrid(u, v), -1).reshape(-1, 2)
    away = np.c_[unproject(pixels, lens), np.ones(len(pixels))]

    steps = np.maximum(np.sqrt(covariance.diagonal()), 1e-12)
    flat = jacobian(lambda moved: project(away, moved).ravel(), lens, steps)
    small = 1e-6
    turns = []
    for axis in range(3):
        w = np.zeros(3)
        w[axis] = small
        turned = away + np.cross(w, away)
        turns.append((project(turned, lens) - project(away, lens)) / small)
    turn = np.stack(turns, -1).reshape(-1, 3)
    if moving:
        turn = np.concatenate([turn, flat[:, [0, 2, 3]]], 1)
    # a far point's pose is its turn; weight the middle of the picture, where parts are
    weight = np.repeat(np.exp(-0.5 * (((pixels - [width / 2, height / 2])
                                       / [width / 2, height / 2]) ** 2).sum(1)), 2)
    fit = np.linalg.lstsq(turn * weight[:, None], flat * weight[:, None], rcond=None)[0]
    left = flat - turn @ fit
    variance = np.einsum("ij,jk,ik->i", left, covariance, left).reshape(-1, 2).mean(1)
    return np.sqrt(variance).reshape(grid[1], grid[0])


def coverage(views, width, height, grid=(8, 6)):
    """Which parts of the picture the board's corners reached: (rows, columns) booleans."""
    seen = np.zeros((grid[1], grid[0]), bool)
    for view in views:
        column = np.clip((view.pixels[:, 0] / width * grid[0]).astype(int), 0, grid[0] - 1)
        row = np.clip((view.pixels[:, 1] / height * grid[1]).astype(int), 0, grid[1] - 1)
        seen[row, column] = True
    return seen
