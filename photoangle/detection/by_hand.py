"""Markers put right by hand, in the pixels: aligned where they were placed, renamed, dismissed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from photoangle.carfile.corrections import PhotoFix
from photoangle.core.findings import ATTENTION, NOTE, Finding

# A corner set by eye on a phone's screen, where the pattern could not be aligned.
HAND_PX = 2.0


def id_for_role(kit, tag_id, role):
    """The id that a marker goes by once it stands for another role: of the same form, size and set, or
    None."""
    own = kit.slot(tag_id)
    alike = [
        i for i in kit.ids_of_role(role) if (kit.slot(i).form, kit.slot(i).size_mm) == (own.form, own.size_mm)
    ]
    return next((i for i in alike if kit.slot(i).side == own.side), alike[0] if alike else None)


def corrected(sighting, grey, kit, lens, fix):
    """A photo's sighting as the user put it right.

    Parameters: sighting: Detections; grey (H, W) uint8; kit; lens or None; fix: PhotoFix.
    Returns (Detections, findings).
    """
    if fix == PhotoFix():
        return sighting, []
    tags, findings = dict(sighting.tags), []
    for tag_id, corners in fix.placed:
        if kit.slot(tag_id) is None:
            continue
        tags[tag_id], refined = aligned_by_hand(grey, kit, tag_id, np.array(corners), lens)
        if not refined:
            findings.append(
                Finding(
                    NOTE, sighting.name,
                    f"marker {tag_id} ({kit.slot(tag_id).role.title}) stands where it was put by"
                    f" hand, within {HAND_PX:g} px: its pattern could not be aligned there",
                    "take a sharper photo of it"))
    for tag_id in fix.dismissed:
        tags.pop(tag_id, None)
    new_id = {}
    for tag_id, role in fix.roles:
        target = id_for_role(kit, tag_id, role) if kit.slot(tag_id) is not None else None
        if target is not None and target != tag_id:
            new_id[tag_id] = target
    found = sighting.found
    for i in sorted({new_id[i] for i in tags if i in new_id} & (set(tags) - set(new_id))):
        findings.append(
            Finding(ATTENTION, sighting.name,
                    f"two markers stand for {kit.slot(i).role.title}: the one printed so was"
                    " left out", "give the other one its role as well, or dismiss it"))
        tags.pop(i)
        found = tuple(t for t in found if t.tag_id != i)
    tags = {new_id.get(i, i): t for i, t in sorted(tags.items())}
    found = tuple(replace(t, tag_id=new_id.get(t.tag_id, t.tag_id)) for t in found)
    dismissed = frozenset(new_id.get(i, i) for i in fix.dismissed) - set(tags)
    return replace(sighting, tags=tags, found=found, dismissed=dismissed), findings


def aligned_by_hand(grey, kit, tag_id, corners_px, lens=None):
    """A marker aligned from corners (4, 2) px put by hand.

    Returns (AlignedTag, whether the pattern was aligned); where it was not, the corners stay as put with
    HAND_PX each.
    """
    from photoangle.detection.alignment.align import AlignedTag, align_tag
    from photoangle.detection.codes import wrong_cells

    reach = 0.5 * np.linalg.norm(corners_px[0] - corners_px[2])
    aligned = align_tag(grey, kit.family_name, tag_id, corners_px, lens)
    if (
        aligned is not None
        and aligned.settled
        and aligned.fit > 0.85
        and np.abs(aligned.corners_px - corners_px).max() < reach
        and wrong_cells(grey, aligned.corners_px, kit.family_name, tag_id)[0] <= 8
    ):
        return aligned, True
    return AlignedTag(np.asarray(corners_px, float),
                      np.eye(8) * HAND_PX**2, np.eye(2), 2.0, 100.0, 0.0, 0, True), False
