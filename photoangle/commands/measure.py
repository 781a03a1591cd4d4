"""`photoangle measure`, between the pipeline and the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calib.files import write_whole
from photoangle.api import measure
from photoangle.commands.options import photo_options
from photoangle.comparison.history import keep_run
from photoangle.core.figure import Figure
from photoangle.core.findings import Finding
from photoangle.core.progress import Progress
from photoangle.core.states import CORNERS, in_order
from photoangle.detection.cache import DetectionCache
from photoangle.figures.between import between_figures, parse_between
from photoangle.output.drawn.pictures import write_pictures
from photoangle.output.plain import plain
from photoangle.output.summary.measured import summary_lines
from photoangle.output.table import comparison_lines, figure_lines, finding_lines, granted_lines
from photoangle.output.terminal import say, say_paths
from photoangle.pipeline import Measurement
from photoangle.pipeline.kept import looks_for


@dataclass(frozen=True)
class MeasureOptions:
    """paths: one car folder, or photos; only: a corner or corner/state; between: "ID-ID[-ID]" each; pictures:
    write annotated photos beside the results; full: every figure and note; the others as in
    `core.options.PhotoOptions`, dots as
    ``ROLE,ROLE``; jobs: how many processes may work."""

    paths: tuple[Path, ...]
    as_json: bool = False
    only: str | None = None
    kit_path: Path | None = None
    car_root: Path | None = None
    corner: str | None = None
    between: tuple[str, ...] = ()
    planar: bool = False
    dots: str | None = None
    level: str | None = None
    pictures: bool = True
    assumed: bool = False
    full: bool = False
    jobs: int = 1


def measure_command(options: MeasureOptions, progress: Progress, looks: DetectionCache | None = None,
                    told: list[Finding] | None = None) -> int:
    """`photoangle measure`.  looks: what was seen before; told: takes the findings shown.  Returns the exit
    code.  Raises InputError."""
    paths, between = options.paths, options.between
    photos = photo_options(options)
    for text in between:
        parse_between(text)
    is_folder = paths[0].is_dir()
    looks = looks or (looks_for(paths[0]) if is_folder else None)
    measurement = measure(paths, options.only, photos, progress, looks, options.jobs)
    results = (paths[0] if is_folder else paths[0].parent) / "results"
    report, unseen, shown = measurement.report, False, []
    for state in measurement.states if between else ():
        figures, findings = between_figures(between, state, measurement)
        report.figures += figures
        shown += figures
        report.tell(*findings)
        unseen = unseen or bool(findings)
    if options.pictures and measurement.states:
        write_pictures(measurement, results, progress)
    try:
        if is_folder and measurement.states:
            results.mkdir(exist_ok=True)
            write_whole(results / "measure.json", report.to_json() + "\n")
            keep_run(results, measurement)
    finally:
        # what was found is shown even where it cannot be kept
        if options.as_json:
            say(report.to_json())
        else:
            print_measurement(measurement, options, shown)
    if told is not None:
        told += report.findings
    if between and not is_folder and measurement.states and not unseen:
        return 0  # what was asked of loose photos is there; joints and levels were not asked for
    return report.exit_code


def print_measurement(measurement: Measurement, options: MeasureOptions,
                      between: Sequence[Figure] = ()) -> None:
    """On standard output: the answer in short for a car folder, all of it with --full or for loose photos;
    between: Figures that were asked for."""
    report, units = measurement.report, measurement.car.units
    if options.full or options.assumed or measurement.states == [] or not measurement.states[0].corner:
        _print_all(measurement, options.assumed)
        if report.pictures:
            say_paths("annotated photos in", sorted({str(Path(p).parent) for p in report.pictures}))
        return
    for line in summary_lines(measurement, str(options.paths[0])):
        say(line)
    if between:
        say("")
        for line in figure_lines(between, units):
            say(line)


def _print_all(measurement, assumed):
    """Tables, comparisons and findings on standard output; assumed: what was taken for granted as well."""
    report, units = measurement.report, measurement.car.units
    for state in _ordered(measurement.states):
        mine = [f for f in report.figures if (f.corner, f.state) == (state.corner, state.state)]
        title = f"{state.corner} / {state.state}" if state.corner else "photos"
        scene = state.scene
        photos = f"{len(scene.photos)} photo{'s' if len(scene.photos) > 1 else ''}"
        say(f"{plain(title)}: {photos}, {len(scene.markers)} markers, lens from {scene.taken.lens_source}")
        for line in figure_lines(mine, units):
            say(line)
        for line in comparison_lines([c for c in report.comparisons if (c.tape.corner, c.tape.state)
                                      == (state.corner, state.state)], units):
            say(line)
        if assumed:
            for line in granted_lines([g for g in report.granted
                                       if (g.corner, g.state) == (state.corner, state.state)], units):
                say(line)
        say("")
    for line in finding_lines(report.findings, units):
        say(line)


def _ordered(states):
    """States by corner, and in the order of the work."""
    named = [s for corner in CORNERS for s in in_order([s for s in states if s.corner == corner])]
    return named or list(states)
