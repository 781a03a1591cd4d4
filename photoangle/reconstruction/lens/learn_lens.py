"""Photos of the card, or of a checkerboard -> lens profiles, with a plain verdict on each."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.calibrate import TooFewViews, View, calibrate, coverage, projection_sigma
from calib.images.photo import CameraIdentity
from calib.kit import Kit
from calib.profile import CameraProfile
from photoangle.carfile.car import PrintCheck
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding
from photoangle.detection.detections import Detections
from photoangle.reconstruction.intrinsics_prior import paper_priors
from photoangle.reconstruction.lens.lens_boards import (
    BoardAsked,
    BoardViews,
    board_size_mm,
    not_seen,
    of_a_checkerboard,
    of_the_card,
)
from photoangle.reconstruction.lens.tagged import LEAST_OF_A_SHEET, Tagged, calibrated, of_tags
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
                 grey: Callable[[str], np.ndarray | None] = lambda name: None,
                 board: BoardAsked | None = None) -> tuple[list[LensResult], list[Finding]]:
    """Profiles from photos of the card, of a checkerboard with tags or without, or of a sheet of tags, one
    for each camera among them.

    Parameters: sightings: list of Detections of the lens photos; kit; check: carfile.PrintCheck; grey(name)
    gives a photo's picture again where another board is to be looked for in it, or None; board: the plain
    checkerboard that the user says is in them. Returns (list of LensResult, findings).
    """
    findings: list[Finding] = []
    cards = of_the_card(sightings, kit) if board is None else {}
    bare = [s.name for s in sightings if s.name not in cards]
    cameras = {s.name: s.camera for s in sightings}
    tagged = of_tags(bare, grey, cameras, kit) if bare and board is None else Tagged()
    bare = [name for name in bare if name not in tagged.views and name not in tagged.tags]
    boards, what = of_a_checkerboard(bare, grey, board) if bare else ({}, "")
    findings += not_seen(name for name in bare if name not in boards)
    groups: list[BoardViews] = []
    for camera in dict.fromkeys(s.camera for s in sightings):
        mine = [s.name for s in sightings if s.camera == camera]
        for views, title, size in ((cards, "the card", _size_of(kit.card)),
                                   (tagged.views, tagged.title, tagged.size_mm), (boards, what, None)):
            of_this = tuple(views[name] for name in mine if name in views)
            if of_this:
                groups.append(BoardViews(camera, of_this, size or board_size_mm(of_this), title))
        sheet = tuple(tagged.tags[name] for name in mine if name in tagged.tags)
        if sheet:
            groups.append(BoardViews(camera, (), (0.0, 0.0), tagged.title, sheet, tagged))
    # of one camera what more photos show
    groups.sort(key=lambda g: -g.photos)
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
    if group.photos < (LEAST_OF_A_SHEET if group.sightings else 3):
        findings.append(
            Finding(
                ATTENTION if results else UNUSABLE,
                ", ".join(v.name for v in (*views, *group.sightings)),
                f"only {group.photos} usable photo{'s' if group.photos > 1 else ''} of {group.title} from"
                f" {camera.title}"
                f" at {camera.width_px} x {camera.height_px}",
                "take about ten, from all sides, with one zoom",
            )
        )
        return False
    try:
        results.append(_learn(replace(group, views=views), check, findings))
    except TooFewViews as error:
        findings.append(Finding(UNUSABLE, camera.title, str(error), "take about ten"))
        return False
    if group.title != "the card":
        findings.append(Finding(NOTE, camera.title, f"the lens was learnt from {group.title}", ""))
    return True


def _size_of(card):
    return None if card is None else (card.width_mm, card.height_mm)


def _calibrated(group, check):
    if group.tagged is None:
        _, paper_sigma = paper_priors(check)
        camera = group.camera
        return calibrate(list(group.views), camera.width_px, camera.height_px, camera.focal_px, group.size_mm,
                         paper_sigma)
    found = calibrated(list(group.sightings), group.tagged)
    if found is None:
        raise TooFewViews(f"photos of {group.title} do not tell the lens: its tags move between photos, or"
                          " too few sides of it are seen")
    return found


def _learn(group, check, findings):
    camera = group.camera
    width, height = camera.width_px, camera.height_px
    found = _calibrated(group, check)
    views = group.views or tuple(_tags_of(s) for s in group.sightings)
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


def _tags_of(sighting):
    """A sheet's corners in a photo, for where in the picture they are."""
    pixels = np.concatenate([t.corners_px for t in sighting.tags.values()])
    return View(sighting.name, np.zeros((len(pixels), 3)), pixels, np.tile(np.eye(2), (len(pixels), 1, 1)))


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
