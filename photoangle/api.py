"""Photoangle for Python: what commands and page call, results as nouns with NumPy arrays.

    import photoangle

    car = photoangle.measure("my-car")
    angle = car["front-left/set"].figure("bar_arm_angle", "chassis")
    print(angle.value, angle.u, angle.interval, angle.budget)

Frames, pixels and words are those of DEVELOPERS.md: pixels as OpenCV counts them (an integer is a pixel's
centre), in the sensor's frame; poses are named target_from_source, lengths in mm; u is a standard
uncertainty, intervals are 95 %. What a user can cause raises `InputError` (where, what, do); what is merely
worth knowing is a `Finding` in the result.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from calib.images.photo import CameraIdentity, Photo, read_photo
from calib.kit import Kit
from photoangle.carfile.car import CarFile, PrintCheck
from photoangle.carfile.folder import load_car, photo_files, state_folders
from photoangle.core.errors import CannotUse
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.kit import default_kit
from photoangle.core.options import LinkRequest, PhotoOptions
from photoangle.core.outcome import Report
from photoangle.core.progress import Progress, quiet
from photoangle.detection.alignment.aligned_tag import AlignedTag
from photoangle.detection.cache import DetectionCache
from photoangle.detection.detect_photo import by_content, detect_photo
from photoangle.detection.detections import Detections
from photoangle.detection.saddles import CardDetection
from photoangle.pipeline import Measurement, measure_folder, measure_photos
from photoangle.pipeline.kept import looks_for
from photoangle.reconstruction.lens.learn_lens import LensResult, learn_lenses

if TYPE_CHECKING:  # what measuring alone does not need is loaded when it is asked for
    from photoangle.comparison.compare import Change, Comparison
    from photoangle.droplink.answer import CornerAnswer
    from photoangle.droplink.axles import AxleAnswer

# A photo as it comes: its file, or its pixels, (H, W) grey or (H, W, 3) RGB, uint8, in the sensor's frame.
Image = str | PathLike[str] | np.ndarray
# A state already measured: the Measurement and the state's name in it.
State = tuple[Measurement, str]


@dataclass(frozen=True)
class Detected:
    """What was found in one photo.

    tags: marker id -> AlignedTag (corners_px (4, 2) in the printed order: top left, top right, bottom right,
    bottom left; covariance_px2 (8, 8) of x0, y0, x1, ...); card: CardDetection (index (k,) of the card's
    inner corners, pixels (k, 2), covariance_px2 (k, 2, 2)) or None; camera: what EXIF says; findings: what
    went wrong, in words.
    """

    tags: Mapping[int, AlignedTag]
    card: CardDetection | None
    camera: CameraIdentity
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class LinkResult:
    """The drop link: answers of corners, what left and right say together, and both of theirs figures and
    findings."""

    answers: list[CornerAnswer]
    axles: list[AxleAnswer]
    report: Report

    def __getitem__(self, corner: str) -> CornerAnswer:
        """The answer of a corner such as "front-left".  Raises KeyError with those there are."""
        for answer in self.answers:
            if answer.corner == corner:
                return answer
        raise KeyError(
            f"{corner!r} was not answered; there are {', '.join(a.corner for a in self.answers) or 'none'}"
        )

    @property
    def figures(self) -> list[Figure]:
        return self.report.figures

    @property
    def findings(self) -> list[Finding]:
        return self.report.findings


@dataclass(frozen=True)
class CompareResult:
    """Before and after: a Comparison for each pair of states; report: all changes as figures, and findings;
    units: the car's; results: the folder that a command writes pictures into."""

    comparisons: list[Comparison]
    report: Report
    units: str
    results: Path | None = None

    def change(self, name: str, datum: str | None = None) -> Change:
        """The first change of a figure, such as "bar_arm_angle" against "chassis" (None: any datum).

        Raises KeyError with the names there are."""
        changes = [c for comparison in self.comparisons for c in comparison.changes]
        for change in changes:
            if change.figure.name == f"change:{name}" and datum in (None, change.figure.datum):
                return change
        names = dict.fromkeys(c.figure.name.removeprefix("change:") for c in changes)
        raise KeyError(
            f"{name!r} against {datum} did not come out on both sides; there are {', '.join(names) or 'none'}"
        )

    @property
    def findings(self) -> list[Finding]:
        return self.report.findings


def read_car(path: str | PathLike[str]) -> CarFile:
    """What car.toml in a car folder says, lengths in mm; the defaults where there is none.  Raises
    InputError."""
    return load_car(path)


def detect(image: Image, kit: Kit | None = None) -> Detected:
    """Find the kit's markers and the card in one photo.

    Parameters: image: a file, or pixels (H, W) grey or (H, W, 3) RGB, uint8; kit: None for the printed one.
    Returns Detected.  Raises InputError for what is no picture.
    """
    sighting, findings = _sighted(image, kit or default_kit(), None)
    return Detected(sighting.tags, sighting.card, sighting.camera, findings)


def learn_lens(
    photos: str | PathLike[str] | Sequence[Image],
    kit: Kit | None = None,
    print_check: PrintCheck = PrintCheck(),
    progress: Progress = quiet,
) -> list[LensResult]:
    """Learn a lens from photos of the card, of a checkerboard of any size, with tags in OpenCV's order or
    plain, or of a sheet of tags; ten or so from all sides.

    Parameters: photos: a folder of them, or files or pixels as in `detect`; kit: None for the printed one;
    print_check: what a rule said of the card's lines (mm).
    Returns a LensResult for each camera among them: profile.lens (L,) with OpenCV's fx, ... in px and its
    covariance (L, L), and a verdict.  Nothing is written.  Raises InputError where no lens can be learnt.
    """
    kit = kit or default_kit()
    if isinstance(photos, (str, PathLike)):
        where, photos = fspath(photos), photo_files(photos) if Path(photos).is_dir() else [photos]
    else:
        where = "photos"
    images = list(photos)
    seen = [_sighted(image, kit, f"photo {k}")[0] for k, image in enumerate(progress(images, "lens"), 1)]
    of = {s.name: image for s, image in zip(seen, images, strict=True)}
    results, findings = learn_lenses(sorted(seen, key=by_content), kit, print_check,
                                     lambda name: _photo(of[name], name).grey)
    if not results:
        reason = findings[0].what if findings else "no photos of the card in it"
        raise CannotUse(
            where, reason, "take about ten sharp photos of the whole card, or of another checkerboard,"
            " tilted and from all sides"
        )
    return results


def measure(
    photos: str | PathLike[str] | Sequence[str | PathLike[str]],
    only: str | None = None,
    options: PhotoOptions = PhotoOptions(),
    progress: Progress = quiet,
    looks: DetectionCache | None = None,
    jobs: int = 1,
    keep: bool = False,
) -> Measurement:
    """Measure a car folder, or loose photos together.

    Parameters: photos: one car folder, or a photo's path or several; only: a corner or corner/state of a
    folder; options: how photos are understood; progress(items, label); looks: what was seen in the same
    photos before; jobs: how many processes may work (each may import the calling script: guard it as
    `multiprocessing` says); keep: what is worked out, in the folder's results, for later runs (in place of
    looks).
    Returns Measurement: ``["corner/state"]`` is a state (``["photos"]`` for loose ones) with its figures and
    cameras; figures and findings are those of all.  A car folder's learnt lens is kept in its folder lens,
    and without keep nothing else is written.
    Raises InputError.
    """
    paths = [Path(photos)] if isinstance(photos, (str, PathLike)) else [Path(p) for p in photos]
    if not paths:
        raise CannotUse("photos", "there are none", "name a car folder, or photos")
    folders = [p for p in paths if p.is_dir()]
    missing = [p for p in paths if not p.exists()]
    if missing:
        raise CannotUse(str(missing[0]), "there is no such file or folder", "check the name")
    if folders and len(paths) > 1:
        raise CannotUse(
            str(folders[0]), "one car folder at a time, or photos only", "give one folder, or name the photos"
        )
    if folders:
        looks = looks or (looks_for(folders[0]) if keep else None)
        return measure_folder(folders[0], progress, options.kit_path, only, looks, jobs)
    return measure_photos(paths, progress, options, jobs)


def link(
    measured: Measurement | str | PathLike[str],
    wishes: LinkRequest = LinkRequest(),
    only: str | None = None,
    options: PhotoOptions = PhotoOptions(),
    progress: Progress = quiet,
    looks: DetectionCache | None = None,
    jobs: int = 1,
    keep: bool = False,
) -> LinkResult:
    """The drop link: its length for the wanted angle at ride height, and clearances over the travel.

    Parameters: measured: what `measure` returned, or a car folder, which is measured, or answered by its tape
    readings where it has no photos; wishes: what is asked over what car.toml says; only: a corner; options,
    progress, looks, jobs and keep as in `measure`.
    Returns LinkResult.  Raises InputError.
    """
    from photoangle.droplink.answer import link_answers
    from photoangle.droplink.axles import axle_answers

    if keep and looks is None:
        root = measured.root if isinstance(measured, Measurement) else Path(measured)
        looks = None if root is None else looks_for(root)
    if isinstance(measured, Measurement):
        whole = measured
    else:
        root = Path(measured)
        if not state_folders(root, only):
            return link_by_tape(load_car(root), wishes, only, str(root))
        whole = measure_folder(root, progress, options.kit_path, only, looks, jobs)
    store = looks.store if looks is not None and whole.key else None
    key = store.key("link", whole.key, wishes, only) if store is not None else ""
    kept = store.get(key) if store is not None else None
    if kept is None:
        answers = link_answers(whole, wishes, only=only)
        kept = answers, axle_answers(answers, whole.figures, whole.car)
        if store is not None:
            store.put(key, kept)
    answers, axles = kept
    report = Report(findings=list(whole.findings))
    report.take(answers + axles)
    return LinkResult(answers, axles, report)


def link_by_tape(
    car: CarFile, wishes: LinkRequest = LinkRequest(), only: str | None = None, where: str = "car.toml"
) -> LinkResult:
    """The drop link from car.toml's readings alone.  Raises InputError, with ``where``, if there are none to
    answer from."""
    from photoangle.droplink.axles import axle_answers
    from photoangle.droplink.by_tape import tape_answers

    answers = tape_answers(car, wishes, only)
    if not answers:
        raise CannotUse(
            where,
            "neither photos nor tape readings to answer from",
            "put photos into front-left/droop and front-left/set, or write heights and lengths under"
            " [front-left.tape.droop]",
        )
    axles = axle_answers(answers, [], car)
    report = Report()
    report.take(answers + axles)
    return LinkResult(answers, axles, report)


def compare(
    before: str | PathLike[str] | State,
    after: str | PathLike[str] | State,
    same_print: bool = False,
    restuck: Sequence[str] = (),
    options: PhotoOptions = PhotoOptions(),
    progress: Progress = quiet,
    keep: bool = False,
    jobs: int = 1,
) -> CompareResult:
    """What changed from before to after; errors that both share cancel.

    Parameters: before, after: two states ("my-car/front-left/droop"), corners, car folders or photos, which
    are measured, or two states already measured, each ``(measurement, "front-left/droop")``; same_print: both
    used the same printed sheets although their car folders differ; restuck: role keys of markers stuck anew
    in between; options, progress as in `measure`; keep: in the car folders' results, what was worked out;
    jobs as in `measure`.
    Returns CompareResult; a Change has a figure (value, u, interval), before, after and a verdict.  Raises
    InputError, and KeyError for a state that was not measured.
    """
    from photoangle.comparison.compare import compare_sides
    from photoangle.comparison.inputs import measured_pairs, paired

    if isinstance(before, tuple) != isinstance(after, tuple):
        raise CannotUse(
            "before and after",
            "one is measured, the other a path",
            "give two paths, or two (measurement, state)",
        )
    if isinstance(before, tuple):
        pairs = paired(before, after)
    else:
        pairs = measured_pairs(before, after, progress, options, keep, jobs)
    result = CompareResult(
        [], Report(findings=list(dict.fromkeys(pairs.findings))), pairs.units, pairs.results
    )
    for first, second in pairs.sides:
        comparison = compare_sides(first, second, pairs.kit, same_print, restuck)
        result.comparisons.append(comparison)
        result.report.figures += [c.figure for c in comparison.changes]
        result.report.tell(*comparison.findings)
    return result


def _sighted(image: Image, kit: Kit, name: str | None) -> tuple[Detections, tuple[Finding, ...]]:
    """(Detections, findings) of a photo as it comes; name: for pixels without a file."""
    photo = _photo(image, name or "image")
    sighting, findings = detect_photo(photo, kit)
    damaged = (
        [
            Finding(
                ATTENTION,
                photo.path,
                "the photo's data are damaged; what could be read of it was used",
                "copy it from the phone again",
            )
        ]
        if photo.damaged
        else []
    )
    return sighting, (*damaged, *findings)


def _photo(image: Image, name: str) -> Photo:
    """A photo as it comes; name: for pixels without a file."""
    return _photo_of_pixels(image, name) if isinstance(image, np.ndarray) else read_photo(image)


def _photo_of_pixels(pixels: np.ndarray, name: str) -> Photo:
    """A Photo of pixels (H, W) or (H, W, 3) RGB, uint8."""
    import cv2

    if (
        pixels.dtype != np.uint8
        or pixels.ndim not in (2, 3)
        or (pixels.ndim == 3 and pixels.shape[2] != 3)
        or not pixels.size
    ):
        raise CannotUse(
            name,
            f"an array of {pixels.dtype}, shape {pixels.shape}, is no photo",
            "give uint8 pixels, (height, width) grey or (height, width, 3) RGB",
        )
    grey = pixels if pixels.ndim == 2 else cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2GRAY)
    height, width = grey.shape
    return Photo(name, np.ascontiguousarray(grey), 1, CameraIdentity(width_px=width, height_px=height), "")
