"""One photo's markers for the page, in upright pixels, and their corrections."""

from __future__ import annotations

import threading
from dataclasses import replace

import numpy as np

from calib.images.photo import turn_points
from photoangle.carfile.corrections import read_corrections, save_corrections
from photoangle.core.roles import ROLE_BY_KEY, ROLES
from photoangle.detection.by_hand import HAND_PX, aligned_by_hand, id_for_role
from photoangle.detection.photo_quality import quality_findings

_lock = threading.Lock()
_BACK = {6: 8, 8: 6}


class NotDone(ValueError):
    """A correction that cannot be made: what and what to do."""

    def __init__(self, what, do=""):
        super().__init__(what)
        self.what, self.do = what, do


def shown_size(look):
    """Width and height of the upright picture, px."""
    s = look.sighting
    return (s.height_px, s.width_px) if look.orientation >= 5 else (s.width_px, s.height_px)


def shown(look, points):
    """Points (k, 2) of the sensor's frame in the upright picture, px."""
    s = look.sighting
    return turn_points(points, s.width_px, s.height_px, look.orientation)


def sensed(look, points):
    """Points (k, 2) of the upright picture in the sensor's frame, px."""
    return turn_points(points, *shown_size(look), _BACK.get(look.orientation, look.orientation))


def seen(look, kit, fix, dots=()):
    """What was found in a photo, as plain data: markers with outlines in upright px, tapped dots, the card,
    findings."""
    placed, roles = {i for i, _ in fix.placed}, dict(fix.roles)
    outlines = {t.tag_id: t.corners_px
                for t in look.sighting.found} | {i: t.corners_px
                                                 for i, t in look.printed.items()}
    now = {i: id_for_role(kit, i, r) or i for i, r in roles.items() if kit.slot(i) is not None}
    back = {v: k for k, v in now.items()}
    outlines = {back.get(i, i) if i not in look.printed else i: c for i, c in outlines.items()}
    outlines |= {back.get(i, i): t.corners_px for i, t in look.sighting.tags.items()}
    markers = []
    for printed, corners in sorted(outlines.items()):
        if kit.slot(printed) is None:
            continue
        counts = now.get(printed, printed)
        gone = printed in fix.dismissed
        state = (
            "dismissed"
            if gone
            else "placed"
            if printed in placed
            else "used"
            if counts in look.sighting.tags
            else "unclear"
        )
        markers.append({
            "id": printed, "title": kit.slot(counts).role.title, "printed": kit.slot(printed).role.title,
            "state": state, "role": kit.slot(counts).role.key, "corners": np.round(shown(look, corners),
                                                                                   2).tolist()
        })
    card = look.sighting.card
    findings = list(look.findings) + (quality_findings(look.quality) if not fix.dismissed else [])
    dots = [{
        "role": role, "title": ROLE_BY_KEY[role].title, "at": np.round(shown(look, np.array([d[:2]]))[0],
                                                                       2).tolist()
    } for role, d in sorted(dict(dots).items())]
    return {
        "markers": markers, "dots": dots, "card": 0 if card is None else len(card.index),
        "size": shown_size(look),
        "card_points": [] if card is None else np.round(shown(look, card.pixels), 1).tolist(),
        "camera": look.sighting.camera.title, "findings": [{"level": f.level, "what": f.what, "do": f.do}
                                                           for f in findings]
    }


def role_choices():
    """(key, title) of every role."""
    return [(r.key, r.title) for r in ROLES]


def correct(root, kit, name, tag_id, what, role=None, corners=None, states=()):
    """Write one correction into corrections.json.

    name: "corner/state/file"; what: "dismiss", "restore", "role", "place" or "forget"; role: a role's key;
    corners (4, 2) px of the sensor's frame; states: "corner/state" each that a role counts for.  Raises
    NotDone, CorrectionsError, OSError.
    """
    if kit.slot(tag_id) is None:
        raise NotDone("the kit has no such marker", "choose one of the list")
    with _lock:
        now = read_corrections(root)
        dismissed, placed = now.photos.get(name, ((), {}))
        dismissed, placed, roles = set(dismissed), dict(placed), {k: dict(v) for k, v in now.roles.items()}
        if what == "dismiss":
            dismissed.add(tag_id)
        elif what == "restore":
            dismissed.discard(tag_id)
        elif what == "place":
            dismissed.discard(tag_id)
            placed[tag_id] = tuple((round(float(x), 3), round(float(y), 3)) for x, y in corners)
        elif what == "forget":
            placed.pop(tag_id, None)
        elif what == "role":
            if id_for_role(kit, tag_id, role) is None:
                raise NotDone("the kit has no marker of this size for that role", "print one and stick it on")
            for where in states:
                roles.setdefault(where, {})[tag_id] = role
                if kit.slot(tag_id).role.key == role:
                    roles[where].pop(tag_id)
        else:
            raise NotDone("that is no correction")
        save_corrections(root,
                         replace(now, photos=now.photos | {name: (tuple(dismissed), placed)}, roles=roles))


def correct_dot(root, name, role, at_px=None, sigma_px=HAND_PX):
    """Write a tapped dot into corrections.json, or take it out where there is no place.

    name: "corner/state/file"; at_px (2,) px of the sensor's frame.  Raises NotDone, CorrectionsError,
    OSError.
    """
    if role not in ROLE_BY_KEY or role.startswith("plumb"):
        raise NotDone("a dot cannot stand for that", "choose one of the list")
    with _lock:
        now = read_corrections(root)
        dots = dict(now.dots.get(name, {}))
        dots.pop(role, None)
        if at_px is not None:
            dots[role] = (round(float(at_px[0]), 3), round(float(at_px[1]), 3), float(sigma_px))
        save_corrections(root, replace(now, dots=now.dots | {name: dots}))


def found_under(grey, kit, look, ids, at_px, lens=None):
    """Where a tapped marker is: its corners under the tap, aligned where its pattern shows.

    grey (H, W); ids: those that it may be; at_px (2,) sensor px.
    Returns (id, corners (4, 2) sensor px, whether the pattern was found).
    """
    from photoangle.detection.tags import find_tags

    sides = [
        np.linalg.norm(np.roll(t.corners_px, 1, 0) - t.corners_px, axis=1).mean()
        for t in look.printed.values()
    ]
    side = float(np.median(sides)) if sides else 0.03 * max(grey.shape)
    reach = int(np.clip(3 * side, 60, 500))
    low = np.maximum(np.rint(at_px).astype(int) - reach, 0)
    part = grey[low[1]:low[1] + 2 * reach, low[0]:low[0] + 2 * reach]
    near = [
        t for t in (find_tags(np.ascontiguousarray(part), kit.family_name) if min(part.shape) > 40 else [])
        if t.tag_id in ids and np.linalg.norm(t.centre_px + low - at_px) < 1.5 * side
    ]
    if near:
        tag_id, start = near[0].tag_id, near[0].corners_px + low
    else:
        tag_id, start = _best_square(grey, kit, ids, at_px, side)
    tag, refined = aligned_by_hand(grey, kit, tag_id, start, lens)
    return tag_id, tag.corners_px, refined


def _best_square(grey, kit, ids, at_px, side):
    """The id and the square about a point whose cells agree best with its pattern, over sizes and turns: (id,
    (4, 2) px)."""
    from photoangle.detection.codes import cell_pattern, cells_across, sample_cells

    n = cells_across(kit.family_name)
    unit = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
    quads = []
    for scale in np.geomspace(0.5, 1.8, 14):
        for turn in np.radians(np.arange(0, 360, 10)):
            spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
            for squeeze in (0.6, 0.8, 1.0):
                quads.append(at_px + (unit * [squeeze, 1.0]) @ spin.T * side * scale)
    cells = sample_cells(grey, np.array(quads), n)
    cells = cells - cells.mean(1, keepdims=True)
    cells = cells / np.maximum(np.linalg.norm(cells, axis=1, keepdims=True), 1e-6)
    best = []
    for tag_id in ids:
        pattern = np.pad(cell_pattern(kit.family_name, tag_id), 1, constant_values=1).ravel()
        fit = cells @ (pattern - pattern.mean()) / np.linalg.norm(pattern - pattern.mean())
        best.append((fit.max(), tag_id, quads[int(np.argmax(fit))]))
    return max(best, key=lambda b: b[0])[1:]


def ids_for(kit, role, looks):
    """Ids that a marker of a role may have: those that photos of the same state show, or all of the kit's
    where none does."""
    known = [
        i for i in kit.ids_of_role(role)
        if any(i in t for look in looks for t in (look.printed, look.sighting.tags))
    ]
    return known or list(kit.ids_of_role(role))
