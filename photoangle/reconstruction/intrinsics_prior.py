"""What is known of a lens before a state's photos are solved: a profile, EXIF, or the card alone."""

from __future__ import annotations

import numpy as np

from calib.calibrate import MOVING_SIGMA, View, first_focal
from calib.kit import card_saddles_mm
from calib.lens import phone_information, plain_lens
from calib.rows import PAPER_SIGMA, Priors
from photoangle.carfile.print_check import print_scale
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.reconstruction.lens.shown import prior_with
from photoangle.reconstruction.problem import LensKnowledge

# How well EXIF's focal length, one from the card, and none is known, as a share; the principal point.  What
# EXIF says is good to 3 % of a photo as it was taken, and says nothing of a zoom or a crop afterwards.
_EXIF_SIGMA, _CARD_SIGMA, _GUESS_SIGMA = 0.1, 0.15, 0.3
_CENTRE_SIGMA = 0.012


def paper_priors(check, card_tags_scale=0.005):
    """Means and sigmas (5,) of the paper's unknowns from the print check."""
    _, _, aspect, aspect_u = print_scale(check)
    sigma = PAPER_SIGMA.copy()
    sigma[0], sigma[4] = card_tags_scale, max(aspect_u, 5e-4)
    return np.array([0, 0, 0, 0, aspect]), sigma


def lens_knowledge(camera, profiles, sightings, kit, check, where, shown=()):
    """What to start from for photos of one camera.

    Parameters: camera: CameraIdentity of the photos; profiles: list of CameraProfile, which come first;
    sightings: for the focal length from the card where there is neither; check: carfile.PrintCheck; shown:
    LensShown of other states' photos of this phone (`lens.shown.others_of`).
    Returns (LensKnowledge, findings).
    """
    mean, sigma = paper_priors(check)
    reasons = []
    for profile in profiles:
        trouble = profile.match(camera)
        if trouble is None:
            priors = Priors(profile.lens, np.linalg.inv(profile.covariance), mean, sigma,
                            profile.shift_sigma)
            return LensKnowledge(priors, profile.floor_px, "profile"), []
        reasons.append(trouble)
    findings = [Finding(ATTENTION, where, f"the lens profile does not fit: {reasons[-1]}",
                        "use the original photos, the same phone, lens and zoom as for the lens photos;"
                        " until then the plus-or-minus is wider")] if reasons else [
        Finding(NOTE, where, _learnt_from(shown, sightings),
                "take about ten photos of the card from all sides into lens/ and run `photoangle lens`")]
    focal, spread, source = camera.focal_px, _EXIF_SIGMA, "exif"
    if focal is None:
        focal, spread, source = _focal_from_card(sightings, kit, camera)
        if source == "guess":
            findings.append(Finding(ATTENTION, where, "the photos tell nothing of the lens",
                                    "send the original photos, with the card in view"))
    width, height = camera.width_px, camera.height_px
    lens = plain_lens(focal, (width - 1) / 2, (height - 1) / 2, spline=True)
    across = max(width, height)
    sigmas = np.array([spread * focal, 1e-3, _CENTRE_SIGMA * across, _CENTRE_SIGMA * across])
    information = phone_information(sigmas, focal, across)
    # whether the phone moves its lens from photo to photo is not known either
    moving = MOVING_SIGMA * [1, across / 4032, across / 4032]
    at_large = Priors(lens, information, mean, sigma, moving)
    if not shown:
        return LensKnowledge(at_large, 0.0, source), findings
    return LensKnowledge(prior_with(at_large, shown), 0.0, _photos_of(shown, sightings), at_large=at_large,
                         shown=tuple(shown)), findings


def _photos_of(shown, own):
    """How many photos tell of the lens, this state's own among them."""
    return f"{len(own) + sum(len(s.photos) for s in shown)} photos of this phone"


def _learnt_from(shown, own):
    if not shown:
        return "no lens profile: the plus-or-minus is wider than it need be"
    return f"lens learnt from {_photos_of(shown, own)}; photos of the card would tell more of it"


def _focal_from_card(sightings, kit, camera):
    views = []
    if kit.card is not None:
        saddles = card_saddles_mm(kit.card)
        views = [View(s.name, saddles[s.card.index], s.card.pixels, s.card.covariance_px2)
                 for s in sightings if s.card is not None and len(s.card.index) >= 8]
    if views:
        return first_focal(views, camera.width_px, camera.height_px), _CARD_SIGMA, "card"
    # a phone's main camera: 24 to 28 mm equivalent on a 4:3 sensor
    return 0.76 * max(camera.width_px, camera.height_px), _GUESS_SIGMA, "guess"
