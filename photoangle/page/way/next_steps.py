"""What to do next, in the order in which the car is worked on: hanging, jacked to ride height, what a rule
and a tape say while the wheels are off, on its wheels, the link, with the new link, the proof.

What is said here can be done on the page it leads to: advice for the terminal alone is left to the lists.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import quote

from photoangle.advice.next_reading import next_reading
from photoangle.carfile.folder import state_folders
from photoangle.carfile.kinds import Key, Use
from photoangle.carfile.reader import key_at, names_below
from photoangle.core.findings import ATTENTION, UNUSABLE, Refusal
from photoangle.core.roles import JOINTS, ROLE_BY_KEY
from photoangle.core.states import (
    AXLES,
    CORNERS,
    DROOP,
    FITTED,
    RIDE,
    SET,
    at_ride_height,
    has_new_link,
    is_set,
)
from photoangle.linkage.advice import CANNOT_TELL, CHANGE, LEAVE
from photoangle.output.summary.linked import headline, set_to
from photoangle.output.summary.to_do import gain_words
from photoangle.output.table import figure_title, gathered, graver_first
from photoangle.output.wording import worded

GOOD_LENS = 8
# Options and commands of the terminal: advice that is of no use on the page.
_FOR_TERMINAL = re.compile(r"(?<!\S)--?[a-z]|photoangle [a-z]+")
_KEY = re.compile(r"\b([a-z][a-z_]+) = ")


@dataclass(frozen=True)
class Next:
    """What to do: words, why, and the page where it is done."""

    words: str
    why: str
    page: str


def what_next(work) -> Next:
    """The one thing to do next, for a `work.Work`."""
    return next(things_to_do(work), Next("Look at the angles", "nothing more to do is known", "/angles"))


def after_that(work, most: int = 4) -> list[Next]:
    """What comes after it, in order."""
    return list(things_to_do(work))[1:most + 1]


def things_to_do(work) -> Iterator[Next]:
    """All there is to do as things are, the first first."""
    car, trouble = work.car()
    if trouble is not None:
        yield Next(f"{trouble.where}: {trouble.what}",
                   f"{trouble.do}: in the file car.toml itself; it is read again by itself", "/tape")
        return
    states = {(c, s) for c, s, _, _ in state_folders(work.root)}
    if not states and not work.photos("lens"):
        yield Next("Print the card and the markers", "at 100 %, then lay a rule on the two check lines",
                   "/kit")
    corners = [c for c in CORNERS if any(k == c for k, _ in states)]
    answer, known = work.answer, work.fresh()
    if known:
        yield from _wrong(answer, UNUSABLE, work)
    # hanging and jacked up at all corners, while the wheels are off
    yield from _photos(corners or [CORNERS[0]], states)
    running = work.jobs.state.running or work.jobs.due
    if states and not known:
        if running:
            yield Next("Wait a moment: the angles are being worked out", "or go on with photos and readings",
                       "/angles")
        else:
            yield Next("Have the angles worked out", f"{work.jobs.state.words or 'not begun yet'}:"
                       " press \"Work it out\" above", "/angles")
    yield from _rule_and_tape(corners, states, car, answer if known else None)
    yield from _on_its_wheels(corners, states, car)
    if known:
        yield from _measured(work, answer, car)
    yield from _lens(work)
    if known:
        yield from _link(answer, car.units)


def _photos(corners, states):
    for corner in corners:
        there = {s for c, s in states if c == corner}
        if not there - {RIDE}:
            yield Next(f"Photograph {corner} hanging: the state \"{DROOP}\"",
                       "on stands, wheels off; four or five photos from clearly different places",
                       f"/photos/{corner}/{DROOP}")
    for corner in corners:
        there = {s for c, s in states if c == corner}
        if there - {RIDE} and not any(map(at_ride_height, there)):
            yield Next(f"Photograph {corner} jacked to ride height: the state \"{SET}\"",
                       "the wheels stay off: both knuckles of the axle jacked until hub to arch reads what it"
                       " does on the wheels", f"/photos/{corner}/{SET}")


def _rule_and_tape(corners, states, car, answer):
    """Stand-offs of the joints that were seen, while the hand can reach them; hub to arch."""
    for corner in corners:
        notes = car.corner(corner)
        if answer is not None and answer.measurement is not None:
            seen = {answer.measurement.kit.slot(i).role.key for s in answer.measurement.states
                    if s.corner == corner for i in s.scene.markers}
            lacking = [ROLE_BY_KEY[j].title for j in JOINTS
                       if j in seen and j not in notes.standoff and j not in notes.offset_mm]
            if lacking:
                yield Next(f"{corner}: measure the stand-off of {_listed(lacking)}",
                           "from each marker's printed face straight back to its joint's middle: without it"
                           " anything from 0 to 60 mm is allowed for", f"/tape/{corner}#standoff")
        untaped = [s for s in sorted(s for c, s in states if c == corner) if (s == DROOP or is_set(s))
                   and "hub_to_arch" not in notes.tape.get(s, {})]
        if untaped:
            yield Next(f"{corner}: tape hub to arch in {_listed(untaped)}",
                       "wheel's middle straight up to the arch lip", f"/tape/{corner}")


def _on_its_wheels(corners, states, car):
    """On its wheels: each corner once, whichever way it is known."""
    for corner in corners:
        if (corner, RIDE) not in states and RIDE not in car.corner(corner).tape:
            yield Next(f"{corner}: photograph it on its wheels, the state \"{RIDE}\", or tape hub to arch"
                       " there",
                       "when the car is down, settled: sill, arch lip and hub in view. Without it angles are"
                       " against gravity alone, with the car's pitch in them", f"/photos/{corner}/{RIDE}")


def _measured(work, answer, car):
    """Contradictions, what wants a look, and what settles a verdict that cannot be told."""
    measurement, units = answer.measurement, car.units
    for a in answer.answers:
        for finding in (a.contradiction, None if a.check is None or a.check.agrees else a.check.finding):
            if finding is not None:
                yield Next(f"{a.corner}: two ways contradict each other", worded(finding.what, units),
                           f"/angles/{a.corner}")
    report = None if measurement is None else measurement.report
    explained = {f.where for f in report.findings if f.level == ATTENTION} if report else set()
    for c in report.comparisons if report else []:
        # a finding that says which slip would explain it says more
        if not c.agrees and f"car.toml, {c.tape.corner}.tape.{c.tape.state}" not in explained:
            yield Next(f"{c.tape.corner}, {c.tape.state}: tape and photos contradict each other,"
                       f" {figure_title(c.photo.name)}", "read it once more, and write what you read",
                       f"/tape/{c.tape.corner}")
    yield from _wrong(answer, ATTENTION, work)
    for a in answer.answers:
        if isinstance(a.advice, Refusal) or getattr(a.advice, "verdict", None) != CANNOT_TELL:
            continue
        reading = next_reading(a)
        if reading is not None and _doable(reading.words):
            yield Next(f"{a.corner}: {_where_written(reading.words)}", gain_words(reading),
                       f"/tape/{a.corner}")
    for step in answer.steps:
        if step.photo is not None and step.photo.worth:
            yield Next(f"{step.where}: {step.words}", step.gain, "/photos/" + step.where)


def _lens(work):
    count = len(work.photos("lens"))
    if count < GOOD_LENS and not work.profiles():
        yield Next(f"When there is time: {GOOD_LENS - count} photos of the card alone, for the lens",
                   "tilted, from all sides, once in every corner of the picture: figures get sharper",
                   "/lens")


def _link(answer, units):
    """The link itself, then the state with the new one, then the proof."""
    for a in answer.answers:
        verdict = getattr(a.advice, "verdict", None)
        if isinstance(a.advice, Refusal) or verdict is None:
            continue
        if verdict == CHANGE and "link_length" in a.advice.figures:
            yield Next(f"{a.corner}: {set_to(a, units)}", "the link screen shows what it does",
                       f"/link/{a.corner}")
            yield Next(f"{a.corner}: with the new link in, photograph it as \"{FITTED}\"",
                       "jacked to ride height as before", f"/photos/{a.corner}/{FITTED}")
        elif verdict == LEAVE and has_new_link(a.base.state):
            yield Next(f"{a.corner}: compare before with after", headline(a, units), "/compare")
        elif verdict == LEAVE:
            yield Next(f"{a.corner}: leave the link as it is", headline(a, units), f"/link/{a.corner}")
        else:
            yield Next(f"{a.corner}: no verdict yet", headline(a, units), f"/link/{a.corner}")


def _wrong(answer, level, work):
    """Findings of a level whose remedy can be had on the page, each with the page where it is done."""
    findings = answer.measurement.report.findings if answer.measurement else []
    for finding in graver_first(gathered(findings)):
        if finding.level == level and finding.do and _doable(finding.do):
            yield _about(finding, work, answer)


def _about(finding, work, answer):
    photos = {f"{s.corner}/{s.state}/{p.name}" for s in answer.measurement.states for p in s.paths.values()}
    states = {f"{c}/{s}" for c, s, _, _ in state_folders(work.root)}
    corner = next((c for c in CORNERS if c in finding.where), "")
    page = (f"/photo/{quote(finding.where)}" if finding.where in photos else f"/photos/{finding.where}"
            if finding.where in states else f"/tape/{corner}".rstrip("/")
            if finding.where.startswith("car.toml") else f"/angles/{corner}".rstrip("/"))
    units = work.car()[0].units
    words = _where_written(worded(finding.do, units))
    if finding.where.startswith("car.toml, "):
        # which reading of which state, as its title has it
        parts = [p for p in finding.where.removeprefix("car.toml, ").split(".") if p != "tape"]
        reading = _KEY.match(finding.what)
        parts += [figure_title(reading[1])] if reading else []
        words = f"{', '.join(parts)}: {words}"
    return Next(words[:1].upper() + words[1:], f"{finding.where}: {worded(finding.what, units)}", page)


def _doable(words):
    return not _FOR_TERMINAL.search(words)


def _where_written(words):
    """Advice to write a key that the page has no field for says where it is written."""
    keys = [k for k in _KEY.findall(words) if not _on_page(k)]
    return f"{words} (in the file car.toml)" if keys else words


def _on_page(name):
    """Whether the page has a field for a key of this name."""
    def below(path):
        for key, kind in (names_below(key_at(path)) or {}).items():
            if key == name and isinstance(kind, Key):
                yield Use.PAGE in kind.use
            if names_below(kind) and len(path) < 2:
                yield from below((*path, key))

    sections = (*CORNERS[:1], *AXLES[:1], "car", "level", "print")
    return any(on for section in sections for on in below((section,)))


def _listed(names):
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
