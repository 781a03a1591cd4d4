"""Starting values: where each photo was taken from and where each marker sits, one after the other."""

from __future__ import annotations

import numpy as np

from calib.kit import card_saddles_mm, tag_corners_mm
from calib.lens import project
from calib.poses import Pose
from calib.resection import camera_from_points, planar_poses, square_poses

_WORST_PX = 30.0
# Photos that a marker's first place is looked for in, those that show it largest.
_MOST_TRIED = 10


def start_poses(sightings, sizes_mm, card, lens, root=None, root_tilt=0):
    """Chain cameras and markers together from the card or, without it, from one marker.

    Parameters: sightings: list of Detections; sizes_mm: id -> mm; card: CardSpec or None;
    lens; root: marker id whose frame is the world where no photo shows the card, and which of its
    two tilts to believe.
    Returns (cameras: list of camera_from_world Pose or None, markers: id -> world_from_marker Pose).
    """
    tilts = [{i: [p for p, _ in square_poses(sizes_mm[i], t.corners_px, lens)]
              for i, t in s.tags.items()} for s in sightings]
    cameras = [None] * len(sightings)
    markers = {}
    if root is None:
        saddles = card_saddles_mm(card)
        for k, s in enumerate(sightings):
            if s.card is not None and len(s.card.index) >= 6:
                both = planar_poses(saddles[s.card.index], s.card.pixels, lens)
                if both:
                    cameras[k] = both[0][0]
    else:
        markers[root] = Pose.identity()
        order = sorted((k for k, s in enumerate(sightings) if root in s.tags),
                       key=lambda k: -_size_px(sightings[k].tags[root]))
        for k in order[:1]:
            if len(tilts[k][root]) > root_tilt:
                cameras[k] = tilts[k][root][root_tilt]
    while True:
        _place_markers(sightings, sizes_mm, lens, tilts, cameras, markers, keep=root)
        before = sum(c is not None for c in cameras)
        _place_cameras(sightings, sizes_mm, lens, tilts, cameras, markers)
        if sum(c is not None for c in cameras) == before:
            break
    return cameras, markers


def _size_px(tag):
    return float(np.linalg.norm(tag.corners_px[0] - tag.corners_px[2]))


def _misfit(camera, marker, size_mm, seen, lens):
    """Summed corner misfit (px), capped so that one bad view does not decide."""
    at = camera.apply(marker.apply(tag_corners_mm(size_mm)))
    if (at[:, 2] < 10).any():
        return 1e6
    return float(np.minimum(np.linalg.norm(project(at, lens) - seen, axis=1), _WORST_PX).sum())


def _place_markers(sightings, sizes_mm, lens, tilts, cameras, markers, keep):
    """Each marker where one of its tilts in one of the placed photos fits all of them best."""
    known = [k for k, c in enumerate(cameras) if c is not None]
    for i in sorted({i for k in known for i in sightings[k].tags}):
        if i == keep:
            continue
        seen = [k for k in known if i in sightings[k].tags]
        if len(seen) > _MOST_TRIED:
            seen = sorted(sorted(seen, key=lambda k: -_size_px(sightings[k].tags[i]))[:_MOST_TRIED])
        candidates = [cameras[k].inverse() @ tilt for k in seen for tilt in tilts[k][i]]
        if candidates:
            markers[i] = min(candidates, key=lambda m: sum(
                _misfit(cameras[k], m, sizes_mm[i], sightings[k].tags[i].corners_px, lens)
                for k in seen))


def _place_cameras(sightings, sizes_mm, lens, tilts, cameras, markers):
    for k, s in enumerate(sightings):
        if cameras[k] is not None:
            continue
        known = [i for i in sorted(s.tags) if i in markers]
        if len(known) >= 2:
            points = np.concatenate([markers[i].apply(tag_corners_mm(sizes_mm[i])) for i in known])
            pixels = np.concatenate([s.tags[i].corners_px for i in known])
            cameras[k] = camera_from_points(points, pixels, lens)
        elif len(known) == 1:
            both = tilts[k][known[0]]
            if both:
                cameras[k] = both[0] @ markers[known[0]].inverse()
