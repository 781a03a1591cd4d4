"""`photoangle report`, between the pipeline and the terminal."""

from __future__ import annotations

from pathlib import Path

from calib.files import write_whole
from photoangle.advice.advise import next_steps
from photoangle.comparison.history import keep_run
from photoangle.core.errors import CannotUse
from photoangle.core.findings import UNUSABLE, Finding
from photoangle.core.outcome import Report
from photoangle.droplink.answer import link_answers
from photoangle.droplink.axles import axle_answers
from photoangle.droplink.request import Wishes
from photoangle.output.terminal import say
from photoangle.pipeline import measure_folder
from photoangle.report.page import report_html
from photoangle.report.sheet import figures_csv


def whole_answer(root, progress, kit_path=None, only=None, state=None):
    """Everything a report says: (measurement, answers, axles, steps, Report).  Raises InputError."""
    measurement = measure_folder(root, progress, kit_path, only)
    if not measurement.states:
        raise CannotUse.because(next((f for f in measurement.report.findings if f.level == UNUSABLE), Finding(
            UNUSABLE, str(root), "nothing could be measured", "see `photoangle measure`")))
    answers = link_answers(measurement, Wishes(state=state))
    axles = axle_answers(answers, measurement.report.figures, measurement.car)
    report = Report(figures=list(measurement.report.figures), findings=list(measurement.report.findings))
    report.take(answers + axles)
    return measurement, answers, axles, next_steps(measurement, only), report


def report_command(root, target, csv_path, as_json, only, kit_path, state, progress):
    """`photoangle report`.  Returns the exit code.  Raises InputError and OSError."""
    root = Path(root)
    measurement, answers, axles, steps, report = whole_answer(root, progress, kit_path, only, state)
    target = Path(target) if target else root / "results" / "report.html"
    target.parent.mkdir(parents=True, exist_ok=True)
    html = report_html(measurement, answers, axles, steps, report)
    write_whole(target, html)
    keep_run(root / "results", measurement)
    if csv_path:
        write_whole(Path(csv_path), figures_csv(report.figures))
    if as_json:
        say(report.to_json())
    else:
        say(f"{target}: {len(html.encode()) / 1e6:.1f} MB, open it in a browser or print it; the last page is the fitting card")
        if csv_path:
            say(f"{csv_path}: the same figures for a spreadsheet")
    return report.exit_code
