"""The steps in order: a car folder or photos in; figures and findings out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from os import PathLike
from pathlib import Path

from calib.running.side_by_side import Workers
from photoangle.advice.advise import slip_findings
from photoangle.advice.marker_slips import exchanged_roles
from photoangle.carfile.car import CarFile
from photoangle.carfile.folder import load_car, load_corrections, load_kit, state_folders
from photoangle.carfile.misplaced import as_car_folder, check_only, misplaced_photos
from photoangle.carfile.print_check import check_findings, not_used
from photoangle.carfile.symlinks import shut_folders, skipped_links
from photoangle.core.errors import CannotUse
from photoangle.core.options import PhotoOptions
from photoangle.core.outcome import Report
from photoangle.core.progress import Progress
from photoangle.core.states import RIDE
from photoangle.detection.cache import DetectionCache
from photoangle.figures.print_by_tape import contradicted_by_tape
from photoangle.figures.tape_check import tape_figures
from photoangle.geometry.attitude import share_attitude
from photoangle.geometry.plumb.checks import contradicted_plumbs
from photoangle.geometry.roll import give_rolls
from photoangle.geometry.states import tie_states
from photoangle.pipeline.kept import (
    contents,
    measurement_key,
    remembered,
    shown_before,
    to_be_learnt,
    without_profile,
)
from photoangle.pipeline.measurement import Measurement
from photoangle.pipeline.named_dots import name_dots
from photoangle.pipeline.one_lens import SharedLens, StatePhotos, measured_together, nobody
from photoangle.pipeline.one_state import StateJob, measure_states, origin_of
from photoangle.pipeline.told import tell_figures
from photoangle.reconstruction.lens.folder_lens import folder_profiles
from photoangle.reconstruction.print_aspect import contradicted_check

__all__ = ["Measurement", "conclude", "measure_folder", "measure_photos"]


def measure_folder(root: Path, progress: Progress, kit_path: str | PathLike[str] | None = None,
                   only: str | None = None, looks: DetectionCache | None = None,
                   jobs: int = 1) -> Measurement:
    """Measure a car folder.

    Parameters: root; progress(items, label) -> iterator; kit_path; only: a corner or corner/state (its
    corner's ride photos, or all of the folder where it has none, are looked at all the same, for the
    chassis's attitude); looks:
    `DetectionCache` to remember by, with a store: measurements as well.
    jobs: how many processes may work; the figures are the same for any number.
    Returns Measurement.  Raises InputError.
    """
    root = Path(root)
    as_car_folder(root)
    check_only(only, root)
    car = load_car(root)
    kit = load_kit(root, car, kit_path)
    folders = state_folders(root, only)
    if not folders:
        elsewhere = misplaced_photos(root)
        raise CannotUse.because(elsewhere[0]) if elsewhere else CannotUse(
            str(root), "no photos in it",
            "put photos into folders such as front-left/droop (make them with `photoangle start`)")
    looks = looks or DetectionCache()
    store = looks.store
    if store is None:
        with Workers(jobs) as workers:
            return _measured_folder(root, progress, car, kit, only, folders, looks, workers)
    held = contents(root)
    # what other states' photos showed of the lens serves one that is measured by itself
    served = None if only is None else shown_before(root)
    if not to_be_learnt(root):
        kept = remembered(store, measurement_key(store, held, kit, only, served), root)
        if kept is not None:
            return kept
    with Workers(jobs) as workers:
        measurement = _measured_folder(root, progress, car, kit, only, folders, looks, workers)
    now = contents(root)
    # a file that changed meanwhile may or may not be in these figures
    if without_profile(now) == without_profile(held):
        measurement.key = measurement_key(store, now, kit, only, served)
        store.put(measurement.key, measurement)
    return measurement


def _measured_folder(root, progress, car, kit, only, folders, looks, workers):
    """As `measure_folder`, from the photos."""
    wanted = {(corner, state) for corner, state, *_ in folders}
    if only is not None and "/" in only:
        folders = [f for f in state_folders(root, f"{only.split('/')[0]}/ride") if f[:2] not in wanted
                   ] + folders
    if only is not None and not any(state == RIDE for _, state, *_ in folders):
        # how the car stands may then be known from another corner
        folders = state_folders(root)

    def solved(car):
        return _solved_states(root, folders, car, kit, looks, progress, workers)

    car, report, states = _as_printed(car, solved)
    measurement = conclude(states, kit, car, report, root)
    finding = contradicted_by_tape(measurement.report.comparisons, car.print_check)
    if finding is not None:
        car, report, states = _without_check(car, solved, finding)
        measurement = conclude(states, kit, car, report, root)
    return _only(measurement, wanted)


def _as_printed(car, solved):
    """(car, Report, StateResults) with the print check as car.toml has it, or without one that the photos
    contradict.

    solved(car) -> (Report, StateResults).
    """
    report, states = solved(car)
    misread = contradicted_check([s.scene for s in states], car.print_check)
    return (car, report, states) if misread is None else _without_check(car, solved, misread)


def _without_check(car, solved, finding):
    """(car, Report, StateResults) anew, as without a print check, and the Finding why."""
    car = replace(car, print_check=not_used(car.print_check))
    report, states = solved(car)
    report.tell(finding)
    return car, report, states


def _solved_states(root, folders, car, kit, looks, progress, workers):
    """(Report, StateResults) of a car folder's states, each by itself."""
    report = Report()
    report.tell(*skipped_links(root), *shut_folders(root), *misplaced_photos(root),
                *check_findings(car.print_check))
    corrections = load_corrections(root)
    profiles = folder_profiles(root, report, progress, car, kit, looks, workers)

    lens = SharedLens(root, _photos_of(state_folders(root), root, car, kit, corrections))

    def measured(asked):
        jobs = [StateJob(s.names, s.where, kit, car, tuple(profiles), s.corner, s.state, s.folder,
                         corrections, root, others=others,
                         others_made=() if others is nobody else lens.made_of_others(s))
                for s, others in asked]
        return measure_states(jobs, looks, progress, workers) if jobs else []

    states = []
    asked = _photos_of(folders, root, car, kit, corrections)
    for result, findings in measured_together(asked, lens, measured, looks.store is not None):
        report.tell(*findings)
        if result is not None:
            states.append(result)
    return report, states


def _photos_of(folders, root, car, kit, corrections):
    """StatePhotos of rows of `state_folders`."""
    out = []
    for corner, state, path, files in folders:
        names = {f"{corner}/{state}/{p.name}": p for p in files}
        key = origin_of(names, corner, state, car, root).state
        made_with = (kit, car.print_check, car.level.plumb_standoff_mm, [corrections.of(n) for n in names])
        out.append(StatePhotos(corner, state, path, names, key, made_with))
    return out


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
    if contradicted_plumbs(states, car.level, report):
        give_rolls(states, car.level)
    exchanged = _leave_out_exchanged(states, kit, report)
    share_attitude(states, report, car.level)
    for result in states:
        tell_figures(result, report)
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
                   options: PhotoOptions = PhotoOptions(), jobs: int = 1) -> Measurement:
    """Measure loose photos together as one unnamed state.

    Parameters: paths; progress; options: PhotoOptions; jobs: as for `measure_folder`.  Returns Measurement. 
    Raises InputError.
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
    with Workers(jobs) as workers:
        car, report, states = _as_printed(
            car, lambda car: _solved_photos(names, car, kit, root, progress, options, workers))
    for state in states:
        if options.dots:
            name_dots(state, options.dots, kit, report)
        tell_figures(state, report)
    return Measurement(report, states, car, kit, root)


def _solved_photos(names, car, kit, root, progress, options, workers):
    """(Report, StateResults, one or none) of loose photos."""
    report = Report()
    report.tell(*check_findings(car.print_check))
    profiles = folder_profiles(root, report, progress, car, kit, workers=workers) if root else []
    others = nobody
    if root:
        lens = SharedLens(root, _photos_of(state_folders(root), root, car, kit, load_corrections(root)))
        others = partial(lens.of_others, key="", paths=names.values())
    job = StateJob(names, "", kit, car, tuple(profiles), root=root, others=others, notes_of=options.corner,
                   planar=options.planar or bool(options.dots))
    ((result, findings),) = measure_states([job], DetectionCache(), progress, workers)
    report.tell(*findings)
    return report, [] if result is None else [result]
