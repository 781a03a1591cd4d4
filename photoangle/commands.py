"""What the commands do, between the pipeline and the terminal."""

from __future__ import annotations

import difflib
import shutil
from collections import Counter
from pathlib import Path

from calib.files import write_whole
from calib.photo import PhotoError
from photoangle.between import between_figures, parse_between
from photoangle.car_folder import CannotUse
from photoangle.carfile_nouns import CORNERS, ROLE_KEYS
from photoangle.history import keep_run
from photoangle.looks import Looks
from photoangle.model import ATTENTION, UNUSABLE, Finding
from photoangle.pipeline import measure_folder, measure_photos
from photoangle.plain import plain
from photoangle.say import say, say_paths
from photoangle.table import comparison_lines, figure_lines, finding_lines

SAMPLES = Path(__file__).resolve().parent.parent / "sample_images"


def measure_command(paths, as_json, only, kit_path, car_root, corner, between, planar, dots, level,
                    pictures, progress, looks=None, told=None):
    """`photoangle measure`.  looks: `looks.Looks` to remember by; told: a list that takes the findings shown.  Returns the exit
    code."""
    roles = named_roles(dots, "--dots")
    check_corner(corner)
    for text in between:
        parse_between(text)
    folders = [p for p in paths if p.is_dir()]
    missing = [p for p in paths if not p.exists()]
    if missing:
        raise CannotUse(Finding(UNUSABLE, str(missing[0]), "there is no such file or folder", "check the name"))
    if folders and len(paths) > 1:
        raise CannotUse(Finding(UNUSABLE, str(folders[0]), "one car folder at a time, or photos only",
                                "give one folder, or name the photos"))
    if folders:
        root = folders[0]
        measurement = measure_folder(root, progress, kit_path, only, looks)
        results = root / "results"
    else:
        measurement = measure_photos(paths, progress, kit_path, car_root, planar or bool(roles), roles, level,
                                     corner)
        results = paths[0].parent / "results"
    report = measurement.report
    if between:
        for state in measurement.states:
            figures, findings = between_figures(between, state, measurement)
            report.figures += figures
            report.tell(*findings)
    if pictures and measurement.states:
        write_pictures(measurement, results, progress)
    try:
        if folders and measurement.states:
            results.mkdir(exist_ok=True)
            write_whole(results / "measure.json", report.to_json() + "\n")
            keep_run(results, measurement)
    finally:
        # what was found is shown even where it cannot be kept
        if as_json:
            say(report.to_json())
        else:
            print_measurement(measurement)
    if told is not None:
        told += report.findings
    return report.exit_code


def check_corner(corner):
    """Raises CannotUse where --corner names none."""
    if corner is not None and corner not in CORNERS:
        raise CannotUse(Finding(UNUSABLE, "--corner", f"{corner!r} is no corner", "use one of " + ", ".join(CORNERS)))


def named_roles(text, option):
    """Role keys of an option that lists them.  Raises CannotUse for a name that is none."""
    names = tuple(n.strip().replace(" ", "_") for n in text.split(",")) if text else ()
    for name in names:
        if name not in ROLE_KEYS:
            near = difflib.get_close_matches(name, ROLE_KEYS, 1, 0.4)
            raise CannotUse(Finding(UNUSABLE, option, f"{name!r} is no role",
                                    f"did you mean {near[0]}?" if near else "see the kit's sheet for the roles"))
    if len(set(names)) != len(names):
        raise CannotUse(Finding(UNUSABLE, option, "a role is named twice", "name each once"))
    return names


def print_measurement(measurement):
    """Tables, comparisons, findings and paths on standard output."""
    report, units = measurement.report, measurement.car.units
    for state in measurement.states:
        mine = [f for f in report.figures if (f.corner, f.state) == (state.corner, state.state)]
        title = f"{state.corner} / {state.state}" if state.corner else "photos"
        scene = state.scene
        photos = f"{len(scene.photos)} photo{'s' if len(scene.photos) > 1 else ''}"
        say(f"{plain(title)}: {photos}, {len(scene.markers)} markers, lens from {scene.lens_source}")
        for line in figure_lines(mine, units):
            say(line)
        for line in comparison_lines([c for c in report.comparisons if (c.tape.corner, c.tape.state)
                                      == (state.corner, state.state)], units):
            say(line)
        say("")
    for line in finding_lines(report.findings):
        say(line)
    if report.pictures:
        say_paths("annotated photos in", sorted({str(Path(p).parent) for p in report.pictures}))


def write_pictures(measurement, results, progress):
    """Annotated photos into ``results``; a picture that cannot be written is told, not fatal."""
    from photoangle.annotate import annotate

    report = measurement.report
    work = []
    for state in measurement.states:
        figures = [f for f in report.figures if (f.corner, f.state) == (state.corner, state.state)]
        target = results / state.corner / state.state if state.corner else results
        stems = Counter(Path(state.paths[name]).stem for name in state.scene.photos)
        for index, name in enumerate(state.scene.photos):
            path = Path(state.paths[name])
            alone = stems[path.stem] == 1  # no IMG_1.heic beside IMG_1.jpg
            work.append((state, index, path, target / f"{path.stem if alone else path.name}.jpg", figures))
    for state, index, path, picture, figures in progress(work, "pictures"):
        target = picture.parent
        try:
            target.mkdir(parents=True, exist_ok=True)
            annotate(path, picture, state, index, figures, measurement.kit)
            report.pictures.append(picture)
        except PhotoError as error:  # it was there a moment ago
            report.tell(Finding(ATTENTION, str(path), error.what, error.do))
        except OSError as error:
            report.tell(Finding(ATTENTION, str(target), f"pictures cannot be written ({error.strerror})",
                                "make the folder writable, or use --no-pictures"))
            return


def demo_command(folder, progress):
    """`photoangle demo`: measure a copy of the samples' notes and pictures and work out the link, ending with paths."""
    if not (SAMPLES / "car.toml").exists():
        raise CannotUse(Finding(UNUSABLE, str(SAMPLES), "the sample photos are not here",
                                "run this from a copy of the project (pip install -e .)"))
    target = Path(folder) if folder else Path("photoangle-demo")
    target.mkdir(parents=True, exist_ok=True)
    for source in sorted(SAMPLES.rglob("*")):
        name = source.relative_to(SAMPLES)
        if source.suffix.lower() not in (".jpg", ".toml") or name.parts[0] in ("maker", "results"):
            continue
        copy = target / name
        if not copy.exists():
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, copy)
    say(f"sample photos copied to {target}")
    looks, told = Looks(), []
    code = measure_command([target], False, None, None, None, None, (), False, None, None, True, progress, looks, told)
    if code == 2:
        return code
    from photoangle.link_command import link_command, no_wishes

    say("\nThe link, from the photos at set height, before the new one went in:\n")
    code = link_command(target, False, None, None, no_wishes() | {"state": "set"}, False, True, progress, looks, told)
    return 0 if code == 1 else code
