"""`photoangle report`, between the pipeline and the terminal."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from calib.files import write_whole
from photoangle.advice.advise import next_steps
from photoangle.api import link, measure
from photoangle.comparison.history import keep_run
from photoangle.core.errors import CannotUse
from photoangle.core.findings import UNUSABLE, Finding
from photoangle.core.options import LinkRequest, PhotoOptions
from photoangle.core.outcome import Report
from photoangle.core.progress import Progress
from photoangle.output.answers_json import link_json
from photoangle.output.terminal import say
from photoangle.pipeline.kept import looks_for
from photoangle.report.page import report_html
from photoangle.report.sheet import figures_csv


@dataclass(frozen=True)
class ReportOptions:
    """folder: the car folder; target: the HTML file to write, None for the usual place; csv_path: a table to
    write as well; state: to answer the link from; only: a corner; jobs: how many processes may work."""

    folder: Path
    target: Path | None = None
    csv_path: Path | None = None
    state: str | None = None
    only: str | None = None
    kit_path: Path | None = None
    as_json: bool = False
    jobs: int = 1


def report_command(options: ReportOptions, progress: Progress) -> int:
    """`photoangle report`.  Returns the exit code.  Raises InputError and OSError."""
    root, csv_path = options.folder, options.csv_path
    looks = looks_for(root)
    measurement = measure(root, options.only, PhotoOptions(options.kit_path), progress, looks, options.jobs)
    if not measurement.states:
        raise CannotUse.because(next((f for f in measurement.report.findings if f.level == UNUSABLE), Finding(
            UNUSABLE, str(root), "nothing could be measured", "see `photoangle measure`")))
    linked = link(measurement, LinkRequest(state=options.state), looks=looks)
    report = Report(figures=[*measurement.figures, *linked.figures], findings=linked.findings)
    target = options.target or root / "results" / "report.html"
    target.parent.mkdir(parents=True, exist_ok=True)
    html = report_html(measurement, linked.answers, linked.axles, next_steps(measurement, options.only),
                       report)
    write_whole(target, html)
    keep_run(root / "results", measurement)
    if csv_path:
        write_whole(csv_path, figures_csv(report.figures))
    if options.as_json:
        say(link_json(report, linked.answers, units=measurement.car.units))
    else:
        say(
            f"{target}: {len(html.encode()) / 1e6:.1f} MB, open it in a browser or print it; the last page"
            f" is the fitting card"
        )
        if csv_path:
            say(f"{csv_path}: the same figures for a spreadsheet")
    return report.exit_code
