"""`photoangle next`: what to do next, between the pipeline and the terminal."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path

from calib.files import write_whole
from photoangle.advice.advise import as_findings, next_steps
from photoangle.advice.next_reading import next_reading
from photoangle.api import link, measure
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.options import PhotoOptions
from photoangle.core.progress import Progress
from photoangle.output.summary.common import picture_line
from photoangle.output.summary.to_do import gain_words, summary_lines, things_to_do
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say, say_paths
from photoangle.pipeline.kept import looks_for


@dataclass(frozen=True)
class NextOptions:
    """folder: the car folder; only: a corner or corner/state; pictures: draw where to stand; full: all
    that was thought of; jobs: how many processes may work."""

    folder: Path
    only: str | None = None
    kit_path: Path | None = None
    as_json: bool = False
    pictures: bool = True
    full: bool = False
    jobs: int = 1


def next_command(options: NextOptions, progress: Progress) -> int:
    """`photoangle next`.  Returns the exit code.  Raises InputError."""
    root, only = options.folder, options.only
    looks = looks_for(root)
    measurement = measure(root, only, PhotoOptions(options.kit_path), progress, looks, options.jobs)
    report = measurement.report
    steps = next_steps(measurement, only)
    answers = link(measurement, looks=looks).answers
    readings = [(a.corner, r) for a in answers for r in [next_reading(a)] if r is not None]
    if options.pictures:
        _pictures(measurement, steps, root / "results", report)
    if options.as_json:
        report.tell(*as_findings(steps), *(Finding(NOTE, c, gain_words(r), r.words) for c, r in readings))
        say(report.to_json())
        return report.exit_code
    if not options.full:
        for line in (*summary_lines(things_to_do(measurement, answers, steps, readings), str(root)),
                     *picture_line(report.pictures)):
            say(line)
        return report.exit_code
    say("What to do next")
    for step in steps:
        _say(f"{step.where}: {step.words}.", f"({step.gain})")
    for corner, reading in readings:
        _say(f"{corner}, tape: {reading.words}.", f"({gain_words(reading)})")
    say("")
    for line in finding_lines(report.findings, measurement.car.units):
        say(line)
    if report.pictures:
        say_paths("where to stand:", report.pictures)
    return report.exit_code


def _say(*texts):
    for k, text in enumerate(texts):
        for line in textwrap.wrap(text, 80, initial_indent="- " if not k else "  ", subsequent_indent="  "):
            say(line)


def _pictures(measurement, steps, results, report):
    from photoangle.output.drawn.stand_picture import draw_stand

    by_state = {f"{s.corner}/{s.state}": s for s in measurement.states}
    try:
        for step in steps:
            if step.photo is None or not step.photo.worth:
                continue
            state = by_state[step.where]
            target = results / state.corner / state.state
            target.mkdir(parents=True, exist_ok=True)
            write_whole(target / "stand-here.png", draw_stand(state, step.photo, measurement.kit))
            report.pictures.append(target / "stand-here.png")
    except OSError as error:
        report.tell(Finding(ATTENTION, str(results), f"pictures cannot be written ({error.strerror})",
                            "make the folder writable, or use --no-pictures"))
