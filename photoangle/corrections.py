"""Markers put right by hand: dismissed, placed, or given another role; plain dots tapped; kept in one small file beside the photos.

The file is FOLDER/corrections.json.  Every command that measures the folder honours it, so that page and commands give
the same figures.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from calib.files import read_small, write_whole
from calib.kit import FAMILIES, ROLE_BY_KEY
from photoangle.model import ATTENTION, NOTE, Finding

NAME, VERSION = "corrections.json", 1
_MOST_BYTES = 2_000_000
_MOST_IDS = max(n for _, n in FAMILIES.values())
# A corner set by eye on a phone's screen, where the pattern could not be aligned.
HAND_PX = 2.0


class CorrectionsError(ValueError):
    """A corrections file that cannot be used: where, what and what to do."""

    def __init__(self, what, do="mend it, or delete it to start afresh"):
        super().__init__(f"{NAME}: {what}; {do}")
        self.where, self.what, self.do = NAME, what, do


@dataclass(frozen=True)
class PhotoFix:
    """What was put right in one photo, by the markers' printed ids.

    dismissed: ids; placed: (id, corners (4 pairs) px in the sensor's frame) each; roles: (id, role key) each.
    """

    dismissed: tuple = ()
    placed: tuple = ()
    roles: tuple = ()


@dataclass(frozen=True)
class Corrections:
    """photos: "corner/state/file" -> (dismissed ids, id -> corners); roles: "corner/state" -> id -> role key; dots:
    "corner/state/file" -> role key -> (x, y, sigma) px in the sensor's frame."""

    photos: dict = field(default_factory=dict)
    roles: dict = field(default_factory=dict)
    dots: dict = field(default_factory=dict)

    def of(self, name):
        """The PhotoFix of a photo by its name "corner/state/file"."""
        dismissed, placed = self.photos.get(name, ((), {}))
        roles = self.roles.get(name.rpartition("/")[0], {})
        return PhotoFix(tuple(sorted(dismissed)), tuple(sorted(placed.items())), tuple(sorted(roles.items())))


def read_corrections(root):
    """Corrections of a car folder; none where there is no file.  Raises CorrectionsError."""
    path = Path(root) / NAME
    if not path.exists():
        return Corrections()
    try:
        content = json.loads(read_small(path, _MOST_BYTES))
    except OSError as error:
        raise CorrectionsError(f"it cannot be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        raise CorrectionsError(f"it cannot be understood ({error})") from error
    if not isinstance(content, dict) or content.get("version") != VERSION:
        raise CorrectionsError("it is of another version", "update the program, or delete the file")
    photos, roles, dots = {}, {}, {}
    for name, entry in _table(content, "photos").items():
        if not isinstance(entry, dict):
            raise CorrectionsError(f"{name!r} should hold an object")
        dismissed = entry.get("dismissed", [])
        if not isinstance(dismissed, list):
            raise CorrectionsError(f"{name}: dismissed should be a list of marker numbers")
        photos[name] = (tuple(_id(i, name) for i in dismissed),
                        {_id(i, name): _corners(c, name) for i, c in _table(entry, "placed").items()})
        dots[name] = {role: _dot(role, d, name) for role, d in _table(entry, "dots").items()}
    for where, entry in _table(content, "roles").items():
        if not isinstance(entry, dict):
            raise CorrectionsError(f"{where!r} should hold an object")
        for role in entry.values():
            if not isinstance(role, str) or role not in ROLE_BY_KEY:
                raise CorrectionsError(f"{where}: {role!r} is no role")
        roles[where] = {_id(i, where): role for i, role in entry.items()}
    return Corrections(photos, roles, {name: d for name, d in dots.items() if d})


def save_corrections(root, corrections):
    """Write corrections.json whole.  Raises OSError."""
    photos = {}
    for name in sorted({*corrections.photos, *corrections.dots}):
        dismissed, placed = corrections.photos.get(name, ((), {}))
        dots = corrections.dots.get(name, {})
        if dismissed or placed or dots:
            photos[name] = {"dismissed": sorted(dismissed), "placed": {str(i): [list(p) for p in c] for i, c in sorted(placed.items())}}
        if dots:
            photos[name]["dots"] = {role: list(d) for role, d in sorted(dots.items())}
    roles = {where: {str(i): r for i, r in sorted(entry.items())} for where, entry in sorted(corrections.roles.items()) if entry}
    write_whole(Path(root) / NAME, json.dumps({"version": VERSION, "photos": photos, "roles": roles}, indent=1) + "\n")


def _table(content, key):
    table = content.get(key, {})
    if not isinstance(table, dict):
        raise CorrectionsError(f"{key} should hold an object")
    return table


def _id(value, where):
    if isinstance(value, bool) or not re.fullmatch(r"\d{1,5}", str(value)) or int(value) >= _MOST_IDS:
        raise CorrectionsError(f"{where}: {str(value)[:20]!r} is no marker number")
    return int(value)


def _corners(value, where):
    good = isinstance(value, list) and len(value) == 4 and all(
        isinstance(p, list) and len(p) == 2 and all(isinstance(v, (int, float)) and not isinstance(v, bool) and math.isfinite(v)
                                                    and abs(v) < 1e5 for v in p) for p in value)
    if not good:
        raise CorrectionsError(f"{where}: a placed marker should have four corners")
    return tuple((float(x), float(y)) for x, y in value)


def _dot(role, value, where):
    if role not in ROLE_BY_KEY:
        raise CorrectionsError(f"{where}: {role!r} is no role")
    good = isinstance(value, list) and len(value) == 3 and all(
        isinstance(v, (int, float)) and not isinstance(v, bool) and math.isfinite(v) and abs(v) < 1e5 for v in value) and value[2] >= 0.05
    if not good:
        raise CorrectionsError(f"{where}: a dot should have its place and how well it is known, in pixels")
    return tuple(float(v) for v in value)


def id_for_role(kit, tag_id, role):
    """The id that a marker goes by once it stands for another role: of the same form, size and set, or None."""
    own = kit.slot(tag_id)
    alike = [i for i in kit.ids_of_role(role) if (kit.slot(i).form, kit.slot(i).size_mm) == (own.form, own.size_mm)]
    return next((i for i in alike if kit.slot(i).side == own.side), alike[0] if alike else None)


def corrected(sighting, grey, kit, lens, fix):
    """A photo's sighting as the user put it right.

    Parameters: sighting: PhotoSighting; grey (H, W) uint8; kit; lens or None; fix: PhotoFix.
    Returns (PhotoSighting, findings).
    """
    if fix == PhotoFix():
        return sighting, []
    tags, findings = dict(sighting.tags), []
    for tag_id, corners in fix.placed:
        if kit.slot(tag_id) is None:
            continue
        tags[tag_id], refined = aligned_by_hand(grey, kit, tag_id, np.array(corners), lens)
        if not refined:
            findings.append(Finding(NOTE, sighting.name, f"marker {tag_id} ({kit.slot(tag_id).role.title}) stands where it was put by"
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
        findings.append(Finding(ATTENTION, sighting.name, f"two markers stand for {kit.slot(i).role.title}: the one printed so was"
                                " left out", "give the other one its role as well, or dismiss it"))
        tags.pop(i)
        found = tuple(t for t in found if t.tag_id != i)
    tags = {new_id.get(i, i): t for i, t in sorted(tags.items())}
    found = tuple(replace(t, tag_id=new_id.get(t.tag_id, t.tag_id)) for t in found)
    dismissed = frozenset(new_id.get(i, i) for i in fix.dismissed) - set(tags)
    return replace(sighting, tags=tags, found=found, dismissed=dismissed), findings


def aligned_by_hand(grey, kit, tag_id, corners_px, lens=None):
    """A marker aligned from corners (4, 2) px put by hand.

    Returns (AlignedTag, whether the pattern was aligned); where it was not, the corners stay as put with HAND_PX each.
    """
    from photoangle.codes import wrong_cells
    from photoangle.refine import AlignedTag, align_tag

    reach = 0.5 * np.linalg.norm(corners_px[0] - corners_px[2])
    aligned = align_tag(grey, kit.family_name, tag_id, corners_px, lens)
    if aligned is not None and aligned.settled and aligned.fit > 0.85 and np.abs(aligned.corners_px - corners_px).max() < reach \
            and wrong_cells(grey, aligned.corners_px, kit.family_name, tag_id)[0] <= 8:
        return aligned, True
    return AlignedTag(np.asarray(corners_px, float), np.eye(8) * HAND_PX**2, np.eye(2), 2.0, 100.0, 0.0, 0, True), False
