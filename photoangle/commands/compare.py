"""`photoangle compare`, between the pipeline and the terminal."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from photoangle.api import compare
from photoangle.commands.options import named_roles, photo_options
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.progress import Progress
from photoangle.output.compare_table import changes_lines, comparisons_json
from photoangle.output.drawn.compare_picture import draw_comparison
from photoangle.output.summary.common import look_lines, picture_line
from photoangle.output.summary.compared import summary_lines
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say, say_paths


@dataclass(frozen=True)
class CompareOptions:
    """before, after: states, corners, car folders or photos; same_print: both used the same printed sheets;
    restuck: roles stuck anew in between, ``ROLE,ROLE``; pictures: write them; full: every figure; the
    others as in
    `commands.measure.MeasureOptions`; jobs: how many processes may work."""

    before: Path
    after: Path
    as_json: bool = False
    kit_path: Path | None = None
    car_root: Path | None = None
    corner: str | None = None
    planar: bool = False
    dots: str | None = None
    level: str | None = None
    same_print: bool = False
    restuck: str | None = None
    pictures: bool = True
    full: bool = False
    jobs: int = 1


def compare_command(options: CompareOptions, progress: Progress) -> int:
    """`photoangle compare`.  Returns the exit code.  Raises InputError."""
    touched = named_roles(options.restuck, "--restuck")
    photos = photo_options(options)
    result = compare(options.before, options.after, options.same_print, touched, photos, progress, keep=True,
                     jobs=options.jobs)
    comparisons, report = result.comparisons, result.report
    if options.pictures:
        _write_comparisons(comparisons, result.results, report, progress)
    if options.as_json:
        say(comparisons_json(comparisons, report))
        return report.exit_code
    for comparison in comparisons:
        for line in (changes_lines if options.full else summary_lines)(comparison, result.units):
            say(line)
        say("")
    if options.full:
        for line in finding_lines(report.findings, result.units):
            say(line)
        if report.pictures:
            say_paths("before and after in one picture", report.pictures)
        return report.exit_code
    for line in (*picture_line(report.pictures),
                 *look_lines(report.findings, result.units,
                             f"photoangle compare {options.before} {options.after}")):
        say(line)
    return report.exit_code


def _write_comparisons(comparisons, results, report, progress):
    """A picture of each comparison into ``results``/compare; one that cannot be made is told, not fatal."""
    for c in progress(comparisons, "pictures"):
        name = "_to_".join("_".join(Path(s.name).with_suffix("").parts) for s in (c.before, c.after))
        target = results / "compare" / f"{name}.jpg"
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            reason = draw_comparison(c, target)
        except OSError as error:
            report.tell(
                Finding(ATTENTION, str(target.parent), f"pictures cannot be written ({error.strerror})",
                        "make the folder writable, or use --no-pictures"))
            return
        if reason:
            report.tell(Finding(NOTE, f"{c.before.name} to {c.after.name}", f"no picture: {reason}", ""))
        else:
            report.pictures.append(target)
