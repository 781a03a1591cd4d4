"""The lens profiles of a car folder: kept, or learnt from its photos of the card."""

from __future__ import annotations

from pathlib import Path

from calib.errors import InputError
from calib.images.photo import read_photo
from calib.profile import ProfileError, load_profiles, save_profiles
from calib.running.side_by_side import Workers
from photoangle.carfile.corrections import PhotoFix
from photoangle.carfile.folder import load_car, load_kit, photo_files
from photoangle.carfile.print_check import check_findings
from photoangle.core.errors import CannotUse, as_finding
from photoangle.core.findings import ATTENTION, Finding
from photoangle.detection.cache import DetectionCache, detect_or_tell
from photoangle.detection.detect_photo import by_content
from photoangle.reconstruction.lens.learn_lens import learn_lenses

PROFILE_NAME = "profile.json"


def learn(root, report, progress, car=None, kit=None, looks=None, board=None, jobs=1):
    """Learn lens profiles from ``root``/lens and save them beside the photos.  looks: `DetectionCache`
    to remember by; board: `lens_boards.BoardAsked`, the checkerboard that the user says is in them.

    Returns a list of LensResult.  Raises InputError where nothing can be learnt, OSError where they cannot be
    saved.
    """
    with Workers(jobs) as workers:
        results = _learnt(Path(root), report, progress, car, kit, looks, board, workers)
    _save(root, results)
    return results


def _save(root, results):
    save_profiles(Path(root) / "lens" / PROFILE_NAME, [r.profile for r in results])


def _learnt(root, report, progress, car, kit, looks, board=None, workers=Workers()):
    """As `learn`, without saving."""
    car = car or load_car(root)
    kit = kit or load_kit(root, car)
    folder = root / "lens"
    files = photo_files(folder) if folder.is_dir() else []
    if not files:
        raise CannotUse(
            str(folder), "no photos of the card in it",
            "take about ten photos of the card, of any checkerboard, or of a sheet of tags, from all sides,"
            " into this folder")
    report.tell(*check_findings(car.print_check))
    looks = looks or DetectionCache()
    if workers.jobs > 1:
        photos = [(f"lens/{p.name}", p, PhotoFix()) for p in files]
        looks.look_ahead(photos, kit, (), workers, progress, "lens")
    sightings = []
    for path in progress(files, "lens"):
        look, _ = detect_or_tell(looks, path, f"lens/{path.name}", report, kit)
        if look is not None:
            sightings.append(look.sighting)
    paths = {f"lens/{path.name}": path for path in files}
    results, findings = learn_lenses(sorted(sightings, key=by_content), kit, car.print_check,
                                     lambda name: read_photo(paths[name]).grey, board)
    report.tell(*findings)
    if not results:
        raise CannotUse(
            str(folder), "no lens could be learnt",
            "take about ten sharp photos of the whole card, or of another checkerboard, tilted and from all"
            " sides; a plain checkerboard that is not found by itself is told with --board 10x7")
    return results


def folder_profiles(root, report, progress, car, kit, looks=None, workers=Workers()):
    """CameraProfiles of a car folder: those kept, or learnt now where there are photos of the card; what goes
    wrong is told.

    Parameters: root; report: Report; progress(items, label) -> iterator; car: CarFile; kit; looks:
    `DetectionCache` to remember by; workers: to look at photos side by side.
    Returns a list, empty where no lens is known.
    """
    path = Path(root) / "lens" / PROFILE_NAME
    if path.exists():
        try:
            return load_profiles(path)
        except ProfileError as error:
            report.tell(Finding(ATTENTION, f"lens/{PROFILE_NAME}", error.what, error.do))
            return []
    if (Path(root) / "lens").is_dir() and photo_files(Path(root) / "lens"):
        try:
            results = _learnt(Path(root), report, progress, car, kit, looks, workers=workers)
        except InputError as error:
            report.tell(as_finding(error, ATTENTION))
            return []
        try:
            _save(root, results)
        except OSError as error:
            report.tell(
                Finding(ATTENTION, "lens",
                        f"the profile cannot be written ({error.strerror}); it is used all the same",
                        "make the folder writable, or it is learnt again each time"))
        return [r.profile for r in results]
    return []
