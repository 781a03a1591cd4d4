"""What the commands do, between the pipeline and the terminal."""

from __future__ import annotations

from pathlib import Path

from calib.files import write_whole
from photoangle.commands.options import check_corner, named_roles
from photoangle.comparison.history import keep_run
from photoangle.core.errors import CannotUse
from photoangle.figures.between import between_figures, parse_between
from photoangle.output.pictures import write_pictures
from photoangle.output.plain import plain
from photoangle.output.table import comparison_lines, figure_lines, finding_lines
from photoangle.output.terminal import say, say_paths
from photoangle.pipeline import measure_folder, measure_photos


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
        raise CannotUse(str(missing[0]), "there is no such file or folder", "check the name")
    if folders and len(paths) > 1:
        raise CannotUse(str(folders[0]), "one car folder at a time, or photos only",
                        "give one folder, or name the photos")
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

