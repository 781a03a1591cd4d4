"""The way through, how far it has been gone, and the one thing to do next."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from photoangle.carfile.folder import state_folders
from photoangle.core.findings import ATTENTION, UNUSABLE, Refusal
from photoangle.linkage.advice import CHANGE
from photoangle.output.summary.linked import verdict_words
from photoangle.reconstruction.lens.folder_lens import PROFILE_NAME

GOOD_LENS = 8


@dataclass(frozen=True)
class Next:
    """What to do next: words, why, and the page where it is done."""

    words: str
    why: str
    page: str


def way(work):
    """The stations of the way: (page, title, how far, done) each."""
    states = {(c, s): len(f) for c, s, _, f in state_folders(work.root)}
    lens = len(work.photos("lens"))
    answer = work.answer
    figures = len(answer.measurement.report.figures) if answer.measurement else 0
    linked = [a for a in answer.answers if a.base is not None]
    pairs = any(s.startswith("fitted") for _, s in states)
    stale = "" if work.fresh() or not answer.number else ", being renewed"
    return [("/kit", "Print", "card and markers", bool(states) or lens > 0),
            ("/lens", "Lens", f"{lens} photo{'s' * (lens != 1)}",
             (work.root / "lens" / PROFILE_NAME).exists()),
            ("/photos", "Photos", f"{sum(states.values())} in {len(states)} state{'s' * (len(states) != 1)}",
             bool(states)),
            ("/tape", "Tape", "readings",
             any(readings for c in work.car()[0].corners.values() for readings in c.tape.values())),
            ("/angles", "Angles", f"{figures} figures{stale}" if figures else "not yet", figures > 0),
            ("/link", "Link", verdict_words(linked[0]).lower() if linked else "not yet", bool(linked)),
            ("/compare", "Before, after", "ready" if pairs and figures else "after the new link", pairs
             and figures > 0), ("/report", "Report", "ready" if figures else "not yet", figures > 0)]


def what_next(work):
    """The one thing to do next."""
    car, trouble = work.car()
    if trouble is not None:
        return Next(f"{trouble.where}: {trouble.what}", trouble.do, "/tape")
    states = {(c, s) for c, s, _, _ in state_folders(work.root)}
    lens = len(work.photos("lens"))
    if not states and not lens:
        return Next("Print the card and the markers", "at 100 %, then lay a rule on the two check lines",
                    "/kit")
    if lens < GOOD_LENS:
        return Next(f"Photograph the card alone: {GOOD_LENS - lens} more for the lens",
                    "tilted, from all sides, once in every corner of the picture", "/lens")
    if not states:
        return Next("Photograph a corner hanging: the droop state",
                    "four or five photos from clearly different places", "/photos/front-left/droop")
    if work.jobs.state.running or not work.answer.number:
        return Next("Wait a moment: the angles are being worked out", "or go on with photos and readings",
                    "/angles")
    return _after_measuring(work, car, states)


def _about(finding, work, answer):
    """What a finding says to do, and the page where it is done: its photo, its state, the readings, or the
    findings."""
    photos = {f"{s.corner}/{s.state}/{p.name}" for s in answer.measurement.states for p in s.paths.values()}
    states = {f"{c}/{s}" for c, s, _, _ in state_folders(work.root)}
    page = (f"/photo/{quote(finding.where)}" if finding.where in photos else f"/photos/{finding.where}"
            if finding.where in states else "/tape" if finding.where.startswith("car.toml") else "/angles")
    words = finding.do or finding.what
    return Next(words[:1].upper() + words[1:], f"{finding.where}: {finding.what}", page)


def _after_measuring(work, car, states):
    answer = work.answer
    findings = answer.measurement.report.findings if answer.measurement else []
    stop = next((f for f in findings if f.level == UNUSABLE), None)
    if stop is not None:
        return _about(stop, work, answer)
    corners = sorted({c for c, _ in states})
    for state, why in (
        ("ride", "on its wheels: without it angles are against gravity alone, with the car's pitch in them"),
        ("set", "both knuckles jacked to ride height: everything where it is driven")):
        lacking = next((c for c in corners
                        if c.endswith("left") and not any(s.startswith(state) for k, s in states if k == c)),
                       None)
        if lacking:
            return Next(f"Photograph {lacking} in the state \"{state}\"", why, f"/photos/{lacking}/{state}")
    look = next((f for f in findings if f.level == ATTENTION and f.do), None)
    for a in answer.answers:
        if getattr(a.advice, "verdict", None) == CHANGE and not isinstance(a.advice, Refusal):
            return Next(f"{a.corner}: change the link", a.advice.sentence, "/link")
    worth = next((s for s in answer.steps if s.photo is not None and s.photo.worth), None)
    if look is not None:
        return _about(look, work, answer)
    if worth is not None:
        return Next(f"{worth.where}: {worth.words}", worth.gain, "/photos/" + worth.where)
    fitted = sorted(c for c, s in states if s.startswith("fitted"))
    if fitted:
        return Next("Compare before with after", "and print the report", "/compare")
    return Next("Look at the link", "its length, its clearances over the travel", "/link")
