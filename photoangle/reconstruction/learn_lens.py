"""Photos of the card -> lens profiles, with a plain verdict on each."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.calibrate import TooFewViews, View, calibrate, coverage, projection_sigma
from calib.images.photo import CameraIdentity
from calib.kit import Kit, card_saddles_mm
from calib.profile import CameraProfile
from photoangle.carfile.car import PrintCheck
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding
from photoangle.detection.detections import Detections
from photoangle.reconstruction.intrinsics_prior import paper_priors
from photoangle.reconstruction.select_views import MOST_PHOTOS, card_places, most_telling

_LEAST_CORNERS = 12
_GOOD_PX = 0.3


@dataclass(frozen=True)
class LensResult:
    """A profile and what to say of it.

    covered (rows, columns): parts of the picture that the card reached; view_rms_px: name -> px; verdict: one
    sentence; focal_px and u_px.
    """

    profile: CameraProfile
    verdict: str
    good: bool
    covered: np.ndarray
    view_rms_px: dict
    sigma_px: np.ndarray
    moving: bool


def learn_lenses(sightings: Sequence[Detections], kit: Kit,
                 check: PrintCheck) -> tuple[list[LensResult], list[Finding]]:
    """Profiles from photos of the card, one for each camera among them.

    Parameters: sightings: list of Detections of the card photos; kit; check: carfile.PrintCheck.
    Returns (list of LensResult, findings).
    """
    groups: dict[CameraIdentity, list[Detections]] = {}
    findings: list[Finding] = []
    assert kit.card is not None
    saddles = card_saddles_mm(kit.card)
    for s in sightings:
        if s.card is None or len(s.card.index) < _LEAST_CORNERS:
            findings.append(Finding(ATTENTION, s.name, "too little of the card is seen",
                                    "fill half the picture with the card, in focus"))
            continue
        groups.setdefault(replace(s.camera), []).append(s)
    results: list[LensResult] = []
    for camera, group in sorted(groups.items(), key=lambda g: -len(g[1])):
        if len(group) > MOST_PHOTOS:
            findings.append(
                Finding(
                    NOTE, "lens",
                    f"{len(group)} photos of the card are here; the {MOST_PHOTOS} that reach most of the"
                    " picture were used", "about ten are enough"))
            group = most_telling(group, shows=card_places)
        views = [View(s.name, saddles[s.card.index], s.card.pixels, s.card.covariance_px2)
                 for s in group if s.card is not None]
        if len(views) < 3:
            findings.append(
                Finding(
                    ATTENTION if results else UNUSABLE,
                    ", ".join(v.name for v in views),
                    f"only {len(views)} usable photo{'s' if len(views) > 1 else ''} of the card from"
                    f" {camera.title}"
                    f" at {camera.width_px} x {camera.height_px}",
                    "take about ten, from all sides, with one zoom",
                )
            )
            continue
        try:
            results.append(_learn(camera, views, kit, check, findings))
        except TooFewViews as error:
            findings.append(Finding(UNUSABLE, camera.title, str(error), "take about ten"))
    return results, findings


def _learn(camera, views, kit, check, findings):
    _, paper_sigma = paper_priors(check)
    width, height = camera.width_px, camera.height_px
    found = calibrate(views, width, height, camera.focal_px,
                      (kit.card.width_mm, kit.card.height_mm), paper_sigma)
    moving = found.shift_sigma is not None
    sigma = projection_sigma(found.lens, found.covariance, width, height, moving=moving)
    middle = float(np.sqrt((sigma[1:-1, 1:-1] ** 2).mean()))
    corners = float(sigma[[0, 0, -1, -1], [0, -1, 0, -1]].max())
    covered = coverage(views, width, height)
    profile = CameraProfile(camera, found.lens, found.covariance, found.shift_sigma, found.floor_px,
                            len(views), found.rms_px, found.variance_factor, middle, corners,
                            datetime.date.today().isoformat())
    verdict, good = _verdict(profile, covered, sigma)
    for name, rms in zip(found.view_names, found.view_rms_px, strict=False):
        if rms > 4 * np.median(found.view_rms_px) and rms > 0.3:
            findings.append(
                Finding(
                    ATTENTION, name, f"the card fits badly here ({rms:.2f} px, usually"
                    f" {np.median(found.view_rms_px):.2f})", "leave this photo out, or take it again:"
                    " hold still, card flat, in focus"))
    bow = np.abs(found.paper[1:4]).max()
    if bow > 1.0:
        findings.append(Finding(ATTENTION, "card", f"the card is bowed by about {bow:.1f} mm",
                                "glue it flat on a stiff board and take the lens photos again"))
    return LensResult(
        profile,
        verdict,
        good,
        covered,
        dict(zip(found.view_names, found.view_rms_px, strict=False)),
        sigma,
        moving,
    )


def _verdict(profile, covered, sigma):
    """One sentence on how good the profile is and what would improve it."""
    weak = []
    half_r, half_c = covered.shape[0] // 2, covered.shape[1] // 2
    for name, part, known in (
            ("top left", covered[:half_r, :half_c], sigma[0, 0]),
            ("top right", covered[:half_r, half_c:], sigma[0, -1]),
            ("bottom left", covered[half_r:, :half_c], sigma[-1, 0]),
            ("bottom right", covered[half_r:, half_c:], sigma[-1, -1])):
        if part.mean() < 0.55 or known > 3 * _GOOD_PX:
            weak.append(name)
    good_to = f"good to {_px(profile.good_to_px)} px, {_px(profile.corners_good_to_px)} in the corners"
    if profile.photos < 6:
        return f"{good_to}; {profile.photos} photos are few: take about ten", False
    if weak:
        return (f"{good_to}; take three more with the card in the corners of the picture"
                f" ({', '.join(weak)})"), False
    if profile.good_to_px > _GOOD_PX:
        return f"{good_to}; take three more with the card tilted about 40 degrees", False
    return good_to, True


def _px(value):
    return f"{value:.2f}" if value < 0.095 else f"{value:.1f}"
