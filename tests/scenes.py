"""A small maker of photos with exact truth, for accuracy tests.

Flat patterns (tags with a white edge, the card) are drawn by intersecting every pixel's rays with their
planes, with subsamples inside each pixel, in linear light; then blurred, lit unevenly, given noise and put
through a camera's tone curve.  Truth is exact to rounding: pixels are found by Newton's method on the same
lens model that projects.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calib.kit import card_saddles_mm, tag_corners_mm
from calib.lens import project, unproject
from calib.poses import Pose, rotation_from_vector
from photoangle.core.kit import default_kit

FAMILY = "DICT_APRILTAG_36h11"
KIT = default_kit()
LENS = np.array([3104.2, 0.0, 2000.7, 1521.1, 0.091, -0.243, -0.00038, 0.00044, 0.165])


def scaled_lens(width):
    """The test phone's lens for pictures of another width (4:3)."""
    s = width / 4032
    lens = LENS.copy()
    lens[0] *= s
    lens[2:4] = (lens[2:4] + 0.5) * s - 0.5
    return lens


@dataclass(frozen=True)
class Camera:
    """How a picture comes about.  mode: "linear", "srgb", "sharpened" (and "srgb" before) or "phone"
    (denoised between)."""

    mode: str = "srgb"
    blur_px: float = 0.7
    motion_px: float = 0.0
    motion_deg: float = 20.0
    noise: float = 0.006  # of full scale, at white
    light_tilt: float = 0.3
    dirt: float = 0.0
    jpeg: int | None = None


@dataclass(frozen=True)
class Flat:
    """A flat pattern: world_from_flat pose, origin and size (mm), reflectance map and its cells per mm."""

    pose: Pose
    low_mm: tuple
    high_mm: tuple
    pattern: np.ndarray
    per_mm: float
    bow_mm: tuple = (0.0, 0.0, 0.0)
    curl_mm: float | None = (
        None  # radius of a tube along the flat's y that it is wrapped round, printed side out
    )
    sides: int = 0  # of the regular polygon that it is, its inner circle as wide as the flat; 0: a rectangle


def pattern_of(tag_id, black=0.05, white=0.8, edge_cells=1.25, per_cell=24):
    """A tag's reflectance with its white edge: (map, samples a cell, samples of edge)."""
    bits = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FAMILY)).generateImageMarker(tag_id, 8) > 127
    pad = int(edge_cells * per_cell)
    big = np.pad(np.kron(bits, np.ones((per_cell, per_cell))), pad, constant_values=1.0)
    return (black + (white - black) * big).astype(np.float32), per_cell, pad


def tag_flat(tag_id, size_mm, pose, rng=None, dirt=0.0, curl_mm=None):
    """A tag on its white paper, perhaps wrapped round a tube of radius curl_mm."""
    values, per_cell, pad = pattern_of(tag_id)
    if dirt:
        values = values * _smudges(values.shape, dirt, rng)
    cell = size_mm / 8
    reach = size_mm / 2 + pad / per_cell * cell
    return Flat(pose, (-reach, -reach), (reach, reach), values.astype(np.float32), per_cell / cell,
                curl_mm=curl_mm)


def _smudges(shape, share, rng):
    """Soft dark spots over a share of the area."""
    noise = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), shape[0] / 25)
    limit = np.quantile(noise, 1 - share)
    soft = cv2.GaussianBlur((noise > limit).astype(np.float32), (0, 0), 3)
    return 1 - rng.uniform(0.4, 0.8) * soft


def card_flat(pose, bow_mm=(0.0, 0.0, 0.0), size=1.0):
    """The card, optionally bowed (bow x, twist, bow y in mm) and printed larger or smaller."""
    card = KIT.card
    board = cv2.aruco.CharucoBoard((card.columns, card.rows), card.square_mm, card.tag_mm,
                                   cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.family)))
    per_mm = 2  # a tag's cell is 2.5 mm, a square 28 mm: five and 56 samples exactly
    image = board.generateImage((int(card.width_mm * per_mm), int(card.height_mm * per_mm)), marginSize=0)
    image = np.pad(image, 20, constant_values=255).astype(np.float32) / 255
    image = np.kron(0.05 + 0.75 * image, np.ones((4, 4), np.float32))
    return Flat(pose, (-10.0 * size, -10.0 * size),
                ((card.width_mm + 10) * size, (card.height_mm + 10) * size), image,
                per_mm * 4 / size, bow_mm)


def _bent(points, bow):
    x, y = points[..., 0] / 126 - 1, points[..., 1] / 84 - 1
    return bow[0] * x * x + bow[1] * x * y + bow[2] * y * y


def shoot(flats, camera_from_world, lens, width, height, camera, rng, supersample=5):
    """Render a picture (height, width) uint8 of flats, nearest last."""
    scene = _background(width, height, rng)
    depth = [(camera_from_world.apply(f.pose.translation_mm[None])[0, 2], f) for f in flats]
    for _, flat in sorted(depth, key=lambda d: -d[0]):
        paint(scene, flat, camera_from_world, lens, supersample)
    return develop(scene, camera, rng)


def _background(width, height, rng):
    small = rng.normal(size=(height // 64 + 2, width // 64 + 2)).astype(np.float32)
    soft = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
    return np.clip(0.18 + 0.06 * soft, 0.03, 0.6).astype(np.float32)


def paint(scene, flat, camera_from_world, lens, supersample):
    """Draw a flat into a scene of linear light (H, W), in place, by supersample^2 rays a pixel."""
    height, width = scene.shape
    camera_from_flat = camera_from_world @ flat.pose
    (x0, y0), (x1, y1) = flat.low_mm, flat.high_mm
    t = np.linspace(0, 1, 9)
    if flat.sides:  # its corners reach further than its inner circle
        reach = 0.1 * (x1 - x0) if flat.sides > 5 else (x1 - x0)
        x0, y0, x1, y1 = x0 - reach, y0 - reach, x1 + reach, y1 + reach
    edge = np.concatenate([np.c_[x0 + t * (x1 - x0), np.full(9, y)] for y in (y0, y1)]
                          + [np.c_[np.full(9, x), y0 + t * (y1 - y0)] for x in (x0, x1)])
    seen = project(camera_from_flat.apply(np.c_[edge, np.zeros(len(edge))]), lens)
    if not np.isfinite(seen).all():
        return
    left, top = np.maximum(np.floor(seen.min(0)).astype(int) - 2, 0)
    right = min(int(np.ceil(seen[:, 0].max())) + 3, width)
    bottom = min(int(np.ceil(seen[:, 1].max())) + 3, height)
    if right - left < 2 or bottom - top < 2:
        return
    (x0, y0), (x1, y1) = flat.low_mm, flat.high_mm
    gx, gy = np.meshgrid(np.arange(left, right, dtype=float), np.arange(top, bottom, dtype=float))
    rays = unproject(np.stack([gx.ravel(), gy.ravel()], 1), lens).reshape(gx.shape + (2,))
    by_x, by_y = np.gradient(rays, axis=1), np.gradient(rays, axis=0)
    r, shift = camera_from_flat.rotation, camera_from_flat.translation_mm
    total, cover = np.zeros(gx.shape, np.float32), np.zeros(gx.shape, np.float32)
    offsets = (np.arange(supersample) + 0.5) / supersample - 0.5
    for oy in offsets:
        for ox in offsets:
            ray = np.concatenate([rays + ox * by_x + oy * by_y, np.ones(gx.shape + (1,))], -1)
            # ray in the flat's frame, from the lens's centre there
            way = ray @ r
            origin = -r.T @ shift
            plane = 0.0
            for _ in range(3 if any(flat.bow_mm) else 1):
                s = (plane - origin[2]) / way[..., 2]
                x, y = origin[0] + s * way[..., 0], origin[1] + s * way[..., 1]
                if any(flat.bow_mm):
                    plane = _bent(np.stack([x, y], -1), flat.bow_mm)
            if flat.curl_mm is not None:
                s, x, y = _on_tube(way, origin, flat.curl_mm)
            inside = (s > 0) & (((x >= x0) & (x < x1) & (y >= y0) & (y < y1)) | (flat.sides > 0))
            for k in range(flat.sides):
                way_k = 2 * np.pi * k / flat.sides
                inside &= (x - (x0 + x1) / 2) * np.cos(way_k) + (y - (y0 + y1) / 2) * np.sin(way_k) < (x1 - x0) / 2
            u = ((x - x0) * flat.per_mm - 0.5).astype(np.float32)
            v = ((y - y0) * flat.per_mm - 0.5).astype(np.float32)
            value = cv2.remap(flat.pattern, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            total += np.where(inside, value, 0)
            cover += inside
    cover /= supersample**2
    total /= supersample**2
    patch = scene[top:bottom, left:right]
    patch[...] = patch * (1 - cover) + total


def _on_tube(way, origin, radius):
    """Where rays meet a tube that touches z = 0 along y from below: (distance, arc along x, y); the print is
    on top."""
    ahead = way[..., 0] ** 2 + way[..., 2] ** 2
    towards = way[..., 0] * origin[0] + way[..., 2] * (origin[2] - radius)
    rest = origin[0] ** 2 + (origin[2] - radius) ** 2 - radius**2
    under = towards**2 - ahead * rest
    s = np.where(under > 0, (-towards - np.sqrt(np.maximum(under, 0))) / ahead, -1.0)
    x, z = origin[0] + s * way[..., 0], origin[2] + s * way[..., 2]
    return s, radius * np.arctan2(x, radius - z), origin[1] + s * way[..., 1]


def develop(scene, camera, rng):
    """Linear light (H, W) -> an 8 bit picture as the camera would store it."""
    height, width = scene.shape
    y, x = np.mgrid[-1:1:height * 1j, -1:1:width * 1j].astype(np.float32)
    light = scene * (1 + camera.light_tilt * (0.6 * x + 0.4 * y)) * (1 - 0.15 * (x * x + y * y))
    if camera.blur_px:
        light = cv2.GaussianBlur(light, (0, 0), camera.blur_px, borderType=cv2.BORDER_REPLICATE)
    if camera.motion_px:
        light = cv2.filter2D(light, -1, motion_kernel(camera.motion_px, camera.motion_deg),
                             borderType=cv2.BORDER_REPLICATE)
    light = light + rng.normal(size=light.shape).astype(np.float32) * camera.noise * np.sqrt(
        np.maximum(light, 0.02) / 0.8)
    if camera.mode == "linear":
        out = light * 250
    else:
        c = np.clip(light, 0, 1)
        out = 255 * np.where(c < 0.0031308, 12.92 * c, 1.055 * c ** (1 / 2.4) - 0.055)
    if camera.mode in ("sharpened", "phone"):
        out = np.clip(np.rint(out), 0, 255).astype(np.uint8)
        if camera.mode == "phone":
            out = cv2.bilateralFilter(out, 5, 14, 1.1)
        out = out.astype(np.float32)
        out = out + 0.6 * (out - cv2.GaussianBlur(out, (0, 0), 1.3))
    out = np.clip(np.rint(out), 0, 255).astype(np.uint8)
    if camera.jpeg:
        out = cv2.imdecode(cv2.imencode(".jpg", out, [cv2.IMWRITE_JPEG_QUALITY, camera.jpeg])[1], 0)
    return out


def motion_kernel(length, degrees):
    """A straight line of motion as a kernel, by many subsamples."""
    size = int(np.ceil(length)) | 1
    size += 2
    kernel = np.zeros((size, size), np.float32)
    for t in np.linspace(-length / 2, length / 2, 400):
        x = size // 2 + t * np.cos(np.radians(degrees))
        y = size // 2 + t * np.sin(np.radians(degrees))
        i, j = int(np.floor(x)), int(np.floor(y))
        fx, fy = x - i, y - j
        for dj, wy in ((0, 1 - fy), (1, fy)):
            for di, wx in ((0, 1 - fx), (1, fx)):
                kernel[j + dj, i + di] += wx * wy
    return kernel / kernel.sum()


def true_corners(tag_pose, size_mm, camera_from_world, lens):
    return project(camera_from_world.apply(tag_pose.apply(tag_corners_mm(size_mm))), lens)


def true_saddles(card_pose, camera_from_world, lens, bow_mm=(0.0, 0.0, 0.0)):
    points = card_saddles_mm(KIT.card)
    points[:, 2] = _bent(points, bow_mm)
    return project(camera_from_world.apply(card_pose.apply(points)), lens)


def look_at(position, target, roll=0.0, up=(0, 0, 1.0)):
    """camera_from_world of a camera at ``position`` looking at ``target``, turned by roll rad."""
    ahead = np.asarray(target, float) - position
    ahead = ahead / np.linalg.norm(ahead)
    right = np.cross(ahead, up)
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    rotation = rotation_from_vector(np.array([0, 0, roll])) @ np.stack([right, down, ahead])
    return Pose(rotation, -rotation @ position)


def facing(normal, spin=0.0):
    """Rotation world_from_tag of a tag whose face looks along ``normal`` (its z runs against it)."""
    z = -np.asarray(normal, float) / np.linalg.norm(normal)
    x = np.cross([0.0, 0, -1], z)
    x /= np.linalg.norm(x)
    base = np.stack([x, np.cross(z, x), z], 1)
    return base @ rotation_from_vector(np.array([0, 0, spin]))
