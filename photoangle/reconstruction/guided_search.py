"""A second, guided look: where a solved scene says a marker should be, look again.

Small, dim or half-shaded tags that the finder missed are aligned at their predicted place and kept only
if the pattern really is there: few wrong cells, a small shift from the prediction.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.kit import tag_corners_mm
from calib.lens import moved_lens, project, trusted_radius
from calib.poses import Pose
from calib.resection import square_poses
from photoangle.core.findings import NOTE, Finding
from photoangle.detection.alignment.align import align_tag
from photoangle.detection.codes import wrong_cells
from photoangle.detection.detect_photo import MOST_BEND

_MOST_OBLIQUE_DEG = 80.0
_LEAST_SIDE_PX = 10.0
_EDGE_PX = 8
_HOPELESS_CELLS = 26


def predicted_corners(scene, camera_index, marker_pose, size_mm):
    """Where a marker's corners should be in a photo.

    Returns (corners (4, 2) px, obliquity deg) or None where it is behind the phone or beyond
    the lens's trusted field.
    """
    values = scene.solution.values
    camera = scene.cameras[camera_index]
    corners = tag_corners_mm(size_mm * (1 + values.paper[0]))
    at = camera.apply(marker_pose.apply(corners))
    if (at[:, 2] < 50).any():
        return None
    lens = moved_lens(values.lens, values.shift[camera_index])
    if np.hypot(at[:, 0] / at[:, 2], at[:, 1] / at[:, 2]).max() > trusted_radius(lens):
        return None
    middle = at.mean(0)
    normal = camera.rotation @ marker_pose.rotation[:, 2]
    facing = normal @ middle / np.linalg.norm(middle)
    return project(at, lens), float(np.degrees(np.arccos(np.clip(facing, -1, 1))))


def cut_by_the_frame(scene, sightings, kit):
    """Findings for markers that face a photo's camera but lie partly outside of it."""
    by_name = {s.name: s for s in sightings}
    cut = {}
    for index, name in enumerate(scene.photos):
        sighting = by_name[name]
        for marker in sorted(set(scene.markers) - set(sighting.tags)):
            seen = predicted_corners(scene, index, scene.markers[marker], scene.sizes_mm[marker])
            if seen is None or seen[1] > _MOST_OBLIQUE_DEG:
                continue
            corners = seen[0]
            out = ((corners < 0) | (corners > [sighting.width_px - 1, sighting.height_px - 1])).any(1)
            if 0 < out.sum() < 4:
                cut.setdefault(name, []).append(marker)
    out = []
    for name, markers in cut.items():
        titles = ", ".join(f"{i} ({kit.slot(i).role.title})" for i in markers)
        scarce = any(scene.sightings.get(i, 0) < 2 for i in markers)
        out.append(Finding(NOTE, name, f"marker {titles} is cut off by the edge of the photo",
                           "take one more photo from further back" if scarce else ""))
    return out


def search_again(scene, sightings, kit, grey_of):
    """Sightings with the markers that a guided look adds; the same list where it adds none.

    Parameters: sightings in any order; grey_of(name) -> (H, W) uint8.
    """
    by_name = {s.name: s for s in sightings}
    lens = scene.solution.values.lens
    added = False
    for index, name in enumerate(scene.photos):
        sighting = by_name[name]
        missing = [i for i in sorted(scene.markers) if i not in sighting.tags
                   and i not in sighting.dismissed and (name, i) not in scene.left_out]
        grey = None
        for marker in missing:
            for pose in _hypotheses(scene, sightings, marker):
                seen = predicted_corners(scene, index, pose, scene.sizes_mm[marker])
                if seen is None:
                    continue
                corners, oblique = seen
                side = np.linalg.norm(corners - np.roll(corners, 1, 0), axis=1)
                inside = (corners.min() > _EDGE_PX and corners[:, 0].max() < sighting.width_px - _EDGE_PX
                          and corners[:, 1].max() < sighting.height_px - _EDGE_PX)
                if oblique > _MOST_OBLIQUE_DEG or side.min() < _LEAST_SIDE_PX or not inside:
                    continue
                grey = grey_of(name) if grey is None else grey
                if wrong_cells(grey, corners, kit.family_name, marker)[0] > _HOPELESS_CELLS:
                    continue  # covered, or turned away: not worth aligning
                aligned = align_tag(grey, kit.family_name, marker, corners, lens)
                if aligned is not None and _really_there(grey, kit, marker, aligned, corners,
                                                         scene.sightings.get(marker, 0)):
                    sighting = replace(sighting, tags=sighting.tags | {marker: aligned})
                    added = True
                    break
        by_name[name] = sighting
    return [by_name[s.name] for s in sightings] if added else sightings


def _hypotheses(scene, sightings, marker):
    """Poses worth trying: the solved one and, for a marker seen once, its other tilt."""
    poses = [scene.markers[marker]]
    seen = [(k, s.tags[marker]) for k, name in enumerate(scene.photos)
            for s in sightings if s.name == name and marker in s.tags]
    if len(seen) == 1:
        k, tag = seen[0]
        camera = scene.cameras[k]
        poses += [Pose(camera.rotation, camera.translation_mm).inverse() @ p for p, _ in square_poses(
            scene.sizes_mm[marker], tag.corners_px, scene.solution.values.lens)]
    return poses


def _really_there(grey, kit, marker, aligned, predicted, sightings):
    wrong, contrast = wrong_cells(grey, aligned.corners_px, kit.family_name, marker)
    shift = np.abs(aligned.corners_px - predicted).max()
    if aligned.bent and aligned.bend_px > MOST_BEND * aligned.side_px:
        return False
    return (aligned.settled and aligned.fit > 0.9 and wrong <= 8 and contrast > 0.3
            and shift < (1.0 if sightings > 1 else 4.0))
