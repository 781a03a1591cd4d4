"""Which figures of a state are told, and what would settle those that are not."""

from __future__ import annotations

from photoangle.core.figure import says_nothing
from photoangle.core.findings import ATTENTION, Finding
from photoangle.figures.granted import taken_for_granted
from photoangle.figures.measurands import TITLES
from photoangle.figures.measure import measured
from photoangle.geometry.datums import LEAN, ROLL_UNKNOWN, level_axes
from photoangle.geometry.joints import NOT_GIVEN
from photoangle.reconstruction.paper_bend import BEND

# What makes a figure known that one unknown keeps from being told.
_SETTLES = {
    NOT_GIVEN: "measure the stand-offs of its markers (printed face straight back to the joint's middle)",
    "pixels": "take more photos, nearer and from clearly different places",
    "lens": "take ten photos of the card into lens/, and more photos here",
    "print": "lay a steel rule on the print-check lines and write what it says",
    BEND: "stick the markers on something flat and stiff",
    "level": "hang the plumb strip",
    ROLL_UNKNOWN: "lay a level across the car as it stands here and write what it reads as roll_deg",
    LEAN: "hang the plumb strip in view: a level edge does not tell how the card leans",
}


def tell_figures(result, report):
    """Measure a state's figures and put those that say something into a Report, with what was taken for
    granted; what says nothing is named."""
    if result.lateral is None and result.up is not None:
        result.lateral = level_axes(result.points, result.up)
    result.measured = measured(result)
    figures = result.measured.figures(result.corner, result.state)
    report.granted += taken_for_granted(result)
    where = f"{result.corner}/{result.state}" if result.corner else "photos"
    withheld = [f for f in figures if says_nothing(f)]
    report.figures += [f for f in figures if f not in withheld]
    report.tell(*_withheld_findings(withheld, where))
    if not figures:
        report.tell(Finding(ATTENTION, where, "no figure can be had from these markers",
                            "the smallest set for the bar's angle: bush, eye, plumb, two sill markers, card"))


def _withheld_findings(figures, where):
    """One finding for all figures that the same unknown makes useless, with what would settle it."""
    by_cause = {}
    for f in figures:
        by_cause.setdefault(next(iter(f.budget), "pixels"), []).append(TITLES[f.name])
    return [Finding(ATTENTION, where, f"not known well enough to be told: {', '.join(dict.fromkeys(names))}",
                    _SETTLES.get(cause, f"it is mostly {cause}")) for cause, names in by_cause.items()]
