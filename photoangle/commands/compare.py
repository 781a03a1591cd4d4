"""`photoangle compare`, between the pipeline and the terminal."""

from __future__ import annotations

from pathlib import Path

from photoangle.commands.options import check_corner, named_roles
from photoangle.comparison.compare import compare_sides
from photoangle.comparison.inputs import measured_pairs
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.outcome import Report
from photoangle.output.compare_picture import draw_comparison
from photoangle.output.compare_table import changes_lines, comparisons_json
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say, say_paths


def compare_command(before, after, as_json, kit_path, car_root, corner, planar, dots, level, same_print, restuck, pictures,
                    progress):
    """`photoangle compare`.  Returns the exit code."""
    roles, touched = named_roles(dots, "--dots"), named_roles(restuck, "--restuck")
    check_corner(corner)
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
        say(comparisons_json(comparisons, report))
        return report.exit_code
    for comparison in comparisons:
        for line in changes_lines(comparison, pairs.units):
            say(line)
        say("")
    for line in finding_lines(report.findings):
        say(line)
    if report.pictures:
        say_paths("before and after in one picture", report.pictures)
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
            report.tell(Finding(ATTENTION, str(target.parent), f"pictures cannot be written ({error.strerror})",
                                "make the folder writable, or use --no-pictures"))
            return
        if reason:
            report.tell(Finding(NOTE, f"{c.before.name} to {c.after.name}", f"no picture: {reason}", ""))
        else:
            report.pictures.append(target)
