"""`photoangle link`, between the pipeline and the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calib.files import write_whole
from photoangle.api import LinkResult, link, link_by_tape
from photoangle.carfile.folder import load_car
from photoangle.core.errors import CannotUse
from photoangle.core.findings import Finding
from photoangle.core.options import Asked, PhotoOptions
from photoangle.core.progress import Progress
from photoangle.core.states import CORNERS
from photoangle.detection.cache import DetectionCache
from photoangle.droplink.request import request_from
from photoangle.output.drawings import write_drawings
from photoangle.output.link_table import answer_lines, axle_lines
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say, say_paths
from photoangle.pipeline.kept import looks_for


@dataclass(frozen=True)
class LinkOptions:
    """folder: the car folder; asked: what is wanted over what car.toml says; only: a corner; tape_alone: no
    photos; pictures: write drawings beside the results."""

    folder: Path
    asked: Asked = Asked()
    only: str | None = None
    tape_alone: bool = False
    kit_path: Path | None = None
    as_json: bool = False
    pictures: bool = True


def link_command(options: LinkOptions, progress: Progress, looks: DetectionCache | None = None,
                 told: Sequence[Finding] = ()) -> int:
    """`photoangle link`.  looks: what was seen before; told: findings already shown, not to be repeated.

    Returns the exit code.  Raises InputError.
    """
    root, only = options.folder, options.only
    if only is not None and only not in CORNERS:
        raise CannotUse("--only", f"{only!r} is no corner", "use one of " + ", ".join(CORNERS))
    car = load_car(root)
    wishes = request_from(options.asked, car.units)
    if options.tape_alone:
        linked = link_by_tape(car, wishes, only, str(root))
    else:
        linked = link(root, wishes, only, PhotoOptions(options.kit_path), progress, looks or looks_for(root))
    answers, report = linked.answers, linked.report
    if options.pictures and any(a.base is not None for a in answers):
        write_drawings(answers, root / "results", report, progress)
    try:
        if any(a.base is not None for a in answers):
            (root / "results").mkdir(exist_ok=True)
            write_whole(root / "results" / "link.json", report.to_json() + "\n")
    finally:
        # what was found is shown even where it cannot be kept
        if options.as_json:
            say(report.to_json())
        else:
            print_answers(linked, car.units, told)
    return report.exit_code


def print_answers(linked: LinkResult, units: str, told: Sequence[Finding] = ()) -> None:
    """The answers, the findings not told before, and where the pictures are, on standard output."""
    for answer in linked.answers:
        for line in answer_lines(answer, units):
            say(line)
        say("")
    for axle in linked.axles:
        for line in axle_lines(axle, units):
            say(line)
    for line in finding_lines([f for f in linked.findings if f not in told]):
        say(line)
    if linked.report.pictures:
        say_paths("drawings:", linked.report.pictures)
