"""One photo looked at: tags found, aligned and checked; the card's corners; what went wrong, in words."""

from __future__ import annotations

from itertools import groupby

from calib.running.cancellation import may_leave
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.detection.alignment.align import align_tag
from photoangle.detection.codes import is_short, wrong_cells
from photoangle.detection.detections import Detections
from photoangle.detection.saddles import find_saddles
from photoangle.detection.tags import find_tags

_LEAST_FIT = 0.85
_MOST_WRONG_CELLS = 8
# What else looks like a short code fits it less well: letters, keys, specks.
_LEAST_FIT_SHORT, _MOST_WRONG_CELLS_SHORT = 0.95, 2
# Of two that read as one short code, one this many times as large as the other is the tag.
_MUCH_LARGER = 3.0
_EDGE_PX = 2
# A bend beyond this share of the side is no curl to allow for: round a tube of 30 mm radius it is 0.011 to
# 0.03.
MOST_BEND = 0.01
_UNLIKE = "does not look as printed: dirty, bent or half hidden"


def detect_photo(photo, kit, lens=None, name=None):
    """Find and align everything of the kit in a photo.

    Parameters: photo: calib.images.photo.Photo; kit; lens: parameters for the curvature inside a tag, or
    None; name: for messages.
    Returns (Detections, findings).
    """
    name = name or photo.path
    grey = photo.grey
    families = kit.families()
    card_ids = set(kit.card_ids())
    found, tags, findings = [], {}, []
    card = None
    for family in families:
        may_leave()
        read = find_tags(grey, family, mirrored=True)
        seen = [t for t in read if not t.mirrored]
        on_card = [t for t in seen if kit.card and family == kit.card.family and t.tag_id in card_ids]
        if on_card:
            card = find_saddles(grey, kit.card, on_card)
        if family != kit.family_name:
            continue
        markers = [t for t in seen if kit.slot(t.tag_id) is not None
                   and not (family == (kit.card.family if kit.card else "") and t.tag_id in card_ids)]
        found += markers
        findings += _not_ours(read, kit, card_ids if kit.card and family == kit.card.family else (), name)
        blur = None
        for tag_id, alike in _by_id(markers):
            may_leave()
            title = f"marker {tag_id} ({kit.slot(tag_id).role.title})"
            # a long code that reads is a tag: which of two is the right one, their looks do not tell
            if len(alike) > 1 and not is_short(family):
                findings.append(_twice(name, title, len(alike)))
                continue
            tried = [_align(grey, family, tag, lens, blur) for tag in alike]
            good = [aligned for aligned, _ in tried if aligned is not None]
            best = max(good, key=lambda a: a.side_px, default=None)
            if best is None:
                trouble = tried[0][1]
                # what fits no code as printed is no tag of a short one
                if not (is_short(family) and trouble[1] == _UNLIKE):
                    findings.append(Finding(trouble[0], name, f"{title} {trouble[1]}", trouble[2]))
            elif any(a is not best and best.side_px < _MUCH_LARGER * a.side_px for a in good):
                findings.append(_twice(name, title, len(good)))
            else:
                tags[tag_id] = best
                blur = best.blur_px2 if blur is None else blur
    camera = photo.camera
    return Detections(name, camera.width_px, camera.height_px, camera, camera.focal_px, tags, card,
                         tuple(found)), findings


def _by_id(markers):
    """(id, the tags found that read so), by id."""
    def by(tag):
        return tag.tag_id

    return [(i, list(alike)) for i, alike in groupby(sorted(markers, key=by), by)]


def _twice(name, title, count):
    return Finding(ATTENTION, name, f"{title} is seen {count} times (a mirror image, or printed twice) and"
                   " was left out here",
                   "take off the second one, or move so that the mirror image is out of view")


def _not_ours(read, kit, card_ids, name):
    """Findings for what was read and cannot count: mirror images, tags of another kit."""
    flipped = sorted({t.tag_id for t in read if t.mirrored and (kit.slot(t.tag_id) or t.tag_id in card_ids)})
    strange = sorted({t.tag_id for t in read if not t.mirrored and kit.slot(t.tag_id) is None
                      and t.tag_id not in card_ids})
    out = []
    if len(flipped) > 2 and all(t.mirrored for t in read):
        out.append(Finding(ATTENTION, name, "this photo is mirrored: every marker in it is a mirror image",
                           "use the phone's main camera, or switch its mirroring off"))
    # a letter is as soon a short code's mirror image as one itself
    elif flipped and not is_short(kit.family_name):
        out.append(Finding(NOTE, name, f"a mirror image of {_listed(flipped)} is seen, and was left out"))
    if strange:
        out.append(
            Finding(
                NOTE, name, f"{_listed(strange)} {'is' if len(strange) == 1 else 'are'} not of this kit,"
                " and left out", "to make other tags count, name them in a kit file"))
    return out


def _listed(ids):
    return f"marker{'s' * (len(ids) > 1)} {', '.join(str(i) for i in ids)}"


def by_content(sighting):
    """A sort key that neither a photo's name nor its date has a say in: the same photos give the same digits
    however they are called."""
    tags = b"".join(i.to_bytes(4, "big") + t.corners_px.tobytes() for i, t in sorted(sighting.tags.items()))
    card = b"" if sighting.card is None else sighting.card.pixels.tobytes()
    return -len(sighting.tags), tags, card


def _align(grey, family, tag, lens, blur):
    """AlignedTag and None, or None and the trouble: its level, what is the matter, what to do."""
    wipe = "wipe it, or take the photo nearer and more square to it"
    aligned = align_tag(grey, family, tag.tag_id, tag.corners_px, lens, blur)
    if aligned is None or not aligned.settled:
        return None, (NOTE, "could not be measured: blurred, bent or half hidden", wipe)
    corners = aligned.corners_px
    if (corners.min() < _EDGE_PX or (corners[:, 0] > grey.shape[1] - 1 - _EDGE_PX).any()
            or (corners[:, 1] > grey.shape[0] - 1 - _EDGE_PX).any()):
        return None, (NOTE, "is cut off by the edge of the photo",
                      "stand a little further back, or aim at it")
    if aligned.bent and aligned.bend_px > MOST_BEND * aligned.side_px:
        return None, (ATTENTION, "is bent, as round a tube, or partly hidden, and was left out",
                      "stick it on something flat and stiff, such as a piece of tin")
    wrong, _ = wrong_cells(grey, corners, family, tag.tag_id)
    short = is_short(family)
    if (aligned.fit < (_LEAST_FIT_SHORT if short else _LEAST_FIT)
            or wrong > (_MOST_WRONG_CELLS_SHORT if short else _MOST_WRONG_CELLS)):
        return None, (NOTE, _UNLIKE, wipe)
    return aligned, None
