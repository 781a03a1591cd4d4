"""Photos of the card, or of a checkerboard -> lens profiles, with a plain verdict on each."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.calibrate import TooFewViews, calibrate, coverage, projection_sigma
from calib.images.photo import CameraIdentity
from calib.kit import Kit
from calib.profile import CameraProfile
from photoangle.carfile.car import PrintCheck
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding
from photoangle.detection.detections import Detections
from photoangle.reconstruction.intrinsics_prior import paper_priors
from photoangle.reconstruction.lens_boards import (
    BoardViews,
    board_size_mm,
    not_seen,
    of_a_checkerboard,
    of_the_card,
)
from photoangle.reconstruction.select_views import MOST_PHOTOS, most_telling, places

_GOOD_PX = 0.3


@dataclass(frozen=True)
class LensResult:
    """A profile and what to say of it.

    board: what was photographed; covered (rows, columns): parts of the picture that it reached; view_rms_px:
    name -> px; verdict: one sentence; focal_px and u_px.
    """

    profile: CameraProfile
    verdict: str
    good: bool
    covered: np.ndarray
    view_rms_px: dict
    sigma_px: np.ndarray
    moving: bool
    board: str = "the card"


def learn_lenses(sightings: Sequence[Detections], kit: Kit, check: PrintCheck,
                 grey: Callable[[str], np.ndarray | None] = lambda name: None
                 ) -> tuple[list[LensResult], list[Finding]]:
    """Profiles from photos of the card, or of a plain checkerboard, one for each camera among them.

    Parameters: sightings: list of Detections of the lens photos; kit; check: carfile.PrintCheck; grey(name)
    gives a photo's picture again where a checkerboard is to be looked for in it, or None. Returns (list of
    LensResult, findings).
    """
    findings: list[Finding] = []
    cards = of_the_card(sightings, kit)
    bare = [s.name for s in sightings if s.name not in cards]
    boards, what = of_a_checkerboard(bare, grey) if bare else ({}, "")
    findings += not_seen(name for name in bare if name not in boards)
    groups: list[BoardViews] = []
    for camera in dict.fromkeys(s.camera for s in sightings):
        mine = [s for s in sightings if s.camera == camera]
        for views, title in ((cards, "the card"), (boards, what)):
            of_this = tuple(views[s.name] for s in mine if s.name in views)
            if not of_this:
                continue
            card = kit.card if title == "the card" else None
            size = (card.width_mm, card.height_mm) if card is not None else board_size_mm(of_this)
            groups.append(BoardViews(camera, of_this, size, title))
    # of one camera what more photos show
    groups.sort(key=lambda g: -len(g.views))
    results: list[LensResult] = []
    done: set[CameraIdentity] = set()
    for group in groups:
        if group.camera not in done and _one(group, check, results, findings):
            done.add(group.camera)
    return results, findings


def _one(group, check, results, findings):
    """Learn from one camera's views of one board.  Returns whether it could be."""
    camera, views = group.camera, group.views
    if len(views) > MOST_PHOTOS:
        findings.append(
            Finding(
                NOTE, "lens",
                f"{len(views)} photos of {group.title} are here; the {MOST_PHOTOS} that reach most"
                " of the picture were used", "about ten are enough"))
        size = np.array([camera.width_px, camera.height_px])
        views = tuple(most_telling(views, shows=lambda view: places(view.pixels, size)))
    if len(views) < 3:
        findings.append(
            Finding(
                ATTENTION if results else UNUSABLE,
                ", ".join(v.name for v in views),
                f"only {len(views)} usable photo{'s' if len(views) > 1 else ''} of {group.title} from"
                f" {camera.title}"
                f" at {camera.width_px} x {camera.height_px}",
                "take about ten, from all sides, with one zoom",
            )
        )
        return False
    if group.title != "the card":
        findings.append(Finding(NOTE, camera.title, f"the lens was learnt from {group.title}", ""))
    try:
        results.append(_learn(replace(group, views=views), check, findings))
    except TooFewViews as error:
        findings.append(Finding(UNUSABLE, camera.title, str(error), "take about ten"))
        return False
    return True


def _learn(group, check, findings):
    camera, views = group.camera, list(group.views)
    _, paper_sigma = paper_priors(check)
    width, height = camera.width_px, camera.height_px
    found = calibrate(views, width, height, camera.focal_px, group.size_mm, paper_sigma)
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
                    ATTENTION, name, f"{group.title} fits badly here ({rms:.2f} px, usually"
                    f" {np.median(found.view_rms_px):.2f})", "leave this photo out, or take it again:"
                    " hold still, card flat, in focus"))
    bow = np.abs(found.paper[1:4]).max()
    if bow > 1.0:
        findings.append(Finding(ATTENTION, "card", f"{group.title} is bowed by about {bow:.1f} mm",
                                "glue it flat on a stiff board and take the lens photos again"))
    return LensResult(
        profile,
        verdict,
        good,
        covered,
        dict(zip(found.view_names, found.view_rms_px, strict=False)),
        sigma,
        moving,
        group.title,
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
