"""Photos of random corners by phones as they are, without pictures: projections through lenses that no model
here has exactly, with noise.

What real main cameras were met with: distortion that three radial terms do not quite describe, a principal
point that stabilisers move by up to some 20 px at 4032, a focal length that follows the focus by half a percent,
paper that is not flat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.calibrate import View, calibrate
from calib.images.photo import CameraIdentity
from calib.kit import card_saddles_mm, tag_corners_mm
from calib.lens import plain_lens, project
from calib.poses import Pose, rotation_from_vector
from calib.profile import CameraProfile
from photoangle.detection.alignment.aligned_tag import AlignedTag
from photoangle.detection.detections import Detections
from photoangle.detection.saddles import CardDetection
from tests.coverage import corner
from tests.scenes import KIT, look_at

WIDTH, HEIGHT = 4032, 3024


@dataclass(frozen=True)
class Phone:
    """lens: parameters with the radial spline; wander_px, breathing: standard deviations of the principal point
    and of the focal length's share from photo to photo; noise_px: of a corner of a tag of 60 px; identity."""

    lens: np.ndarray
    wander_px: float
    breathing: float
    noise_px: float
    identity: CameraIdentity

    def moved(self, rng):
        """The lens of one photo."""
        out = self.lens.copy()
        out[0] *= 1 + rng.normal(0, self.breathing)
        out[2:4] += rng.normal(0, self.wander_px, 2)
        return out


def phone(rng) -> Phone:
    """A phone's main camera."""
    focal35 = rng.uniform(23.5, 28)
    focal = focal35 / 43.2666 * np.hypot(WIDTH, HEIGHT)
    lens = plain_lens(focal * (1 + rng.normal(0, 0.012)), (WIDTH - 1) / 2, (HEIGHT - 1) / 2, spline=True)
    lens[1] = rng.normal(0, 2e-4)
    lens[2:4] += rng.normal(0, 0.006 * WIDTH, 2)
    # the radial curve by its values at the middle of the field and at its corner, and terms that bend it between
    k = _radial(rng)
    lens[[4, 5, 8]] = k
    lens[6:8] = rng.normal(0, 5e-4, 2)
    lens[9:] = rng.normal(0, 0.6 / focal, len(lens) - 9)
    wander, breathing = rng.choice([0.0, 2.0, 8.0, 18.0]), rng.choice([0.0, 0.001, 0.004])
    identity = CameraIdentity("Plover", "P9", "", None, round(focal35), 1.0, WIDTH, HEIGHT)
    return Phone(lens, float(wander), float(breathing), float(rng.uniform(0.03, 0.12)), identity)


def _radial(rng):
    """k1, k2, k3: each as large as they are met, together a curve within some percent over the field."""
    while True:
        k1, k2 = rng.normal(0.12, 0.17), rng.normal(-0.6, 1.2)
        k3 = rng.normal(-1.35 * k2, 1.2)
        # one image point for each direction, to the corner of a 24 mm lens, and no more than a phone's maker lets by
        r = np.linspace(0, 0.88, 23)
        curve = k1 * r**2 + k2 * r**4 + k3 * r**6
        slope = 1 + 3 * k1 * r**2 + 5 * k2 * r**4 + 7 * k3 * r**6
        if (np.abs(curve) < 0.02 + 0.05 * r).all() and (np.abs(slope - 1) < 0.25).all():
            return k1, k2, k3


def profile_of(phone, rng, photos=10):
    """CameraProfile learnt from photos of the card by this phone."""
    saddles, views = card_saddles_mm(KIT.card), []
    while len(views) < photos:
        turn = rotation_from_vector(np.r_[rng.uniform(-0.7, 0.7, 2), rng.uniform(-1.5, 1.5)])
        centre = np.array([rng.uniform(-170, 170), rng.uniform(-120, 120), rng.uniform(330, 600)])
        seen = project(Pose(turn, centre - turn @ [126, 84, 0]).apply(saddles), phone.moved(rng))
        inside = ((seen > 10) & (seen < [WIDTH - 10, HEIGHT - 10])).all(1)
        if inside.sum() > 20:
            noise = 0.04
            views.append(View(f"v{len(views)}", saddles[inside], seen[inside]
                              + rng.normal(0, noise, (inside.sum(), 2)),
                              np.tile(np.eye(2) * noise**2, (inside.sum(), 1, 1))))
    found = calibrate(views, WIDTH, HEIGHT, phone.identity.focal_px)
    return CameraProfile(phone.identity, found.lens, found.covariance, found.shift_sigma, found.floor_px,
                         len(views), found.rms_px, found.variance_factor, 0.1, 0.1, "")


def photographed(rng, phone, photos, curl_mm=0.0, far=1.0):
    """What photos of a random corner show.

    curl_mm: how far paper is off flat at its corners, RMS; far: times the usual distance.
    Returns (list of Detections, marker id -> world_from_marker Pose, card's Pose).
    """
    tags, card = corner(rng)
    saddles, out = card_saddles_mm(KIT.card), []
    flat = {i: tag_corners_mm(30.0) + np.c_[np.zeros((4, 2)), rng.normal(0, curl_mm, 4)] for i in tags}
    for k in range(photos):
        angle = rng.uniform(-0.6, 0.6) if photos < 3 else np.linspace(-0.6, 0.6, photos)[k]
        target = np.array([-120 + rng.uniform(-60, 60), 60, 360 + rng.uniform(-40, 40)])
        away = far * rng.uniform(950, 1250) * np.array([np.sin(angle), -np.cos(angle), rng.uniform(-0.25, 0.35)])
        view, lens = look_at(target + away, target, rng.normal(0, 0.06)), phone.moved(rng)
        seen = {}
        for i, pose in tags.items():
            if phone_sees(view, pose):
                side, px = _px(view.apply(pose.apply(flat[i])), lens)
                noise = phone.noise_px * np.sqrt(60 / side)
                if ((px > 5) & (px < [WIDTH - 5, HEIGHT - 5])).all():
                    seen[i] = AlignedTag(px + rng.normal(0, noise, (4, 2)), np.eye(8) * noise**2, np.eye(2), 1.0,
                                         150.0, 1.0, 4, True)
        noise = phone.noise_px
        px = project(view.apply(card.apply(saddles)), lens) + rng.normal(0, noise, (len(saddles), 2))
        inside = np.flatnonzero(((px > 5) & (px < [WIDTH - 5, HEIGHT - 5])).all(1))
        cards = CardDetection(inside, px[inside], np.tile(np.eye(2) * noise**2, (len(inside), 1, 1)))
        out.append(Detections(f"p{k}", WIDTH, HEIGHT, phone.identity, None, seen, cards))
    return out, tags, card


def phone_sees(view, pose):
    """Whether a tag faces the phone by more than 15 deg."""
    at = view.apply(pose.translation_mm)
    normal = view.rotation @ pose.rotation[:, 2]
    return bool(normal @ at / np.linalg.norm(at) > np.sin(np.radians(15)))


def _px(points, lens):
    px = project(points, lens)
    return float(np.linalg.norm(px - np.roll(px, 1, 0), axis=1).mean()), px
