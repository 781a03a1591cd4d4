"""`photoangle link`, between the pipeline and the terminal."""

from __future__ import annotations

from pathlib import Path

from calib.files import write_whole
from photoangle.carfile.folder import load_car, state_folders
from photoangle.core.errors import CannotUse
from photoangle.core.outcome import Report
from photoangle.core.states import CORNERS
from photoangle.droplink.answer import link_answers
from photoangle.droplink.axles import axle_answers
from photoangle.droplink.by_tape import tape_answers
from photoangle.droplink.request import wishes_from
from photoangle.output.drawings import write_drawings
from photoangle.output.link_table import answer_lines, axle_lines
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say, say_paths
from photoangle.pipeline import measure_folder


def link_command(root, as_json, only, kit_path, options, tape_alone, pictures, progress, looks=None, told=()):
    """`photoangle link`.  options: keyword arguments of `wishes_from`; looks: `looks.Looks` to remember by; told: findings already
    shown, not to be repeated.

    Returns the exit code.  Raises InputError.
    """
    root = Path(root)
    if only is not None and only not in CORNERS:
        raise CannotUse("--only", f"{only!r} is no corner", "use one of " + ", ".join(CORNERS))
    car = load_car(root)
    wishes = wishes_from(**options, units=car.units)
    answers, axles, report = solve(root, car, wishes, only, kit_path, tape_alone, progress, looks)
    if pictures and any(a.base is not None for a in answers):
        write_drawings(answers, root / "results", report, progress)
    try:
        if any(a.base is not None for a in answers):
            (root / "results").mkdir(exist_ok=True)
            write_whole(root / "results" / "link.json", report.to_json() + "\n")
    finally:
        # what was found is shown even where it cannot be kept
        if as_json:
            say(report.to_json())
        else:
            print_answers(answers, axles, report, car.units, told)
    return report.exit_code


def solve(root, car, wishes, only, kit_path, tape_alone, progress, looks=None):
    """Answers of corners and axles, and the Report with their figures and findings."""
    has_photos = bool(state_folders(root, only))
    if tape_alone or not has_photos:
        answers, measured = tape_answers(car, wishes, only), []
        if not answers:
            raise CannotUse(str(root), "neither photos nor tape readings to answer from",
                            "put photos into front-left/droop and front-left/set, or write heights and lengths under"
                            " [front-left.tape.droop]")
        report = Report()
    else:
        measurement = measure_folder(root, progress, kit_path, only, looks)
        answers = link_answers(measurement, wishes)
        measured = measurement.report.figures
        report = Report(findings=list(measurement.report.findings))
    axles = axle_answers(answers, measured, car)
    report.take(answers + axles)
    return answers, axles, report


def print_answers(answers, axles, report, units, told=()):
    """The answers, the findings not told before, and where the pictures are, on standard output."""
    for answer in answers:
        for line in answer_lines(answer, units):
            say(line)
        say("")
    for axle in axles:
        for line in axle_lines(axle, units):
            say(line)
    for line in finding_lines([f for f in report.findings if f not in told]):
        say(line)
    if report.pictures:
        say_paths("drawings:", report.pictures)
