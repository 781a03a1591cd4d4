"""One state against another: each figure's change, its plus-or-minus, and whether it is real.

The change's uncertainty is that of the difference of two estimates: sources that both states share cancel as
far as their effects are alike, so that the lens, the print, the floor and a marker's sticking largely do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from photoangle.comparison.alike import one_chassis, one_part
from photoangle.core.agreement import e_n
from photoangle.core.figure import Figure, figure_of
from photoangle.core.findings import Finding
from photoangle.figures.measure import label
from photoangle.geometry.marker_stability import (
    RIGID,
    body_of,
    compare_places,
    handled,
    place_findings,
    untouched,
)

REAL, NONE, OPEN = "real change", "no change seen", "can't tell"
# A plus-or-minus wider than this hides changes that matter; below it "no change seen" is worth saying.
MATTERS = {"deg": 1.0, "mm": 3.0}
DOUBTFUL = "a marker it rests on was seen at a doubtful tilt: take one more photo from another side"
# What a reader looks for first.
_LEADERS = {"change:bar_arm_angle": "bar arm's angle", "change:bar_arm_elevation": "bar arm's slope",
            "change:link_length": "link's length", "change:hub_to_arch": "height from hub to arch"}
_CHANCE = 0.05
# A figure hangs on a coordinate where a millimetre of it moves the figure by more than this.
_HANGS = 1e-6


@dataclass(frozen=True)
class Side:
    """One side of a comparison.

    result: StateResult, with its figures measured; name: in words.
    """

    result: Any
    name: str


@dataclass(frozen=True)
class Comparison:
    """before, after: Side; changes: list of Change; places: `marker_stability.Places` or None; findings;
    cancels: in words, the errors that both share."""

    before: Side
    after: Side
    changes: list[Change]
    places: object
    findings: list[Finding]
    cancels: tuple[str, ...] = ()


@dataclass(frozen=True)
class Change:
    """figure: the change as a Figure named ``change:NAME``; before and after: values; apart_u: the standard
    uncertainty had nothing been shared; verdict: REAL, NONE or OPEN; why: in words where it is open."""

    figure: Figure
    before: float
    after: float
    apart_u: float
    verdict: str
    why: str = ""


def compare_sides(before, after, kit, same_print=False, restuck=()):
    """All that can be said of two sides.

    Parameters: before, after: Side; kit, or None where theirs differ; same_print: the card and markers are
    the same printed sheets although the car folders differ; restuck: role keys whose markers the user says
    were touched.
    Returns Comparison.
    """
    a, b = before.result, after.result
    same_car = a.scene.origin.car == b.scene.origin.car
    where = f"{before.name} to {after.name}"
    places, findings, kept, ways = None, [], set(), [(a, b)]
    if a.corner == b.corner and kit is not None:
        places = compare_places(a, b, kit)
        told = {i for i in (*places.kept, *places.unsure, *places.moved) if kit.slot(i).role.key in restuck}
        kept = {*places.kept} - told
        if same_car:
            kept = untouched(places, a, b, kit, told)
            ways += _carried_over(a, b, kit, places.tie, kept)
        used = set(a.points.marker.values()) & set(b.points.marker.values())
        anew = used & {*handled((*places.unsure, *places.moved), a.state, b.state, kit)} - kept
        alone = (kept - {*places.kept}) & (used | {*places.moved})
        parts = {body_of(i, kit, b.notes) for i in kept} & {*RIGID}
        carried = {i for i in anew if body_of(i, kit, b.notes) in parts}
        findings = place_findings(places, kit, where, alone, anew, carried)
    changes, cancels = compare_states(ways, _shared_keys(before, after, kept, same_print))
    return Comparison(before, after, changes, places, findings, cancels)


def _carried_over(a, b, kit, tie, kept):
    """The two states with what they have in common carried from one to the other, in each way that can be
    had."""
    part = one_part(a, b, kit, kept)
    ways = [part] if part is not None else []
    return ways + [w for w in (one_chassis(*pair, tie) for pair in ((a, b), *ways)) if w is not None]


def _shared_keys(before, after, kept, same_print):
    """Source -> Source, whose keys say what both sides share.

    kept: ids of markers that kept their place between the two states; same_print: the sheets are the same.
    """
    corners = {side.result.scene.origin.corner for side in (before, after)}

    def same(key):
        if not isinstance(key, tuple):
            return key
        if key[:1] == ("place",) and key[1] in corners and key[3] in kept:
            # one marker on one spot, whichever state it was seen in
            return "kept place", key[3]
        if same_print and key[:1] in (("paper",), ("scale",)):
            return key[0], key[1][1], *key[2:]
        return tuple(same(part) for part in key)

    return lambda source: replace(source, key=same(source.key))


def compare_states(ways, shared):
    """Changes of all figures that both sides have, AFTER less BEFORE.

    Parameters: ways: (before, after) StateResults with their figures measured, the first as they are, the
    others with something carried over; of each figure that way counts that knows its change best (which that
    is hangs on no measured value), unless it contradicts the first; shared: Source -> Source by which both
    sides' errors are named.
    Returns (list of Change in the figures' order, titles of the errors that both share).
    """
    before, after = ways[0]
    keys = {r.key for r in before.measured.rows}
    rows = [m for m in after.measured.rows if m.key in keys]
    doubt = _doubtful(before) | _doubtful(after)
    common, judged = set(), []
    for row in rows:
        found = [_Pair.of(way, row, shared) for way in ways
                 if all(row.key in {r.key for r in side.measured.rows} for side in way)]
        best = min(found, key=lambda p: p.change.u)
        if abs(e_n(best.change.value - found[0].change.value,
                   math.hypot(best.change.u, found[0].change.u))) > 1:
            best = found[0]
        common |= best.common
        judged.append((best.change, best.before, best.after, best.apart_u, row.key in doubt))
    return _judge(judged), tuple(sorted(common))


@dataclass(frozen=True)
class _Pair:
    """One figure on both sides: its change as a Figure, its values, the change's u had nothing been shared,
    and the titles of what both share."""

    change: Figure
    before: float
    after: float
    apart_u: float
    common: frozenset

    @classmethod
    def of(cls, way, row, shared):
        name = label(row.key)
        first, second = (side.measured.estimate.pick((name,)).rekeyed(shared) for side in way)
        figure = figure_of(second.minus(first), name, way[1].corner, way[1].state, row)
        common = frozenset(s.title for s in first.effects if s in second.effects
                           and np.abs(first.effects[s]).max() > 0 and np.abs(second.effects[s]).max() > 0)
        return cls(replace(figure, name=f"change:{row.name}"), float(first.values[0]),
                   float(second.values[0]), math.hypot(first.u(name), second.u(name)), common)


def _doubtful(result):
    """Keys of a state's figures that hang on a marker whose tilt is in doubt."""
    points, measured = result.points, result.measured
    loose = [k for k, name in enumerate(points.names) if points.marker[name] in result.scene.ambiguous]
    return {m.key for m, slope in zip(measured.rows, measured.slopes, strict=True)
            if any(np.abs(slope[3 * k:3 * k + 3]).max() > _HANGS for k in loose)}


def _judge(rows):
    """Verdicts.  Among many figures one leaves its 95 % interval by chance: a change is called real by Holm's
    rule (1979), which keeps the chance of any false call among all figures together at 5 in 100."""
    from scipy.special import stdtr

    chance = [1.0 if doubt else 2 * stdtr(f.dof, -abs(f.value) / f.u) if f.u > 0 else float(f.value == 0)
              for f, *_, doubt in rows]
    order = np.argsort(chance, kind="stable")
    real, standing = set(), True
    for rank, k in enumerate(order):
        standing = standing and chance[k] < _CHANCE / (len(rows) - rank)
        if standing:
            real.add(int(k))
    out = []
    for k, (figure, before, after, apart, doubt) in enumerate(rows):
        half = (figure.high95 - figure.low95) / 2
        why = ""
        if doubt:
            verdict, why = OPEN, DOUBTFUL
        elif k in real:
            verdict = REAL
        elif abs(figure.value) > half:
            verdict, why = OPEN, "more than its plus-or-minus, yet chance alone does this once in twenty"
        elif half > MATTERS.get(figure.unit, np.inf):
            verdict, why = (
                OPEN,
                f"a change of {MATTERS[figure.unit]:g} {figure.unit} could hide in its plus-or-minus",
            )
        else:
            verdict = NONE
        out.append(Change(figure, before, after, apart, verdict, why))
    return out


def overall(comparison, units="mm"):
    """A sentence or two on all changes together; units: "mm" or "in"."""
    changes = comparison.changes
    if not changes:
        return "Nothing can be compared: the two have no figure in common."
    count = {v: sum(c.verdict == v for c in changes) for v in (REAL, NONE, OPEN)}
    alike = comparison.before.result.corner == comparison.after.result.corner
    if count[REAL]:
        return (
            f"{'Something changed' if alike else 'The two corners differ'}: {count[REAL]} of {len(changes)}"
            f" figures, for real.{_first_of_all(changes, units)}"
        )
    if count[NONE] >= count[OPEN]:
        return f"No change seen in {count[NONE]} of {len(changes)} figures; none changed for real."
    return (f"Can't tell: {count[OPEN]} of {len(changes)} figures are too uncertain for a verdict;"
            " take more photos.")


def _first_of_all(changes, units):
    """The change that a reader looks for first, in words, or nothing."""
    found = [c.figure for name in _LEADERS for c in sorted(changes, key=lambda c: c.figure.datum != "chassis")
             if c.figure.name == name and c.verdict == REAL]
    if not found:
        return ""
    f = found[0]
    inches = f.unit == "mm" and units == "in"
    value, half = (v / (25.4 if inches else 1) for v in (f.value, (f.high95 - f.low95) / 2))
    digits = 3 if inches else 1
    return (f" The {_LEADERS[f.name]}: {value:+.{digits}f} +- {half:.{digits}f} {'in' if inches else f.unit}"
            f"{' against the chassis' if f.datum == 'chassis' else ''}.")
