"""How near the corners come to the Cramer-Rao bound, beside OpenCV and the AprilTag library."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from calib.lens import plain_lens
from calib.poses import Pose
from photoangle.detection.alignment.align import align_tag
from photoangle.detection.saddles import find_saddles
from photoangle.detection.tags import find_tags
from tests.scenes import (
    FAMILY,
    KIT,
    Camera,
    card_flat,
    develop,
    facing,
    motion_kernel,
    paint,
    pattern_of,
    scaled_lens,
    tag_flat,
    true_corners,
    true_saddles,
)

WIDTH, HEIGHT = 1344, 1008
_FINE = 3  # samples along a pixel's side
STYLES = {
    "linear": Camera("linear"), "srgb": Camera("srgb"), "sharpened": Camera("sharpened"),
    "sharp and denoised": Camera("phone"), "8 % dirt": Camera("srgb", dirt=0.08),
    "blur sigma 2": Camera("linear", blur_px=2.0), "motion 6 px": Camera("linear", motion_px=6.0)
}


def _tags(rng, lens):
    """Twelve tags of 60 to 120 px over the picture, tilted up to 45 deg."""
    tags = {}
    for k in range(12):
        side = rng.uniform(60, 120)
        tilt, turn = np.radians(rng.uniform(0, 45)), rng.uniform(0, 2 * np.pi)
        normal = np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), -np.cos(tilt)])
        z = lens[0] * 30 / side
        px = np.array(
            [170 + 330 * (k % 4) + rng.uniform(-30, 30), 170 + 330 * (k // 4) + rng.uniform(-30, 30)])
        tags[100 + k] = Pose(facing(normal, rng.uniform(0, 6.28)), np.r_[(px - lens[2:4]) / lens[0], 1] * z)
    return tags


def _light(tags, lens, camera, rng):
    """What falls on the sensor, pixel by pixel: the lens blurs before the pixels collect, so it is drawn
    finer and blurred there."""
    fine = lens.copy()
    fine[0] *= _FINE
    fine[2:4] = (fine[2:4] + 0.5) * _FINE - 0.5
    scene = np.full((HEIGHT * _FINE, WIDTH * _FINE), 0.2, np.float32)
    for tag_id, pose in tags.items():
        paint(scene, tag_flat(tag_id, 30.0, pose, rng=rng, dirt=camera.dirt), Pose.identity(), fine, 2)
    return _collected(scene, camera)


def _collected(fine, camera):
    """A fine picture blurred as the camera does and summed up to pixels."""
    blurred = cv2.GaussianBlur(fine, (0, 0), camera.blur_px * _FINE, borderType=cv2.BORDER_REPLICATE)
    if camera.motion_px:
        blurred = cv2.filter2D(blurred, -1, motion_kernel(camera.motion_px * _FINE, camera.motion_deg),
                               borderType=cv2.BORDER_REPLICATE)
    rows, columns = fine.shape
    return blurred.reshape(rows // _FINE, _FINE, columns // _FINE, _FINE).mean((1, 3))


def bound_px(tag, corners, pose, lens, camera, seed):
    """Cramer-Rao bound of a tag's corners, RMS px; unknown beside them: both grey levels and their
    tilts across the tag, and the blur's covariance, as any method must that knows neither light nor focus.

    The derivatives come from the noise-free picture by moving each corner; the noise is the one that
    `develop` adds before any processing, which nothing after it can undo.
    """
    from photoangle.detection.codes import square_homography

    margin = 12
    x0, y0 = np.floor(corners.min(0)).astype(int) - margin
    x1, y1 = np.ceil(corners.max(0)).astype(int) + margin

    def picture(q):
        h = square_homography(q, 8)
        shift = np.array([[1, 0, -x0], [0, 1, -y0], [0, 0, 1.0]])
        return _clean(tag, shift @ h, (y1 - y0, x1 - x0), camera)

    base = picture(corners)
    step = 0.05
    columns = []
    for k in range(8):
        q = np.zeros(8)
        q[k] = step
        q = q.reshape(4, 2)
        columns.append((picture(corners + q) - picture(corners - q)) / (2 * step))
    y, x = np.mgrid[-1:1:base.shape[0] * 1j, -1:1:base.shape[1] * 1j]
    columns += [np.ones_like(base), base, x, y, base * x, base * y]
    gy, gx = np.gradient(base)
    columns += [np.gradient(gx, axis=1), np.gradient(gy, axis=0), np.gradient(gx, axis=0)]
    sigma = camera.noise * np.sqrt(np.maximum(base, 0.02) / 0.8)
    slope = 1.0 if camera.mode == "linear" else np.maximum(base, 0.004) ** (1 / 2.4 - 1) * 1.055 / 2.4
    rounding = 1 / np.sqrt(12) / (250.0 if camera.mode == "linear" else 255.0 * slope)
    sigma = np.hypot(sigma, rounding)
    j = np.stack([c / sigma for c in columns], -1).reshape(-1, len(columns))
    return float(np.sqrt(np.trace(np.linalg.inv(j.T @ j)[:8, :8]) / 8))


def _clean(tag, h, shape, camera):
    """Noise-free light of a tag under a homography from cells to pixels."""
    pattern, per_cell, pad = pattern_of(tag)
    rows, columns = shape[0] * _FINE, shape[1] * _FINE
    gx, gy = np.meshgrid((np.arange(columns) + 0.5) / _FINE - 0.5, (np.arange(rows) + 0.5) / _FINE - 0.5)
    inverse = np.linalg.inv(h)
    total = np.zeros((rows, columns), np.float32)
    for oy in (-0.25 / _FINE, 0.25 / _FINE):
        for ox in (-0.25 / _FINE, 0.25 / _FINE):
            w = inverse[2, 0] * (gx + ox) + inverse[2, 1] * (gy + oy) + inverse[2, 2]
            u = (inverse[0, 0] * (gx + ox) + inverse[0, 1] * (gy + oy) + inverse[0, 2]) / w
            v = (inverse[1, 0] * (gx + ox) + inverse[1, 1] * (gy + oy) + inverse[1, 2]) / w
            total += cv2.remap(pattern, (u * per_cell + pad - 0.5).astype(np.float32),
                               (v * per_cell + pad - 0.5).astype(np.float32), cv2.INTER_LINEAR,
                               borderMode=cv2.BORDER_REPLICATE)
    return _collected(total / 4, camera)


def _rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def run(pictures=4):
    """Print the precision table, for little noise and for much."""
    for noise in (0.006, 0.02):
        _tags_table(pictures, noise)
        print()
    _card(pictures)


def _tags_table(pictures, noise, chosen=tuple(STYLES)):
    lens = plain_lens(1034.7, 671.5, 503.5)
    print(f"{'tag corners':18s} {'bound':>7s} {'ours':>7s} {'ratio':>6s} {'radial':>7s} {'chi2/8':>7s}"
          f" {'OpenCV':>8s} {'AprilTag':>9s}   RMS px")
    print(f"noise {100 * noise:.1f} % of full scale at white:")
    for title in chosen:
        camera = replace(STYLES[title], noise=noise)
        ours, radial, squares, bounds, theirs, april = [], [], [], [], [], []
        for seed in range(pictures):
            rng = np.random.default_rng(seed)
            tags = _tags(rng, lens)
            grey = develop(_light(tags, lens, camera, rng), replace(camera, blur_px=0.0, motion_px=0.0), rng)
            true = {i: true_corners(p, 30.0, Pose.identity(), lens) for i, p in tags.items()}
            for tag in find_tags(grey, FAMILY):
                aligned = align_tag(grey, FAMILY, tag.tag_id, tag.corners_px)
                if aligned is None:
                    continue
                t = true[tag.tag_id]
                e = aligned.corners_px - t
                out = (t - t.mean(0)) / np.linalg.norm(t - t.mean(0), axis=1, keepdims=True)
                ours.append(e)
                radial.append((e * out).sum(1).mean())
                squares.append(e.ravel() @ np.linalg.solve(aligned.covariance_px2, e.ravel()) / 8)
                bounds.append(bound_px(tag.tag_id, t, tags[tag.tag_id], lens, camera, seed))
            theirs += _opencv(grey, true)
            april += _apriltag(grey, true)
        print(
            f"{title:18s} {_rms(bounds):7.4f} {_rms(ours):7.4f} {_rms(ours) / _rms(bounds):6.2f}"
            f" {np.mean(radial):+7.4f}"
            f" {np.mean(squares):7.2f} {_rms(theirs) if theirs else np.nan:8.3f}"
            f" {_rms(april) if april else np.nan:9.3f}"
        )


def _opencv(grey, true):
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FAMILY))
    corners, ids, _ = cv2.aruco.ArucoDetector(book, parameters).detectMarkers(grey)
    return (
        []
        if ids is None
        else [
            q.reshape(4, 2) - true[int(i)]
            for q, i in zip(corners, np.ravel(ids), strict=False)
            if int(i) in true
        ]
    )


def _apriltag(grey, true):
    try:
        from pupil_apriltags import Detector
    except ImportError:
        return []
    # its coordinates are half a pixel off ours, its corners in another order
    return [
        np.roll(np.array(d.corners)[::-1] - 0.5, 2, 0) - true[d.tag_id]
        for d in Detector(families="tag36h11", nthreads=1, quad_decimate=1.0).detect(grey) if d.tag_id in true
    ]


def _card(pictures):
    lens = scaled_lens(WIDTH)
    print(f"\n{'card corners':18s} {'ours':>7s} {'chi2/2':>7s} {'cornerSubPix':>13s}   RMS px")
    for title in ("linear", "srgb", "sharpened", "sharp and denoised"):
        ours, theirs, squares = [], [], []
        for seed in range(pictures):
            rng = np.random.default_rng(50 + seed)
            pose = Pose(facing([rng.normal(0, 0.4), rng.normal(0, 0.4), -1], rng.normal(0, 0.2)), np.zeros(3))
            pose = Pose(pose.rotation, np.array([0, 0, 400.0]) - pose.rotation @ [126, 84, 0])
            scene = np.full((HEIGHT, WIDTH), 0.2, np.float32)
            paint(scene, card_flat(pose), Pose.identity(), lens, 6)
            grey = develop(scene, STYLES[title], rng)
            found = find_saddles(grey, KIT.card, [t for t in find_tags(grey, FAMILY) if t.tag_id < 27])
            true = true_saddles(pose, Pose.identity(), lens)[found.index]
            e = found.pixels - true
            ours.append(e)
            squares.append(np.einsum("ni,nij,nj->n", e, np.linalg.inv(found.covariance_px2), e) / 2)
            sub = cv2.cornerSubPix(grey, np.rint(true).astype(np.float32).reshape(-1, 1, 2), (5, 5), (-1, -1),
                                   (3, 60, 1e-4)).reshape(-1, 2)
            theirs.append(sub - true)
        print(f"{title:18s} {_rms(np.concatenate(ours)):7.4f} {np.mean(np.concatenate(squares)):7.2f}"
              f" {_rms(np.concatenate(theirs)):13.4f}")
