"""One state: its photos looked at, solved, and laid out as points, level and plumb lines."""

from __future__ import annotations

from collections import Counter, OrderedDict
from dataclasses import dataclass, replace
from pathlib import Path

from calib.files import file_digest
from calib.images.photo import read_photo
from photoangle.advice.advise import photo_findings
from photoangle.carfile.car import CarFile
from photoangle.carfile.corrections import Corrections
from photoangle.carfile.print_check import print_scale
from photoangle.core.findings import ATTENTION, UNUSABLE, Finding, Refusal
from photoangle.core.origin import Origin
from photoangle.core.outcome import Report
from photoangle.core.progress import quiet
from photoangle.detection.cache import detect_or_tell
from photoangle.detection.detect_photo import by_content
from photoangle.detection.photo_quality import quality_findings
from photoangle.geometry.datums import gravity
from photoangle.geometry.joints import joint_points
from photoangle.geometry.place_dots import with_dots
from photoangle.geometry.plumb.plumb_line import plumb_lines, steadied
from photoangle.geometry.states import StateResult
from photoangle.pipeline.one_lens import Others, nobody
from photoangle.pipeline.pointed import place_pointed
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


@dataclass(frozen=True)
class StateJob:
    """One state to be measured, as plain data.

    names: photo's name -> path; where: as messages name it; corner, state, folder: None of loose photos; car:
    CarFile; profiles: CameraProfiles; corrections: Corrections; root: the car folder or None; planar: the
    parts lie in the card's plane; notes_of: whose stand-offs loose photos use; others(camera): what other
    states' photos showed of its lens, where no profile says it; others_made: what that was made from.
    """

    names: dict
    where: str
    kit: object
    car: CarFile
    profiles: tuple
    corner: str | None = None
    state: str | None = None
    folder: Path | None = None
    corrections: Corrections = Corrections()
    root: Path | None = None
    planar: bool = False
    notes_of: str | None = None
    others: Others = nobody
    others_made: tuple = ()

    @property
    def untaped(self):
        """The job without what a tape says: that is held against the photos later."""
        name = self.corner or self.notes_of
        notes = replace(self.car.corner(name), taped={})
        return replace(self, car=replace(self.car, corners={name: notes}))

    def key(self, store):
        """The store's key of the state, None without a store or a photo."""
        if store is None:
            return None
        job = self.untaped
        try:
            photos = [(name, file_digest(path), job.corrections.of(name)) for name, path in job.names.items()]
        except OSError:
            return None
        return store.key("state", photos, job.corrections.dots, job.corrections.pointed_in(job.names),
                         job.corner, job.state, job.kit, job.car, tuple(job.profiles), job.planar,
                         job.notes_of, job.root, job.others_made)


def kept_state(job, store):
    """(StateResult or None, findings) that was kept of a StateJob, or None."""
    key = job.key(store)
    return store.get(key) if key else None


def measure_state(job, looks, progress=quiet):
    """Sight, solve and lay out one state, and keep it where looks has a store.  Returns (StateResult or None,
    findings)."""
    key, report = job.key(looks.store), Report()
    result = _measured(job.untaped, looks, report, progress)
    done = result, report.findings
    if key and key == job.key(looks.store):
        looks.store.put(key, done)
    return done


def measure_states(jobs, looks, progress, workers):
    """(StateResult or None, findings) of each StateJob: from the store, or measured side by side."""
    done = [kept_state(job, looks.store) for job in jobs]
    missing = [k for k, d in enumerate(done) if d is None]
    if workers.jobs > 1 and sum(len(jobs[k].names) for k in missing) > 1:
        photos = [(n, p, jobs[k].corrections.of(n)) for k in missing for n, p in jobs[k].names.items()]
        looks.look_ahead(photos, jobs[0].kit, jobs[0].profiles, workers, progress)
    if workers.jobs > 1 and len(missing) > 1:
        missing.sort(key=lambda k: -len(jobs[k].names))  # the longest first: no core waits for it at the end
        tasks = [(jobs[k], looks.only_of(jobs[k].names)) for k in missing]
        for k, found in zip(progress(missing, "states"), workers.map(_elsewhere, tasks), strict=True):
            done[k] = found
    else:
        for k in missing:
            done[k] = measure_state(jobs[k], looks, progress)
    for job, (result, _) in zip(jobs, done, strict=True):
        if result is not None:
            result.notes = job.car.corner(job.corner or job.notes_of)
    return done


def _elsewhere(task):
    """A (StateJob, DetectionCache) measured, in another process."""
    job, looks = task
    return measure_state(job, looks)


def _measured(job, looks, report, progress):
    """As `measure_state`, from the photos; findings go to the Report."""
    names, where, corner, state, kit, car = job.names, job.where, job.corner, job.state, job.kit, job.car
    profiles, corrections, root, notes_of = job.profiles, job.corrections, job.root, job.notes_of
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
                                         job.others(camera))
    report.tell(*findings)

    def more(scene, used):
        return search_again(scene, used, kit, lambda name: pictures.get(names, name))

    options = SceneOptions(job.planar, origin_of(names, corner, state, car, root),
                           car.level.plumb_standoff_mm)
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
    points, findings, places = place_pointed(points, scene, corrections.pointed_in(names), corner_file, up,
                                             lambda name: pictures.get(names, name), (scale, scale_u), where)
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
                         job.folder,
                         scene,
                         points,
                         up,
                         sightings=sightings,
                         paths=names,
                         notes=corner_file,
                         plumb_lines=lines,
                         pointed=places,
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
        if s.camera != keep and _stripped(s.camera, keep):
            report.tell(Finding(
                ATTENTION, s.name, "its data were taken off, as messaging apps do"
                f"{', and it was turned' if s.camera.width_px != keep.width_px else ''}: it is not of another"
                " phone, but which way its picture lies on the sensor is not known; left out",
                "copy the photo from the phone as a file, not through a chat"))
        elif s.camera != keep:
            report.tell(
                Finding(
                    ATTENTION, s.name, f"it is from {s.camera.title}, {_setting(s.camera)}, the"
                    f" others are from {keep.title}, {_setting(keep)}; left out",
                    "take all photos of a state with one phone, lens and zoom"))
    return [s for s in sightings if s.camera == keep]


def _stripped(camera, keep):
    """Whether a photo that names no phone is one of the same phone without its data: as large, or turned."""
    size, other = (camera.width_px, camera.height_px), (keep.width_px, keep.height_px)
    return not camera.known and keep.known and size in (other, other[::-1])


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
