"""`photoangle link`, between the pipeline and the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calib.files import write_whole
from photoangle.api import LinkResult, link, link_by_tape
from photoangle.carfile.folder import load_car
from photoangle.carfile.misplaced import as_car_folder, check_only
from photoangle.core.errors import CannotUse
from photoangle.core.findings import Finding
from photoangle.core.options import Asked, LinkRequest, PhotoOptions
from photoangle.core.progress import Progress
from photoangle.core.states import CORNERS
from photoangle.detection.cache import DetectionCache
from photoangle.droplink.request import request_from
from photoangle.linkage.advice import CHANGE
from photoangle.output.answers_json import link_json
from photoangle.output.drawn.drawings import write_drawings
from photoangle.output.link_table import axle_lines, full_lines
from photoangle.output.summary.common import look_lines, picture_line, wrapped
from photoangle.output.summary.linked import next_lines, short_lines
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say, say_paths
from photoangle.pipeline.kept import looks_for


@dataclass(frozen=True)
class LinkOptions:
    """folder: the car folder; asked: what is wanted over what car.toml says; only: a corner; tape_alone: no
    photos; pictures: write drawings beside the results; full: all that the answer rests on; jobs: how many
    processes may work."""

    folder: Path
    asked: Asked = Asked()
    only: str | None = None
    tape_alone: bool = False
    kit_path: Path | None = None
    as_json: bool = False
    pictures: bool = True
    full: bool = False
    jobs: int = 1


def link_command(options: LinkOptions, progress: Progress, looks: DetectionCache | None = None,
                 told: Sequence[Finding] = ()) -> int:
    """`photoangle link`.  looks: what was seen before; told: findings already shown, not to be repeated.

    Returns the exit code.  Raises InputError.
    """
    root, only = options.folder, options.only
    as_car_folder(root)
    check_only(only, root)
    if only is not None and only not in CORNERS:
        raise CannotUse("--only", f"{only!r} is no corner", "use one of " + ", ".join(CORNERS))
    car = load_car(root)
    wishes = request_from(options.asked, car.units)
    if options.tape_alone:
        linked = link_by_tape(car, wishes, only, str(root))
    else:
        linked = link(root, wishes, only, PhotoOptions(options.kit_path), progress, looks or looks_for(root),
                      options.jobs)
    answers, report = linked.answers, linked.report
    if options.pictures and any(a.base is not None for a in answers):
        write_drawings(answers, root / "results", report, progress, car.units)
    text = link_json(report, answers, wishes, car.units)
    try:
        if any(a.base is not None for a in answers):
            (root / "results").mkdir(exist_ok=True)
            write_whole(root / "results" / "link.json", text + "\n")
    finally:
        # what was found is shown even where it cannot be kept
        if options.as_json:
            say(text)
        else:
            print_answers(linked, options, wishes, car.units, told)
    return report.exit_code


def print_answers(linked: LinkResult, options: LinkOptions, asked: LinkRequest, units: str,
                  told: Sequence[Finding] = ()) -> None:
    """On standard output: the answers in short, or in full, and the findings not told before."""
    told_here = [f for f in linked.findings if f not in told]
    lines = full_lines if options.full else short_lines
    for answer in linked.answers:
        for line in lines(answer, asked, units):
            say(line)
        if options.full:
            say("")
    if options.full:
        for axle in linked.axles:
            for line in axle_lines(axle, units):
                for part in wrapped(line, "    "):
                    say(part)
        for line in finding_lines(told_here, units):
            say(line)
        if linked.report.pictures:
            say_paths("drawings:", linked.report.pictures)
        return
    said = {s for a in linked.answers for s in (getattr(a.advice, "sentence", ""), *a.held_back)}
    told_here = [f for f in told_here if f.what not in said]
    changed = [a.corner for a in linked.answers if getattr(a.advice, "verdict", "") == CHANGE]
    pictures = sorted(linked.report.pictures, key=lambda p: Path(p).parent.name not in changed)
    for line in picture_line(pictures):
        say(line)
    for line in next_lines(linked.answers, str(options.folder)):
        say(line)
    for line in look_lines(told_here, units, f"photoangle link {options.folder}"):
        say(line)
