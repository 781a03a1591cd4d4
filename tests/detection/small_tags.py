"""Is the stated covariance of small tags' corners true?

    python -m tests.detection.small_tags --pictures 12

Tags of 15 to 120 px in pictures as phones make them of one light: squared errors over their covariance (mean and
median of 9 at most; expected 1 and 0.9), of the eight corner coordinates, of the pose that they give and of its
two tilts; share of poses inside their 95 % ellipsoid.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from itertools import pairwise

import cv2
import numpy as np
from scipy.stats import chi2

from calib.kit import tag_corners_mm
from calib.lens import plain_lens, project
from calib.poses import Pose, rotation_from_vector
from photoangle.detection.alignment.align import align_tag
from photoangle.detection.tags import find_tags
from tests.scenes import FAMILY, facing, paint, tag_flat, true_corners

WIDTH, HEIGHT = 960, 640
LENS = plain_lens(3000.0, (WIDTH - 1) / 2, (HEIGHT - 1) / 2)
EDGES = (12, 15, 20, 25, 30, 35, 45, 60, 120)
_FINE = 3  # samples along a pixel's side: a lens blurs before the pixels collect


def tags_in_view(rng, sizes):
    """24 tags (id -> Pose) whose sides have these limits, px, tilted up to 60 deg."""
    tags = {}
    for k in range(24):
        side = np.exp(rng.uniform(*np.log(sizes)))
        tilt, turn = np.radians(rng.uniform(0, 60)), rng.uniform(0, 2 * np.pi)
        normal = np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), -np.cos(tilt)])
        px = np.array([80 + 160 * (k % 6), 80 + 160 * (k // 6)]) + rng.uniform(-5, 5, 2)
        tags[100 + k] = Pose(facing(normal, rng.uniform(0, 6.28)),
                             np.r_[(px - LENS[2:4]) / LENS[0], 1] * LENS[0] * 30 / side)
    return tags


def light_of(tags, blur_px):
    """Linear light (HEIGHT, WIDTH) on the sensor's pixels."""
    fine = LENS.copy()
    fine[0] *= _FINE
    fine[2:4] = (fine[2:4] + 0.5) * _FINE - 0.5
    scene = np.full((HEIGHT * _FINE, WIDTH * _FINE), 0.2, np.float32)
    for tag_id, pose in tags.items():
        paint(scene, tag_flat(tag_id, 30.0, pose), Pose.identity(), fine, 2)
    scene = cv2.GaussianBlur(scene, (0, 0), blur_px * _FINE, borderType=cv2.BORDER_REPLICATE)
    return scene.reshape(HEIGHT, _FINE, WIDTH, _FINE).mean((1, 3))


def noisy(light, rng, noise):
    """With shot noise of a share of full scale at white."""
    return light + rng.normal(size=light.shape).astype(np.float32) * noise * np.sqrt(np.maximum(light, 0.02) / 0.8)


def stored(light):
    """Grey levels by the standard tone curve, uint8."""
    c = np.clip(light, 0, 1)
    return np.rint(255 * np.where(c < 0.0031308, 12.92 * c, 1.055 * c ** (1 / 2.4) - 0.055)).astype(np.uint8)


def demosaiced(light, rng, noise):
    """One colour a pixel, filled in along edges."""
    raw = np.clip(noisy(light, rng, noise) * 50000, 0, 65535).astype(np.uint16)
    colour = cv2.demosaicing(raw, cv2.COLOR_BayerBG2BGR_EA).astype(np.float32) / 50000
    return cv2.cvtColor(stored(colour), cv2.COLOR_BGR2GRAY)


def sharpened(grey, amount=0.6, sigma=1.3):
    grey = grey.astype(np.float32)
    return np.clip(np.rint(grey + amount * (grey - cv2.GaussianBlur(grey, (0, 0), sigma))), 0, 255).astype(np.uint8)


def jpeg(grey, quality):
    return cv2.imdecode(cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 0)


STYLES = {
    "linear": lambda x, rng, s: np.clip(np.rint(250 * noisy(x, rng, s)), 0, 255).astype(np.uint8),
    "srgb": lambda x, rng, s: jpeg(stored(noisy(x, rng, s)), 93),
    "phone": lambda x, rng, s: jpeg(sharpened(cv2.bilateralFilter(stored(noisy(x, rng, s)), 5, 14, 1.1)), 93),
    "demosaiced": lambda x, rng, s: jpeg(sharpened(cv2.bilateralFilter(demosaiced(x, rng, s), 5, 14, 1.1)), 93),
    "by patches": lambda x, rng, s: jpeg(
        sharpened(cv2.fastNlMeansDenoising(stored(noisy(x, rng, s)), None, 8, 5, 11), 0.8), 90),
    "wide bilateral": lambda x, rng, s: jpeg(
        sharpened(cv2.bilateralFilter(demosaiced(x, rng, s), 9, 30, 2.0), 1.0, 1.6), 90),
    "median": lambda x, rng, s: jpeg(sharpened(cv2.medianBlur(stored(noisy(x, rng, s)), 3), 0.6), 90),
    "jpeg 75": lambda x, rng, s: jpeg(sharpened(demosaiced(x, rng, s), 0.6), 75),
    "blotches": lambda x, rng, s: jpeg(sharpened(stored(
        x + (noisy(x, rng, 0.3 * s) - x) + 4 * cv2.GaussianBlur(noisy(x, rng, s) - x, (0, 0), 2.0)), 0.6), 93),
}


def by_pose(pose):
    """d(corners)/d(turn, shift) (8, 6) of a tag of 30 mm at a pose in the camera's frame."""
    corners, columns = tag_corners_mm(30.0), []
    for k in range(6):
        step = np.zeros(6)
        step[k] = 1e-5 if k < 3 else 1e-3
        ends = [project(Pose(rotation_from_vector(s * step[:3]) @ pose.rotation,
                             pose.translation_mm + s * step[3:]).apply(corners), LENS) for s in (1, -1)]
        columns.append((ends[0] - ends[1]).ravel() / (2 * step[k]))
    return np.stack(columns, 1)


def judged(aligned, pose):
    """Side px, error and stated RMS px, chi2/8 of corners, chi2/6 of the pose, chi2/2 of its tilts; None if lost."""
    e = (aligned.corners_px - true_corners(pose, 30.0, Pose.identity(), LENS)).ravel()
    j, weight = by_pose(pose), np.linalg.inv(aligned.covariance_px2)
    covariance = np.linalg.inv(j.T @ weight @ j)
    miss = covariance @ j.T @ weight @ e
    # turns about the two axes in the tag's plane
    plane = pose.rotation[:, :2].T
    tilt, tilts = plane @ miss[:3], plane @ covariance[:3, :3] @ plane.T
    return (aligned.side_px, np.sqrt(np.mean(e**2)), np.sqrt(np.mean(aligned.covariance_px2.diagonal())),
            e @ weight @ e / 8, miss @ j.T @ weight @ j @ miss / 6, tilt @ np.linalg.solve(tilts, tilt) / 2)


def run(pictures, seed, styles, noises, sizes=(15, 120), blur=(0.5, 0.9)):
    """(style, noise) -> rows (k, 6) as `judged` gives them."""
    out = defaultdict(list)
    for k in range(pictures):
        rng = np.random.default_rng([seed, k])
        tags = tags_in_view(rng, sizes)
        light = light_of(tags, rng.uniform(*blur))
        for style in styles:
            for noise in noises:
                out[style, noise] += _of_picture(STYLES[style](light, rng, noise), tags)
    return {key: np.array(rows).reshape(-1, 6) for key, rows in out.items()}


def _of_picture(grey, tags):
    rows, first = [], None
    for tag in find_tags(grey, FAMILY):
        if tag.tag_id not in tags:
            continue
        aligned = align_tag(grey, FAMILY, tag.tag_id, tag.corners_px, LENS, first)
        if aligned is not None and aligned.settled and aligned.fit > 0.85:
            first = aligned.blur_px2 if first is None else first
            rows.append(judged(aligned, tags[tag.tag_id]))
    return rows


def table(rows):
    """Lines, one for each size of tag."""
    lines = []
    for low, high in pairwise(EDGES):
        r = rows[(rows[:, 0] >= low) & (rows[:, 0] < high)]
        if len(r) > 9:
            error, stated = np.sqrt(np.mean(r[:, 1] ** 2)), np.sqrt(np.mean(r[:, 2] ** 2))
            shares = "  ".join(f"{np.mean(np.minimum(r[:, k], 9)):5.2f}/{np.median(r[:, k]):4.2f}" for k in (3, 4, 5))
            lines.append(f"{low:4d}-{high:3d} px {len(r):5d}  {error:6.3f} {stated:6.3f}   {shares}"
                         f"   {100 * np.mean(6 * r[:, 4] < chi2.ppf(0.95, 6)):5.1f} %")
    return lines


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pictures", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--styles", nargs="*", default=list(STYLES))
    parser.add_argument("--noises", nargs="*", type=float, default=[0.006, 0.02])
    parser.add_argument("--sizes", nargs=2, type=float, default=[15, 120])
    parser.add_argument("--blur", nargs=2, type=float, default=[0.5, 0.9])
    given = parser.parse_args()
    print(f"{'side':>11s} {'tags':>5s}  {'error':>6s} {'stated':>6s}   corners     poses       tilts      inside")
    found = run(given.pictures, given.seed, given.styles, given.noises, given.sizes, given.blur)
    for (style, noise), rows in found.items():
        print(f"{style}, noise {100 * noise:.1f} %")
        print("\n".join(table(rows)), flush=True)
    for noise in given.noises:
        print(f"all, noise {100 * noise:.1f} %")
        print("\n".join(table(np.concatenate([rows for (_, n), rows in found.items() if n == noise]))))


if __name__ == "__main__":
    main()
