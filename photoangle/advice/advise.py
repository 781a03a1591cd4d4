"""What to do next, from what there is: bad photos, missing and mixed-up markers, slips of the tape, the car
itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

from photoangle.advice.car_checks import moved_between_photos, set_height, steering
from photoangle.advice.marker_slips import marker_findings
from photoangle.advice.next_photo import WANTED, next_photo, wanted_figure
from photoangle.advice.tape_slips import tape_slips
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.roles import BAR_BUSH, BAR_EYE, PLUMB_BOTTOM, PLUMB_TOP, SILL_FRONT, SILL_REAR
from photoangle.core.states import CORNERS, RIDE, is_looked_at
from photoangle.detection.photo_quality import quality_findings, squares_by_photo
from photoangle.figures.print_by_tape import printed_otherwise

_TITLES = {BAR_BUSH: "bar bush", BAR_EYE: "bar eye", PLUMB_TOP: "plumb top", PLUMB_BOTTOM: "plumb bottom",
           SILL_FRONT: "sill front", SILL_REAR: "sill rear"}
_NEEDED = tuple(_TITLES)


def photo_findings(result):
    """What is the matter with a state's photos; what the solver made of them goes first."""
    squares = squares_by_photo(result.scene)
    out = []
    for quality in result.quality:
        out += quality_findings(replace(quality, squares=squares.get(quality.name, float("nan"))))
    return out


def slip_findings(measurement, exchanged=()):
    """Slips of hand and tape over the whole car folder.

    exchanged: corners of which it was said already that two markers were.  Returns Findings.
    """
    out, off = [], set()
    for corner in CORNERS:
        mine = [s for s in measurement.states if s.corner == corner]
        if mine:
            side = corner.split("-")[1]
            markers = [] if corner in exchanged else marker_findings(mine, side, measurement.kit)
            out += markers
            off |= {corner} if markers or corner in exchanged else set()
            out += steering([s for s in mine if not is_looked_at(s.state)], measurement.kit)
            for s in mine:
                out += moved_between_photos(s, measurement.kit)
                out += [] if corner in exchanged else missing_roles(s, measurement.report.figures)
        out += set_height(corner, measurement.car.corner(corner))
    # where a marker explains the contradictions, the tape is not blamed for them
    comparisons = [c for c in measurement.report.comparisons if c.tape.corner not in off]
    printed = printed_otherwise(comparisons, measurement.car.print_check)
    if printed is not None:
        # one factor in all of them is the paper's, which may have been said of a print check not used
        told = any(f.where == printed[0].where for f in measurement.report.findings)
        out = out if told else [printed[0], *out]
        comparisons = [c for c in comparisons if id(c) not in printed[1]]
    _, said = tape_slips(measurement.car, comparisons, measurement.report.figures)
    return out + said


def missing_roles(result, figures):
    """Which markers the bar arm's angle still needs in a state."""
    if result.state == RIDE or not result.corner or is_looked_at(result.state) or wanted_figure(
            figures, result.corner, result.state, WANTED[:2]) is not None:
        return []
    needed = [n for n in _NEEDED if not (n.startswith("plumb") and result.up is not None)]
    missing = [n for n in needed if n not in result.points]
    if not missing or len(missing) == len(needed):
        return []
    return [
        Finding(
            ATTENTION, f"{result.corner}/{result.state}",
            "for the bar arm's angle these markers are missing: " + ", ".join(_TITLES[n] for n in missing),
            "put them on, or take one more photo with them in view")
    ]


@dataclass(frozen=True)
class NextStep:
    """Something to do: where; words; gain: what it would bring, in words; photo: NextPhoto or None."""

    where: str
    words: str
    gain: str
    photo: object = None


def next_steps(measurement, only=None):
    """The next photo for each state, the most helpful first.  only: a corner or corner/state.  Returns
    Steps."""
    ride = {s.corner: s for s in measurement.states if s.reference and s.axes is not None}
    steps = []
    for s in measurement.states:
        where = f"{s.corner}/{s.state}"
        if s.state == RIDE or is_looked_at(s.state) or (only is not None and only not in (s.corner, where)):
            continue
        figure = wanted_figure(measurement.report.figures, s.corner, s.state)
        if figure is None:
            steps.append(
                (1.0, NextStep(where, "the bar arm's angle cannot be had from this state yet",
                           "see the findings")))
            continue
        advice = next_photo(s, figure, measurement.car, measurement.kit, ride.get(s.corner))
        now = f"bar arm angle is known within +- {1.96 * figure.u:.2f} deg here"
        gain = f"{now}; that photo would make it +- {1.96 * advice.u_then:.2f}" if advice.worth else now
        steps.append(
            (advice.u_then / figure.u if advice.worth else 2.0, NextStep(where, advice.words, gain, advice)))
    return [step for _, step in sorted(steps, key=lambda p: p[0])]


def as_findings(steps):
    """Steps as Findings, for JSON and the report."""
    return [Finding(NOTE, s.where, s.gain, s.words) for s in steps]
