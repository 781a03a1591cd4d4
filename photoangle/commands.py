"""What the commands do, between the pipeline and the terminal."""

from __future__ import annotations

import difflib
import shutil
from pathlib import Path

import click

from calib.files import write_whole
from photoangle.between import between_figures, parse_between
from photoangle.carfile_nouns import CORNERS, ROLE_KEYS
from photoangle.history import keep_run
from photoangle.model import ATTENTION, NOTE, UNUSABLE, Finding
from photoangle.pipeline import CannotUse, measure_folder, measure_photos
from photoangle.table import comparison_lines, figure_lines, finding_lines

SAMPLES = Path(__file__).resolve().parent.parent / "sample_images"


def measure_command(paths, as_json, only, kit_path, car_root, corner, between, planar, dots, level,
                    pictures, progress):
    """`photoangle measure`.  Returns the exit code."""
    roles = _roles(dots, "--dots")
    _check_corner(corner)
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
        measurement = measure_folder(root, progress, kit_path, only)
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
    if folders and measurement.states:
        results.mkdir(exist_ok=True)
        write_whole(results / "measure.json", report.to_json() + "\n")
        keep_run(results, measurement)
    if as_json:
        click.echo(report.to_json())
    else:
        print_measurement(measurement)
    return report.exit_code


def _check_corner(corner):
    if corner is not None and corner not in CORNERS:
        raise CannotUse(Finding(UNUSABLE, "--corner", f"{corner!r} is no corner", "use one of " + ", ".join(CORNERS)))


def _roles(text, option):
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
        click.echo(f"{title}: {photos}, {len(scene.markers)} markers, lens from {scene.lens_source}")
        for line in figure_lines(mine, units):
            click.echo(line)
        for line in comparison_lines([c for c in report.comparisons if (c.tape.corner, c.tape.state)
                                      == (state.corner, state.state)], units):
            click.echo(line)
        click.echo("")
    for line in finding_lines(report.findings):
        click.echo(line)
    if report.pictures:
        where = sorted({str(Path(p).parent) for p in report.pictures})
        click.echo("annotated photos in\n  " + "\n  ".join(where))


def write_pictures(measurement, results, progress):
    """Annotated photos into ``results``; a picture that cannot be written is told, not fatal."""
    from photoangle.annotate import annotate

    report = measurement.report
    work = []
    for state in measurement.states:
        figures = [f for f in report.figures if (f.corner, f.state) == (state.corner, state.state)]
        target = results / state.corner / state.state if state.corner else results
        for index, name in enumerate(state.scene.photos):
            work.append((state, index, state.paths[name], target, figures))
    for state, index, path, target, figures in progress(work, "pictures"):
        try:
            target.mkdir(parents=True, exist_ok=True)
            picture = target / (Path(path).stem + ".jpg")
            annotate(path, picture, state, index, figures, measurement.kit)
            report.pictures.append(picture)
        except OSError as error:
            report.tell(Finding(ATTENTION, str(target), f"pictures cannot be written ({error.strerror})",
                                "make the folder writable, or use --no-pictures"))
            return


def compare_command(before, after, as_json, kit_path, car_root, corner, planar, dots, level, same_print, restuck, pictures,
                    progress):
    """`photoangle compare`.  Returns the exit code."""
    from photoangle.compare import compare_sides
    from photoangle.compare_inputs import measured_pairs
    from photoangle.compare_table import changes_lines, comparisons_json
    from photoangle.results import Report

    roles, touched = _roles(dots, "--dots"), _roles(restuck, "--restuck")
    _check_corner(corner)
    pairs = measured_pairs(before, after, progress, kit_path, car_root, planar or bool(roles), roles, level, corner)
    report = Report()
    report.tell(*pairs.findings)
    comparisons = [compare_sides(a, b, pairs.kit, same_print, touched) for a, b in pairs.sides]
    for comparison in comparisons:
        report.figures += [c.figure for c in comparison.changes]
        report.tell(*comparison.findings)
    if pictures:
        _write_comparisons(comparisons, pairs.results, report, progress)
    if as_json:
        click.echo(comparisons_json(comparisons, report))
        return report.exit_code
    for comparison in comparisons:
        for line in changes_lines(comparison, pairs.units):
            click.echo(line)
        click.echo("")
    for line in finding_lines(report.findings):
        click.echo(line)
    if report.pictures:
        click.echo("before and after in one picture\n  " + "\n  ".join(map(str, report.pictures)))
    return report.exit_code


def _write_comparisons(comparisons, results, report, progress):
    """A picture of each comparison into ``results``/compare; one that cannot be made is told, not fatal."""
    from photoangle.compare_picture import draw_comparison

    for c in progress(comparisons, "pictures"):
        name = "_to_".join("_".join(Path(s.name).with_suffix("").parts) for s in (c.before, c.after))
        target = results / "compare" / f"{name}.jpg"
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            reason = draw_comparison(c, target)
        except OSError as error:
            report.tell(Finding(ATTENTION, str(target.parent), f"pictures cannot be written ({error.strerror})",
                                "make the folder writable, or use --no-pictures"))
            return
        if reason:
            report.tell(Finding(NOTE, f"{c.before.name} to {c.after.name}", f"no picture: {reason}", ""))
        else:
            report.pictures.append(target)


def history_command(root, as_json, only, names, every, plot):
    """`photoangle history`.  Returns the exit code."""
    from photoangle.history import read_history, season
    from photoangle.history_table import history_json, history_lines, main_figures, plot_history
    from photoangle.pipeline import load_car
    from photoangle.table import TITLES

    for name in names:
        if name not in TITLES:
            near = difflib.get_close_matches(name, TITLES, 1, 0.4)
            raise CannotUse(Finding(UNUSABLE, "--figure", f"{name!r} is no figure's name",
                                    f"did you mean {near[0]}?" if near else "use one of " + ", ".join(TITLES)))
    runs, findings = read_history(root)
    steps = season(runs, only, names)
    if not steps:
        raise CannotUse(Finding(UNUSABLE, str(root), "no kept run has such a figure", "ask for another corner or figure"))
    shown = steps if every or names else main_figures(steps) or steps
    if plot:
        plot_history(shown, plot)
    if as_json:
        click.echo(history_json(steps, findings))
    else:
        for line in history_lines(shown, load_car(root).units):
            click.echo(line)
        for line in finding_lines(findings):
            click.echo(line)
        if plot:
            click.echo(f"plotted in\n  {plot}")
    return 1 if findings else 0


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
    click.echo(f"sample photos copied to {target}")
    code = measure_command([target], False, None, None, None, None, (), False, None, None, True,
                           progress)
    if code == 2:
        return code
    from photoangle.link_command import link_command, no_wishes

    click.echo("\nThe link, from the photos at set height, before the new one went in:\n")
    code = link_command(target, False, None, None, no_wishes() | {"state": "set"}, False, True, progress)
    return 0 if code == 1 else code
