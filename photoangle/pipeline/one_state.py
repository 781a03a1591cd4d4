"""One state: its photos looked at, solved, and laid out as points, level and plumb lines."""

from __future__ import annotations

from collections import Counter, OrderedDict
from dataclasses import replace
from pathlib import Path

from calib.files import file_digest
from calib.images.photo import read_photo
from photoangle.advice.advise import photo_findings
from photoangle.carfile.corrections import Corrections
from photoangle.carfile.print_check import print_scale
from photoangle.core.findings import ATTENTION, UNUSABLE, Finding, Refusal
from photoangle.core.origin import Origin
from photoangle.core.outcome import Report
from photoangle.detection.cache import DetectionCache, detect_or_tell
from photoangle.detection.detect_photo import by_content
from photoangle.detection.photo_quality import quality_findings
from photoangle.geometry.datums import gravity
from photoangle.geometry.joints import joint_points
from photoangle.geometry.place_dots import with_dots
from photoangle.geometry.plumb.plumb_line import plumb_lines, steadied
from photoangle.geometry.states import StateResult
from photoangle.pipeline.one_lens import nobody
from photoangle.reconstruction.guided_search import cut_by_the_frame, search_again
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.select_views import bounded
from photoangle.reconstruction.solve import SceneOptions, solve_scene

_KEEP_BYTES = 130_000_000


class _Pictures:
    """Grey pictures of photos just read, within a budget, so that each is decoded once if it can be."""

    def __init__(self):
        self.kept = OrderedDict()
        self.bytes = 0

    def put(self, name, grey):
        self.kept[name] = grey
        self.bytes += grey.nbytes
        while self.bytes > _KEEP_BYTES and len(self.kept) > 1:
            _, old = self.kept.popitem(last=False)
            self.bytes -= old.nbytes

    def get(self, path_of, name):
        if name not in self.kept:
            self.put(name, read_photo(path_of[name]).grey)
        return self.kept[name]

    def clear(self):
        self.kept.clear()
        self.bytes = 0


def measure_state(names, where, corner, state, folder, kit, car, profiles, report, progress, planar=False,
                   notes_of=None, looks=None, corrections=Corrections(), root=None, others=nobody,
                  others_made=()):
    """Sight, solve and lay out one state, or remember it.  Returns StateResult or None, with the reasons
    told.

    others(camera): what other states' photos showed of its lens, where no profile says it; others_made: what
    that was made from.
    """
    looks = looks or DetectionCache()
    notes = car.corner(corner or notes_of)
    # what a tape says is held against the photos later: the state itself does not hang on it
    car = replace(car, corners={corner or notes_of: replace(notes, taped={})})
    key = _key(looks.store, names, corner, state, kit, car, profiles, planar, notes_of, corrections, root,
               others_made)
    kept = looks.store.get(key) if key else None
    if kept is None:
        told = Report()
        result = _measured(names, where, corner, state, folder, kit, car, profiles, told, progress, planar,
                           notes_of, looks, corrections, root, others)
        kept = result, told.findings
        if key and key == _key(looks.store, names, corner, state, kit, car, profiles, planar, notes_of,
                               corrections, root, others_made):
            looks.store.put(key, kept)
    result, findings = kept
    report.tell(*findings)
    if result is not None:
        result.notes = notes
    return result


def _key(store, names, corner, state, kit, car, profiles, planar, notes_of, corrections, root,
         others_made):
    """The store's key of a state, None without a store."""
    if store is None:
        return None
    try:
        photos = [(name, file_digest(path), corrections.of(name)) for name, path in names.items()]
    except OSError:
        return None
    return store.key("state", photos, corrections.dots, corner, state, kit, car, tuple(profiles), planar,
                     notes_of, root, others_made)


def _measured(names, where, corner, state, folder, kit, car, profiles, report, progress, planar, notes_of,
              looks, corrections, root, others):
    """As `measure_state`, from the photos."""
    pictures = _Pictures()
    sightings, qualities = [], []
    for name, path in progress(list(names.items()), where or "photos"):
        look, grey = detect_or_tell(looks,
                                    path,
                                    name,
                                    report,
                                    kit,
                                    profiles=profiles,
                                    fix=corrections.of(name))
        if look is None:
            continue
        sighting, quality = look.sighting, look.quality
        report.tell(*look.findings)
        if not sighting.tags and sighting.card is None:
            report.tell(*quality_findings(quality))
            continue
        qualities.append(quality)
        sightings.append(sighting)
        if grey is not None:
            pictures.put(name, grey)
    sightings, findings = bounded(sorted(_one_camera(sightings, report, profiles), key=by_content), kit, where
                                  or "photos")
    report.tell(*findings)
    if not sightings:
        report.tell(Finding(UNUSABLE, where or "photos", "no photo here could be used",
                            "see the reasons above, and take new ones"))
        return None
    camera = sightings[0].camera
    knowledge, findings = lens_knowledge(camera, profiles, sightings, kit, car.print_check, where or "photos",
                                         others(camera))
    report.tell(*findings)

    def more(scene, used):
        return search_again(scene, used, kit, lambda name: pictures.get(names, name))

    options = SceneOptions(planar, origin_of(names, corner, state, car, root), car.level.plumb_standoff_mm)
    scene = solve_scene(sightings, kit, knowledge, where or "photos", more, options)
    if isinstance(scene, Refusal):
        pictures.clear()
        report.tell(scene.finding)
        return None
    report.tell(*scene.findings, *cut_by_the_frame(scene, sightings, kit))
    corner_file = car.corner(corner or notes_of)
    scale, scale_u, _, _ = print_scale(car.print_check)
    points, findings = joint_points(scene, kit, corner_file, car.level, scale, scale_u)
    report.tell(*(Finding(f.level, where, f.what, f.do.replace("corner.", f"{corner}." if corner else ""))
                  for f in findings))
    points, findings = with_dots(points, scene, corrections.dots, corner_file, (scale, scale_u), where)
    report.tell(*findings)
    up, findings = gravity(points, scene, car.level, where or "photos")
    report.tell(*findings)
    lines = (plumb_lines(points, scene, up, lambda name: pictures.get(names, name))
             if up is not None and not scene.edited else ())
    pictures.clear()
    if up is not None:
        up, findings = steadied(up, lines, scene, where or "photos")
        report.tell(*findings)
    used = {s.name for s in sightings}
    result = StateResult(corner,
                         state,
                         folder,
                         scene,
                         points,
                         up,
                         sightings=sightings,
                         paths=names,
                         notes=corner_file,
                         plumb_lines=lines,
                         pitch_between_deg=car.pitch_between_deg(corner, state),
                         quality=[q for q in qualities if q.name in used])
    report.tell(*photo_findings(result))
    return result


def _one_camera(sightings, report, profiles):
    """Photos of the commonest camera (or of the profile's); the others are told and left out."""
    if not sightings:
        return []
    count = Counter(s.camera for s in sightings)
    fits = [c for c in count if any(p.match(c) is None for p in profiles)]
    keep = max(fits or count, key=lambda c: (count[c], c.title))
    for s in sightings:
        if s.camera != keep:
            report.tell(
                Finding(
                    ATTENTION, s.name, f"it is from {s.camera.title}, {_setting(s.camera)}, the"
                    f" others are from {keep.title}, {_setting(keep)}; left out",
                    "take all photos of a state with one phone, lens and zoom"))
    return [s for s in sightings if s.camera == keep]


def _setting(camera):
    """A photo's size, and what of its lens EXIF tells, in words."""
    words = [f"{camera.width_px} x {camera.height_px}"]
    if camera.focal35_mm:
        words.append(f"{camera.focal35_mm:g} mm equivalent")
    if camera.zoom != 1:
        words.append(f"digital zoom {camera.zoom:g}")
    return ", ".join(words)


def origin_of(names, corner, state, car, root):
    """Whose errors a state's are: of one car folder all that its states share, of loose photos their own."""
    photos = " ".join(str(Path(p).resolve()) for p in names.values())
    whose = photos if root is None else str(Path(root).resolve())
    here = f"{corner}/{state}" if corner else photos
    return Origin(f"{whose} {here}", f"{whose} {corner}", whose, (whose, str(car.print_check)))
