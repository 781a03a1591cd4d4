"""What a photo that is not yet taken would bring: the scene's covariance with one more camera in it.

The bundle gets a further photo whose sightings are as exact as the scene's own markers have shown themselves,
larger tags in proportion better, and the covariance of everything else follows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.bundle import Bundle
from calib.kit import card_saddles_mm, tag_corners_mm
from calib.lens import project, trusted_radius
from calib.poses import Pose
from calib.rows import CardRow, TagRow
from calib.solution import Solution
from photoangle.reconstruction.paper_bend import with_bend
from photoangle.reconstruction.scene import scene_errors

# A tag is found when its cells are this large and it is turned by less than this.
_CELL_PX, _NARROW_PX, _OBLIQUE_DEG = 3.5, 2.6, 58.0
# A marker's paper over its black square, with the white edge.
_PAPER = 1.35
# Nobody aims a phone better than this share of the picture's shorter side (common practice, no source).
_AIM = 0.05
_FEWEST_CARD = 12


@dataclass(frozen=True)
class PredictedView:
    """A camera and what it would see: camera_from_world; markers: ids; rows of the bundle (their camera index
    is to be set); card: whether the card is in it."""

    camera: Pose
    markers: tuple
    tags: tuple
    cards: tuple

    @property
    def card(self):
        return bool(self.cards)


def view_from(scene, kit, camera, size_px):
    """What a camera would see of the scene's markers and card.

    camera: camera_from_world; size_px: (width, height) of the photos.  Returns PredictedView.
    """
    solution, values = scene.solution, scene.solution.values
    index = solution.bundle.cameras
    tags, seen, screens = [], [], _screens(scene, kit, camera)
    for marker in sorted(scene.markers):
        pose, size = scene.markers[marker], scene.sizes_mm[marker]
        corners = _seen(camera, pose, tag_corners_mm(size * (1 + values.paper[0])), values.lens, size_px)
        if corners is None or not all(
                _faces(camera, p, np.zeros(3)) for p in (pose, *_rivals(scene, marker))):
            continue
        side = _side(corners)
        if side / 8 < _CELL_PX or _shortest(corners) / 8 < _NARROW_PX or _hidden(corners, marker, screens):
            continue
        tags.append(
            TagRow(index, scene.order.index(marker), size, corners,
                   _tag_covariance(solution, marker, scene.order, side)))
        seen.append(marker)
    return PredictedView(camera, tuple(seen), tuple(tags), _card_rows(scene, kit, camera, size_px, index))


def _screens(scene, kit, camera):
    """Paper that may hide what is behind it: (marker or None for the card, outline (4, 2) px, distance
    mm)."""
    lens, out = scene.solution.values.lens, []
    flats = [(i, p, tag_corners_mm(scene.sizes_mm[i] * _PAPER)) for i, p in scene.markers.items()]
    if scene.has_card and kit.card is not None:
        w, h = kit.card.width_mm, kit.card.height_mm
        flats.append((None, Pose.identity(), np.array([[0, 0, 0], [w, 0, 0], [w, h, 0], [0, h, 0.0]])))
    for marker, pose, outline in flats:
        at = camera.apply(pose.apply(outline))
        if (at[:, 2] > 80).all() and (np.hypot(at[:, 0], at[:, 1]) / at[:, 2]).max() < trusted_radius(lens):
            out.append((marker, project(at, lens), float(at[:, 2].mean())))
    return out


def _hidden(corners, marker, screens):
    """Whether another paper, nearer to the camera, covers a corner or the middle of a tag."""
    mine = next((d for m, _, d in screens if m == marker), np.inf)
    points = np.vstack([corners, corners.mean(0)])
    return any(m != marker and d < mine - 5 and _inside_of(points, outline).any()
               for m, outline, d in screens)


def _inside_of(points, outline):
    """Which points (k, 2) lie within a convex outline (4, 2)."""
    edge = np.roll(outline, -1, 0) - outline
    away = points[:, None] - outline
    turn = edge[:, 0] * away[..., 1] - edge[:, 1] * away[..., 0]
    return (turn > 0).all(1) | (turn < 0).all(1)


def _card_rows(scene, kit, camera, size_px, index):
    bundle, values = scene.solution.bundle, scene.solution.values
    if not (scene.has_card and len(bundle.cards)) or not _faces(camera, Pose.identity(),
                                                                bundle.cards[0].points_mm.mean(0)):
        return ()
    points = card_saddles_mm(kit.card)
    at = camera.apply(points)
    if (at[:, 2] < 80).any():
        return ()
    pixels = project(at, values.lens)
    inside = _inside(pixels, size_px) & (np.hypot(at[:, 0], at[:, 1]) / at[:, 2] < trusted_radius(
        values.lens))
    if inside.sum() < _FEWEST_CARD:
        return ()
    spread = np.median(np.concatenate([r.covariance_px2 for r in bundle.cards]), axis=0)
    return (CardRow(index, points[inside], pixels[inside], np.tile(spread, (int(inside.sum()), 1, 1))),)


def _seen(camera, pose, points, lens, size_px):
    at = camera.apply(pose.apply(points))
    if (at[:, 2] < 80).any() or (np.hypot(at[:, 0], at[:, 1]) / at[:, 2]).max() > trusted_radius(lens):
        return None
    pixels = project(at, lens)
    return pixels if _inside(pixels, size_px).all() else None


def _inside(pixels, size_px):
    return ((pixels > _AIM * min(size_px)) & (pixels < np.array(size_px) - _AIM * min(size_px))).all(-1)


def _faces(camera, pose, middle):
    """Whether a flat pattern's print is turned to the camera, less than the obliquity that tags are found
    at."""
    normal = camera.rotation @ pose.rotation[:, 2]
    at = camera.apply(pose.apply(middle[None]))[0]
    return normal @ at / np.linalg.norm(at) > np.cos(np.radians(_OBLIQUE_DEG))


def _rivals(scene, marker):
    """The other tilt of a marker whose tilt is undecided: its normal mirrored about the line it was seen
    along."""
    if marker not in scene.ambiguous:
        return ()
    pose = scene.markers[marker]
    seen = next((r.camera for r in scene.solution.bundle.tags if scene.order[r.body] == marker), None)
    if seen is None:
        return ()
    camera = scene.cameras[seen]
    way = pose.translation_mm + camera.rotation.T @ camera.translation_mm
    way /= np.linalg.norm(way)
    mirror = 2 * np.outer(way, way) - np.eye(3)
    return (Pose(mirror @ pose.rotation, pose.translation_mm),)


def _side(corners):
    return float(np.mean(np.linalg.norm(np.roll(corners, 1, 0) - corners, axis=1)))


def _shortest(corners):
    return float(np.linalg.norm(np.roll(corners, 1, 0) - corners, axis=1).min())


def _tag_covariance(solution, marker, order, side):
    """As exact as this marker was seen, or the scene's middling one; in proportion to its size in the
    photo."""
    rows = solution.bundle.tags
    own = [r for r in rows if order[r.body] == marker]
    best = min(own or rows, key=lambda r: abs(np.log(_side(r.corners_px) / side)))
    return best.covariance_px2 * _side(best.corners_px) / side


def scene_with(scene, view):
    """The scene as if ``view`` had been taken too: the same values, the covariance narrower.

    The camera's own unknowns are taken out again, so that everything stands where it stood.
    """
    old = scene.solution
    b, v = old.bundle, old.values
    bundle = Bundle(b.cameras + 1, b.bodies, b.tags + view.tags, b.cards + view.cards, b.priors, b.ties,
                    tuple(2 * b.half_card), b.nu)
    values = replace(v, camera_rotation=np.concatenate([v.camera_rotation, view.camera.rotation[None]]),
                     camera_mm=np.concatenate([v.camera_mm, view.camera.translation_mm[None]]),
                     shift=np.concatenate([v.shift, np.zeros((1, v.shift.shape[1]))]))
    tag_r, _, card_r, _ = bundle.whitened(values, False)
    trial = Solution(bundle, values, old.cost, 0, tag_r, card_r)
    start = bundle.camera_start + bundle.per_camera * b.cameras
    keep = np.ix_(*[np.r_[0:start, bundle.body_start:bundle.size]] * 2)
    inverse = trial.inverse()
    # the new photo is taken to fit as predicted; what the others' misfit says of all noise stays
    covariance = trial.covariance(max(old.scale(), trial.least_scale()), inverse)[keep]
    # an undecided tilt that the new photo does not show stays undecided
    for marker in set(scene.doubt) - set(view.markers):
        rows = scene.rows_of(marker)
        covariance[np.ix_(rows, rows)] += scene.doubt[marker]
    errors = scene_errors(b, inverse[keep], covariance, old.degrees_of_freedom(), scene.taken)
    return replace(scene, errors=with_bend(errors, old, scene.order, scene.origin.prints,
                                           inverse[keep]))
