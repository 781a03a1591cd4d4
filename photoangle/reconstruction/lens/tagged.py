"""A lens from boards with tags that are not the kit's: a checkerboard with tags in it, or a sheet or screen
of tags whose arrangement nobody told."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from calib.calibrate import Calibration, View
from calib.images.photo import CameraIdentity, Photo
from calib.kit import Kit, card_saddles_mm
from photoangle.carfile.car import PrintCheck
from photoangle.core.findings import Refusal
from photoangle.detection.detect_photo import detect_photo
from photoangle.detection.detections import Detections
from photoangle.detection.other_boards import checkerboard_with_tags, kit_of_board, kit_of_tags, tags_in
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.solve import solve_scene

_LEAST_CORNERS = 12
# A sheet's tags must be seen from so many sides before they tell a lens.
LEAST_OF_A_SHEET = 4


@dataclass(frozen=True)
class Tagged:
    """What photos show of a board with tags.

    title in words; kit that has its tags; views: photo's name -> View of its corners, of a checkerboard of
    size_mm (its squares `other_boards.SQUARE_MM`); or tags: name -> Detections, of a sheet.
    """

    title: str = ""
    kit: Kit | None = None
    size_mm: tuple[float, float] = (0.0, 0.0)
    views: Mapping[str, View] = field(default_factory=dict)
    tags: Mapping[str, Detections] = field(default_factory=dict)


def of_tags(names: Iterable[str], grey: Callable[[str], np.ndarray | None],
            cameras: Mapping[str, CameraIdentity], own: Kit) -> Tagged:
    """The board with tags that most of the photos show, whichever it is; nothing where there is none.

    own: the kit in use, which says how large its markers are; others are taken to be of one size.
    """
    family, seen = tags_in(names, grey)
    if not family:
        return Tagged()
    card = checkerboard_with_tags(family, seen)
    ids = {i for tags in seen.values() for i in tags}
    kit = _sheet(family, ids, own) if card is None else kit_of_board(card)
    found = {}
    for name in seen:
        picture = grey(name)
        if picture is not None:
            found[name] = detect_photo(Photo(name, picture, 1, cameras[name], ""), kit)[0]
    if card is not None:
        saddles = card_saddles_mm(card)
        views = {n: View(n, saddles[s.card.index], s.card.pixels, s.card.covariance_px2)
                 for n, s in found.items() if s.card is not None and len(s.card.index) >= _LEAST_CORNERS}
        title = f"a checkerboard of {card.columns} x {card.rows} squares with tags of {family}"
        return Tagged(title, kit, (card.width_mm, card.height_mm), views)
    count = len({i for s in found.values() for i in s.tags})
    tags = {n: s for n, s in found.items() if len(s.tags) > 1}
    return Tagged(f"a sheet of {count} tags of {family}", kit, tags=tags)


def _sheet(family: str, ids: set[int], own: Kit) -> Kit:
    """The kit of tags that lie as they like: those of the kit in use where it has them all."""
    alike = own.family_name.rsplit("_", 1)[0] == family.rsplit("_", 1)[0]
    if alike and all(own.slot(i) is not None for i in ids):
        return replace(own, card=None)
    return kit_of_tags(family)


def calibrated(sightings: list[Detections], tagged: Tagged) -> Calibration | None:
    """The lens by photos of tags that keep their places, wherever those are: as a state without a card is
    solved.  None where they do not tell it."""
    camera = sightings[0].camera
    kit = tagged.kit
    if kit is None:
        return None
    knowledge, _ = lens_knowledge(camera, [], sightings, kit, PrintCheck(), "lens")
    scene = solve_scene(sightings, kit, knowledge, "lens")
    if isinstance(scene, Refusal) or scene.edited or len(scene.photos) < LEAST_OF_A_SHEET:
        return None
    solution, n = scene.solution, scene.solution.bundle.lens_size
    residual = np.linalg.solve(solution.bundle.tag_white, solution.tag_residual[..., None])[..., 0]
    which = solution.bundle.tag_camera
    rms = np.array([np.sqrt((residual[which == k]**2).mean()) for k in range(len(scene.photos))])
    moving = solution.bundle.priors.shift_sigma
    return Calibration(solution.values.lens, scene.covariance[:n, :n], moving, 0.0,
                       solution.variance_factor(), float(np.sqrt((residual**2).mean())), scene.photos, rms,
                       scene.cameras, solution.values.paper, {})
