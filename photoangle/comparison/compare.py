"""One state against another: each figure's change, its plus-or-minus, and whether it is real.

The change's uncertainty is that of the difference: roots that both states share (`photoangle.roots`) count with the
difference of their effects, so that the lens, the print, the floor and a marker's sticking largely cancel.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from photoangle.comparison.roots import Roots, Shared, state_forms
from photoangle.core.figure import Figure, coverage_factor
from photoangle.figures.measurands import figure_slopes
from photoangle.geometry.marker_stability import compare_places, handled, place_findings

REAL, NONE, OPEN = "real change", "no change seen", "can't tell"
# A plus-or-minus wider than this hides changes that matter; below it "no change seen" is worth saying.
MATTERS = {"deg": 1.0, "mm": 3.0}
DOUBTFUL = "a marker it rests on was seen at a doubtful tilt: take one more photo from another side"
# What a reader looks for first.
_LEADERS = {"change:bar_arm_angle": "bar arm's angle", "change:bar_arm_elevation": "bar arm's slope",
            "change:link_length": "link's length", "change:hub_to_arch": "height from hub to arch"}
_CHANCE = 0.05
_MOST_DOF = 10_000.0


@dataclass(frozen=True)
class Side:
    """One side of a comparison.

    result: StateResult; name: in words; car: a name for the car folder it came from; print_check: what is known of
    the sheet's scale; rides: corner -> StateResult of the ride state that chassis axes were carried from.
    """

    result: object
    name: str
    car: str
    print_check: object
    rides: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Comparison:
    """before, after: Side; changes: list of Change; places: `places.Places` or None; findings; cancels: in words, the
    errors that both share."""

    before: Side
    after: Side
    changes: list
    places: object
    findings: list
    cancels: tuple = ()


@dataclass(frozen=True)
class Change:
    """figure: the change as a Figure named ``change:NAME``; before and after: values; apart_u: the standard uncertainty
    had nothing been shared; verdict: REAL, NONE or OPEN; why: in words where it is open."""

    figure: Figure
    before: float
    after: float
    apart_u: float
    verdict: str
    why: str = ""


def compare_sides(before, after, kit, same_print=False, restuck=()):
    """All that can be said of two sides.

    Parameters: before, after: Side; kit, or None where theirs differ; same_print: the card and markers are the same printed
    sheets although the car folders differ; restuck: role keys whose markers the user says were touched.
    Returns Comparison.
    """
    a, b = before.result, after.result
    same_car = before.car == after.car
    where = f"{before.name} to {after.name}"
    places, findings, kept = None, [], set()
    if a.corner == b.corner and kit is not None:
        places = compare_places(a, b, kit)
        told = {i for i in (*places.kept, *places.unsure) if kit.slot(i).role.key in restuck}
        trusted = set(places.unsure) - set(handled(places.unsure, a.state, b.state, kit)) if same_car else set()
        kept = (set(places.kept) | trusted) - told
        used = set(a.points.marker.values()) & set(b.points.marker.values())
        findings = place_findings(places, kit, where, used & trusted - told)
    names = {i: f"{before.car} {a.corner} {i}" for i in kept}
    changes, cancels = compare_states(before, after, [_namer(side, names, same_print) for side in (before, after)])
    return Comparison(before, after, changes, places, findings, cancels)


def _namer(side, places, same_print):
    """StateResult -> Shared for the states of one side."""
    def shared(result):
        corner = f"{side.car} {result.corner}"
        # markers of another corner bear the same numbers
        state = result.state or id(result)  # loose photos have no name
        return Shared(f"{corner} {state}", corner, side.car, f"{'' if same_print else side.car} {side.print_check}",
                      places if result.corner == side.result.corner else {})

    return shared


def compare_states(before, after, namers):
    """Changes of all figures that both sides have, AFTER less BEFORE.

    Parameters: before, after: Side; namers: for each, StateResult -> Shared.
    Returns (list of Change in the figures' order, titles of the errors that both share).
    """
    roots = Roots()
    sides, doubt = [], set()
    for side, shared_of in zip((before, after), namers):
        r = side.result
        forms = state_forms(r, shared_of, side.rides, roots)
        rows = figure_slopes(r.points, r.up, r.axes, r.lateral, r.notes.radius_mm, r.bar_axis)
        sides.append({(name, datum): (unit, value, {key: slope @ effect for key, effect in forms.items()})
                      for name, datum, unit, value, slope in rows})
        loose = [k for k, name in enumerate(r.points.names) if r.points.marker[name] in r.scene.loose]
        doubt |= {row[:2] for row in rows if any(np.abs(row[4][3 * k:3 * k + 3]).max() > 1e-6 for k in loose)}
    corner, state = after.result.corner, after.result.state
    figures, common = [], set()
    for key, (unit, value, gradient) in sides[1].items():
        if key not in sides[0]:
            continue
        _, first, earlier = sides[0][key]
        change = dict(gradient)
        common |= {roots.title[k] for k in set(gradient) & set(earlier)
                   if np.abs(gradient[k]).max() > 0 and np.abs(earlier[k]).max() > 0}
        for root, g in earlier.items():
            change[root] = change[root] - g if root in change else -g
        apart = sum(roots.variances(gradient).values()) + sum(roots.variances(earlier).values())
        figures.append((_figure(corner, state, key, unit, value - first, roots, change), first, value,
                        float(np.sqrt(apart)), key in doubt))
    return _judge(figures), tuple(sorted(common))


def _figure(corner, state, key, unit, value, roots, gradient):
    parts = roots.variances(gradient)
    variance = sum(parts.values())
    u = float(np.sqrt(variance))
    # Welch and Satterthwaite (JCGM 100, G.4): only what comes from pixels has few degrees of freedom
    few = sum(v * v / roots.dof[k] for k, v in parts.items() if k in roots.dof)
    dof = min(_MOST_DOF, variance**2 / few) if few > 0 else _MOST_DOF
    shares = {}
    for k, v in parts.items():
        shares[roots.title[k]] = shares.get(roots.title[k], 0.0) + v
    budget = {s: v / variance for s, v in sorted(shares.items(), key=lambda p: -p[1]) if v > 0.001 * variance}
    half = coverage_factor(dof) * u
    return Figure(corner, state, f"change:{key[0]}", key[1], unit, value, u, float(round(dof, 1)), value - half, value + half,
                  budget)


def _judge(rows):
    """Verdicts.  Among many figures one leaves its 95 % interval by chance: a change is called real by Holm's rule
    (1979), which keeps the chance of any false call among all figures together at 5 in 100."""
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
            verdict, why = OPEN, f"a change of {MATTERS[figure.unit]:g} {figure.unit} could hide in its plus-or-minus"
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
        return (f"{'Something changed' if alike else 'The two corners differ'}: {count[REAL]} of {len(changes)} figures, for"
                f" real.{_first_of_all(changes, units)}")
    if count[NONE] >= count[OPEN]:
        return f"No change seen in {count[NONE]} of {len(changes)} figures; none changed for real."
    return f"Can't tell: {count[OPEN]} of {len(changes)} figures are too uncertain for a verdict; take more photos."


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
