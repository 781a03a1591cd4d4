"""The steps in order: a car folder or photos in; figures and findings out."""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path

from calib.images.photo import read_photo, read_upright, turn_points
from calib.lens import moved_lens
from photoangle.advice.advise import photo_findings, slip_findings
from photoangle.advice.marker_slips import exchanged_roles
from photoangle.carfile.car import CarFile
from photoangle.carfile.corrections import Corrections
from photoangle.carfile.folder import load_car, load_corrections, load_kit, state_folders
from photoangle.carfile.print_check import check_findings, not_used, print_scale
from photoangle.carfile.symlinks import shut_folders, skipped_links
from photoangle.core.errors import CannotUse
from photoangle.core.figure import Figure, says_nothing
from photoangle.core.findings import ATTENTION, UNUSABLE, Finding, Refusal
from photoangle.core.options import PhotoOptions
from photoangle.core.origin import Origin
from photoangle.core.outcome import Report
from photoangle.core.progress import Progress
from photoangle.detection.cache import DetectionCache, detect_or_tell
from photoangle.detection.detect_photo import by_content
from photoangle.detection.dots import find_dots
from photoangle.detection.photo_quality import quality_findings
from photoangle.figures.granted import taken_for_granted
from photoangle.figures.measurands import TITLES
from photoangle.figures.measure import measured
from photoangle.figures.print_by_tape import contradicted_by_tape
from photoangle.figures.tape_check import tape_figures
from photoangle.geometry.attitude import share_attitude
from photoangle.geometry.datums import LEAN, ROLL_UNKNOWN, gravity, level_axes
from photoangle.geometry.dots_in_plane import dot_points
from photoangle.geometry.joints import NOT_GIVEN, joint_points
from photoangle.geometry.place_dots import with_dots
from photoangle.geometry.plumb_line import plumb_lines, steadied
from photoangle.geometry.states import StateResult, tie_states
from photoangle.reconstruction.folder_lens import folder_profiles
from photoangle.reconstruction.guided_search import cut_by_the_frame, search_again
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.paper_bend import BEND
from photoangle.reconstruction.print_aspect import contradicted_check
from photoangle.reconstruction.select_views import bounded
from photoangle.reconstruction.solve import SceneOptions, solve_scene

_KEEP_BYTES = 130_000_000
# What makes a figure known that one unknown keeps from being told.
_SETTLES = {
    NOT_GIVEN: "measure the stand-offs of its markers (printed face straight back to the joint's middle)",
    "pixels": "take more photos, nearer and from clearly different places",
    "lens": "take ten photos of the card into lens/, and more photos here",
    "print": "lay a steel rule on the print-check lines and write what it says",
    BEND: "stick the markers on something flat and stiff",
    "level": "hang the plumb strip",
    ROLL_UNKNOWN: "lay a level across the car as it stands here and write what it reads as roll_deg",
    LEAN: "hang the plumb strip in view: a level edge does not tell how the card leans",
}


@dataclass
class Measurement:
    """Everything a measure run found out."""

    report: Report
    states: list
    car: CarFile
    kit: object
    root: Path | None

    def __post_init__(self):
        for state in self.states:
            state.figures = [
                f for f in self.report.figures if (f.corner, f.state) == (state.corner, state.state)
            ]

    def __getitem__(self, name: str) -> StateResult:
        """The state "corner/state", or "photos" for loose ones.  Raises KeyError with those there are."""
        for state in self.states:
            if state.name == name:
                return state
        raise KeyError(
            f"{name!r} was not measured; there are {', '.join(s.name for s in self.states) or 'none'}")

    @property
    def figures(self) -> list[Figure]:
        """Every Figure, in the order of ``--json``."""
        return self.report.figures

    @property
    def findings(self) -> list[Finding]:
        """Every Finding, each once."""
        return self.report.findings


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


def measure_folder(root: Path, progress: Progress, kit_path: str | PathLike[str] | None = None,
                   only: str | None = None, looks: DetectionCache | None = None) -> Measurement:
    """Measure a car folder.

    Parameters: root; progress(items, label) -> iterator; kit_path; only: a corner or corner/state (its
    corner's ride photos are looked at all the same, for the chassis's attitude); looks:
    `DetectionCache` to remember by.
    Returns Measurement.  Raises InputError.
    """
    root = Path(root)
    car = load_car(root)
    kit = load_kit(root, car, kit_path)
    folders = state_folders(root, only)
    if not folders:
        raise CannotUse(
            str(root), "no photos in it",
            "put photos into folders such as front-left/droop (make them with `photoangle start`)")
    wanted = {(corner, state) for corner, state, *_ in folders}
    if only is not None and "/" in only:
        folders = [f for f in state_folders(root, f"{only.split('/')[0]}/ride") if f[:2] not in wanted
                   ] + folders
    looks = looks or DetectionCache()
    report, states = _solved_states(root, folders, car, kit, looks, progress)
    misread = contradicted_check([s.scene for s in states], car.print_check)
    if misread is not None:
        # what the photos contradict is not used: everything anew, as without a print check
        car = replace(car, print_check=not_used(car.print_check))
        report, states = _solved_states(root, folders, car, kit, looks, progress)
        report.tell(misread)
    measurement = conclude(states, kit, car, report, root)
    finding = contradicted_by_tape(measurement.report.comparisons, car.print_check)
    if finding is not None:
        car = replace(car, print_check=not_used(car.print_check))
        report, states = _solved_states(root, folders, car, kit, looks, progress)
        report.tell(finding)
        measurement = conclude(states, kit, car, report, root)
    return _only(measurement, wanted)


def _solved_states(root, folders, car, kit, looks, progress):
    """(Report, StateResults) of a car folder's states, each by itself."""
    report = Report()
    report.tell(*skipped_links(root), *shut_folders(root), *check_findings(car.print_check))
    corrections = load_corrections(root)
    profiles = folder_profiles(root, report, progress, car, kit, looks)
    states = []
    for corner, state, folder, files in folders:
        where = f"{corner}/{state}"
        names = {f"{where}/{p.name}": p for p in files}
        result = _measure_state(names,
                                where,
                                corner,
                                state,
                                folder,
                                kit,
                                car,
                                profiles,
                                report,
                                progress,
                                looks=looks,
                                corrections=corrections,
                                root=root)
        if result is not None:
            states.append(result)
    return report, states


def _only(measurement, wanted):
    """The Measurement without the states that were looked at for others' sake alone."""
    report = measurement.report
    measurement.states = [s for s in measurement.states if (s.corner, s.state) in wanted]
    report.figures = [f for f in report.figures if (f.corner, f.state) in wanted]
    report.comparisons = [c for c in report.comparisons if (c.tape.corner, c.tape.state) in wanted]
    report.granted = [g for g in report.granted if (g.corner, g.state) in wanted]
    return measurement


def conclude(states, kit, car, report, root=None):
    """From solved states to figures, comparisons with the tape, and what to say.  Returns Measurement."""
    tie_states(states, kit, car, report)
    exchanged = _leave_out_exchanged(states, kit, report)
    share_attitude(states, report, car.level)
    for result in states:
        _figures_of(result, report)
    tape, comparisons = tape_figures(car, {(s.corner, s.state): s.measured for s in states})
    report.figures += tape
    report.comparisons += comparisons
    measurement = Measurement(report, states, car, kit, root)
    report.tell(*slip_findings(measurement, exchanged))
    return measurement


def _leave_out_exchanged(states, kit, report):
    """Take two roles whose markers were taken for each other out of their corner's states.  Returns the
    corners."""
    out = set()
    for corner in sorted({s.corner for s in states if s.corner}):
        mine = [s for s in states if s.corner == corner]
        pair, finding = exchanged_roles(mine, corner.split("-")[1], kit)
        if pair is not None:
            report.tell(finding)
            out.add(corner)
            for result in mine:
                result.leave_out(pair)
    return out


def measure_photos(paths: Sequence[Path], progress: Progress,
                   options: PhotoOptions = PhotoOptions()) -> Measurement:
    """Measure loose photos together as one unnamed state.

    Parameters: paths; progress; options: PhotoOptions.  Returns Measurement.  Raises InputError.
    """
    paths = [Path(p) for p in paths]
    root = Path(options.car_root) if options.car_root else None
    car = load_car(root) if root else CarFile()
    if options.level:
        car = replace(car, level=replace(car.level, by=options.level))
    kit = load_kit(root or Path(), car, options.kit_path)
    if options.dots and (len(paths) != 1 or kit.card is None):
        raise CannotUse("--dots", "plain stickers work in one photo, with the card in their plane",
                        "give one photo")
    names, seen = {}, Counter(p.name for p in paths)
    for p in paths:
        names[p.name if seen[p.name] == 1 else str(p)] = p
    report, result = _solved_photos(names, car, kit, root, progress, options)
    misread = contradicted_check([result.scene] if result else [], car.print_check)
    if misread is not None:
        car = replace(car, print_check=not_used(car.print_check))
        report, result = _solved_photos(names, car, kit, root, progress, options)
        report.tell(misread)
    states = [result] if result else []
    if result and options.dots:
        _name_dots(result, options.dots, kit, report)
    for state in states:
        _figures_of(state, report)
    return Measurement(report, states, car, kit, root)


def _solved_photos(names, car, kit, root, progress, options):
    """(Report, StateResult or None) of loose photos."""
    report = Report()
    report.tell(*check_findings(car.print_check))
    profiles = folder_profiles(root, report, progress, car, kit) if root else []
    return report, _measure_state(names, "", None, None, None, kit, car, profiles, report, progress,
                                  options.planar or bool(options.dots), options.corner, root=root)


def _name_dots(result, names, kit, report):
    """Put the named stickers' places into the result."""
    name = result.scene.photos[0]
    if not result.scene.has_card:
        report.tell(Finding(UNUSABLE, name, "the card is not seen: stickers need it in their plane",
                            "hold the card in the plane of the parts and take the photo again"))
        return
    colour, _, orientation = read_upright(result.paths[name], most_px=10**6)
    values = result.scene.solution.values
    lens = moved_lens(values.lens, values.shift[0])
    result.dots = find_dots(colour, result.scene.cameras[0], lens, kit.card)
    points, findings = dot_points(result.dots, names, result.scene, 0, orientation, colour.shape[1::-1],
                                  turn_points)
    report.tell(*findings)
    if points is not None:
        result.points = points


def _measure_state(names, where, corner, state, folder, kit, car, profiles, report, progress, planar=False,
                   notes_of=None, looks=None, corrections=Corrections(), root=None):
    """Sight, solve and lay out one state.  Returns StateResult or None, with the reasons told."""
    pictures, looks = _Pictures(), looks or DetectionCache()
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
    knowledge, findings = lens_knowledge(sightings[0].camera, profiles, sightings, kit,
                                         car.print_check, where or "photos")
    report.tell(*findings)

    def more(scene, used):
        return search_again(scene, used, kit, lambda name: pictures.get(names, name))

    options = SceneOptions(planar, _origin(names, corner, state, car, root), car.level.plumb_standoff_mm)
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


def _origin(names, corner, state, car, root):
    """Whose errors a state's are: of one car folder all that its states share, of loose photos their own."""
    photos = " ".join(str(Path(p).resolve()) for p in names.values())
    whose = photos if root is None else str(Path(root).resolve())
    here = f"{corner}/{state}" if corner else photos
    return Origin(f"{whose} {here}", f"{whose} {corner}", whose, (whose, str(car.print_check)))


def _figures_of(result, report):
    if result.lateral is None and result.up is not None:
        result.lateral = level_axes(result.points, result.up)
    result.measured = measured(result)
    figures = result.measured.figures(result.corner, result.state)
    report.granted += taken_for_granted(result)
    where = f"{result.corner}/{result.state}" if result.corner else "photos"
    withheld = [f for f in figures if says_nothing(f)]
    report.figures += [f for f in figures if f not in withheld]
    report.tell(*_withheld_findings(withheld, where))
    if not figures:
        report.tell(Finding(ATTENTION, where, "no figure can be had from these markers",
                            "the smallest set for the bar's angle: bush, eye, plumb, two sill markers, card"))


def _withheld_findings(figures, where):
    """One finding for all figures that the same unknown makes useless, with what would settle it."""
    by_cause = {}
    for f in figures:
        by_cause.setdefault(next(iter(f.budget), "pixels"), []).append(TITLES[f.name])
    return [Finding(ATTENTION, where, f"not known well enough to be told: {', '.join(dict.fromkeys(names))}",
                    _SETTLES.get(cause, f"it is mostly {cause}")) for cause, names in by_cause.items()]
