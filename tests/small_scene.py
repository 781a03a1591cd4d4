"""A small rendered scene for tests: the card and six markers around it, from several sides."""

import numpy as np

from calib.images.photo import CameraIdentity, Photo
from calib.kit import card_saddles_mm, tag_corners_mm
from calib.lens import project
from calib.poses import Pose
from calib.rows import Priors
from photoangle.carfile.car import PrintCheck
from photoangle.detection.alignment.aligned_tag import AlignedTag
from photoangle.detection.detections import Detections
from photoangle.detection.saddles import CardDetection
from photoangle.reconstruction.intrinsics_prior import paper_priors
from photoangle.reconstruction.problem import LensKnowledge
from tests.coverage import corner
from tests.scenes import KIT, Camera, card_flat, facing, look_at, scaled_lens, shoot, tag_flat

WIDTH, HEIGHT = 1344, 1008
LENS = scaled_lens(WIDTH)
# The card's frame as the world: x along its long edge, y down it, z into it.
CARD = Pose(np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]]), np.array([-126.0, 0, 250]))


def small_scene(seed, curl=None, count=3, move=None, again=None, camera=None):
    """Photos of six markers beside the card.

    curl: id -> radius mm of the tube it lies on; move: (photo number, id, shift (3,) mm) of a marker that
    stood elsewhere in one photo; again: (id, shift (3,) mm) of a second print.
    Returns (pictures, camera_from_world Poses, id -> card_from_marker Pose).
    """
    rng = np.random.default_rng(seed)
    tags = {
        100 + k: Pose(facing([rng.uniform(-0.5, 0.5), -1, rng.uniform(-0.5, 0.5)], rng.uniform(-0.5, 0.5)),
                      np.array([-200 + 80 * k, -20, 340.0]) + rng.normal(0, 8, 3))
        for k in range(6)
    }
    pictures, views = [], []
    for n in range(count):
        angle = np.linspace(-0.5, 0.5, count)[n] if count > 1 else 0.0
        view = look_at(np.array([640 * np.sin(angle), -640 * np.cos(angle), 260 + 80 * (n % 2)]),
                       np.array([0, 0, 260.0]))
        flats = [card_flat(CARD)]
        for i, pose in tags.items():
            if move is not None and move[:2] == (n, i):
                pose = Pose(pose.rotation, pose.translation_mm + move[2])
            flats.append(tag_flat(i, 30.0, pose, rng, curl_mm=(curl or {}).get(i)))
            if again is not None and again[0] == i:
                flats.append(tag_flat(i, 30.0, Pose(pose.rotation, pose.translation_mm + again[1])))
        pictures.append(shoot(flats, view, LENS, WIDTH, HEIGHT, camera or Camera("srgb"), rng, 3))
        views.append(view)
    back = CARD.inverse()
    return pictures, views, {i: back @ p for i, p in tags.items()}


def photo_of(grey, number=0):
    height, width = grey.shape
    return Photo(f"p{number}", grey, 1, CameraIdentity("Plover", "P9", "", None, None, 1.0, width, height),
                 "")


def knowledge_of(lens=LENS):
    """A lens profile as good as ten photos make it."""
    sigma = np.array([0.3, 1e-4, 0.4, 0.4, 0.004, 0.02, 1e-4, 1e-4, 0.04])
    mean, paper = paper_priors(PrintCheck(200.0, 150.0, 0.1))
    return LensKnowledge(Priors(lens, np.diag(1 / sigma**2), mean, paper))


def projected_sightings(seed, photos=3, noise_px=0.03, aspect=0.0):
    """What photos of an invented corner would show, without rendering: exact projections and white noise.

    aspect: by how much more the card was printed along its long edge than across it.
    Returns (list of Detections, id -> world_from_marker Pose, z up).
    """
    rng = np.random.default_rng(seed)
    tags, card = corner(rng)
    lens, width, height = scaled_lens(2016), 2016, 1512
    identity = CameraIdentity("Plover", "P9", "", None, None, 1.0, width, height)
    saddles = card_saddles_mm(KIT.card) * [1 + aspect, 1, 1]
    out = []
    for k, angle in enumerate(np.linspace(-0.6, 0.6, photos)):
        target = np.array([-120, 60, 360.0])
        view = look_at(target + 1100 * np.array([np.sin(angle), -np.cos(angle), 0.1 * (k % 2)]), target)
        seen = {}
        for i, pose in tags.items():
            px = project(view.apply(pose.apply(tag_corners_mm(30.0))), lens) + rng.normal(0, noise_px, (4, 2))
            seen[i] = AlignedTag(px, np.eye(8) * noise_px**2, np.eye(2), 1.0, 150.0, 1.0, 4, True)
        px = project(view.apply(card.apply(saddles)), lens) + rng.normal(0, noise_px, (len(saddles), 2))
        cards = CardDetection(np.arange(len(saddles)), px,
                             np.tile(np.eye(2) * noise_px**2, (len(saddles), 1, 1)))
        out.append(Detections(f"p{k}", width, height, identity, None, seen, cards))
    return out, tags
