"""Slips with markers: roles exchanged, left for right, a joint that is not where its stand-off says.

What is taken as evidence: what no car can be (an arch lip below its hub, a control arm that points inwards),
tape readings, and parts that do not change their length from state to state.  An explanation is offered only
where it makes everything agree and no other does as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.roles import (
    ARCH_LIP,
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    HUB,
    LINK_FOOT,
    PIVOTS,
    PLUMB_BOTTOM,
    PLUMB_TOP,
    SILL_FRONT,
    SILL_REAR,
)
from photoangle.core.states import has_new_link
from photoangle.geometry.joints import marker_offset

_LENGTHS = {"bar_arm_length": (BAR_BUSH, BAR_EYE), "link_length": (LINK_FOOT, BAR_EYE),
            "control_arm_length": ("pivot", ARM_BALL_JOINT)}
# What cars have, mm (common practice, no source): wide, to catch mix-ups only.
_SENSIBLE = {
    "bar_arm_length": (60, 600), "link_length": (40, 600), "control_arm_length": (120, 900),
    "hub_to_arch": (100, 900)
}
_SWAPPABLE = (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_BALL_JOINT, ARM_PIVOT_FRONT, ARM_PIVOT_REAR, HUB, ARCH_LIP,
              SILL_FRONT, SILL_REAR, PLUMB_TOP, PLUMB_BOTTOM)
_IMPOSSIBLE, _MOST = 30.0, 25.0
_DROP, _CLEAR = 30.0, 10.0
# One reading alone accuses two markers if they lie so far from where it says, mm: more than a slip of the
# tape.
_DROP_OF_ONE, _FAR_MM = 20.0, 60.0
_JOINTS = (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_BALL_JOINT)


@dataclass(frozen=True)
class _Seen:
    """One state for the checks: places by name, u of a length in it, the lengths taped; by name of what a
    marker is called: where its joint lies without a stand-off, its normal, and the stand-off that its words
    ask for."""

    state: str
    at: dict
    u_mm: float
    taped: dict
    bare: dict
    normal: dict
    standoff: dict

    def exchanged(self, a, b):
        """Places with two markers taken for each other: each gets the other's words and stand-off."""
        out = dict(self.at)
        for here, there in ((a, b), (b, a)):
            if there in self.at:
                out[here] = self.bare[there] + self.standoff.get(here, 0.0) * self.normal[there]
            else:
                out.pop(here, None)
        return out


def marker_findings(states, side, kit):
    """Findings about markers of one corner.

    states: StateResults of the corner; side: "left" or "right"; kit.
    """
    seen = [_seen(s, kit) for s in states if s.points is not None and len(s.points.names)]
    if not seen:
        return []
    where = states[0].corner or "photos"
    found = _mixed_sides(seen, side, where)
    return [found] if found is not None else _off_the_joint(seen, where)


def exchanged_roles(states, side, kit):
    """The pair of roles whose markers were taken for each other, and a Finding.

    (None, None) where that is not clear.  Parameters as for `marker_findings`.
    """
    seen = [_seen(s, kit) for s in states if s.points is not None and len(s.points.names)]
    pair = _swap(seen, side) if seen else None
    if pair is None:
        return None, None
    a, b = (n.replace("_", " ") for n in pair)
    return pair, Finding(
        ATTENTION, states[0].corner or "photos",
        f"the markers of {a} and {b} seem to be exchanged: taken the other way round, everything agrees;"
        " until that is settled nothing is measured through them",
        "look at the two and put each where its words say, or rename them in a kit file")


def _seen(result, kit):
    points, notes = result.points, result.notes
    # a tapped dot is on its joint, and is no marker that could be exchanged
    names = [n for n in points.names if points.marker[n] is not None]
    at = {n: points[n] for n in names}
    normal = {n: result.scene.markers[points.marker[n]].rotation[:, 2] for n in names}
    standoff = {n: marker_offset(kit, points.marker[n], n, notes).offset_mm[2] for n in names}
    bare = {n: at[n] - standoff[n] * normal[n] for n in names}
    u = float(np.sqrt(np.median(np.diag(points.estimate.covariance()))) * np.sqrt(2))
    taped = {k: r for k, r in notes.tape.get(result.state, {}).items() if k in _LENGTHS or k == "hub_to_arch"}
    return _Seen(result.state, at, u, taped, bare, normal, notes.standoff_mm | standoff)


def _measures(at, side):
    """(lengths by name, reasons why this cannot be a car) of places by name."""
    at = dict(at)
    pivots = [at[n] for n in PIVOTS if n in at]
    if pivots:
        at["pivot"] = np.mean(pivots, axis=0)
    out = {
        name: float(np.linalg.norm(at[a] - at[b]))
        for name, (a, b) in _LENGTHS.items() if a in at and b in at
    }
    wrong = []
    if {PLUMB_TOP, PLUMB_BOTTOM} <= set(at):
        up = at[PLUMB_TOP] - at[PLUMB_BOTTOM]
        up = up / np.linalg.norm(up)
        if {HUB, ARCH_LIP} <= set(at):
            out["hub_to_arch"] = float((at[ARCH_LIP] - at[HUB]) @ up)
        if {SILL_FRONT, SILL_REAR} <= set(at):
            wrong += _directions(at, up, side)
    wrong += [name for name, value in out.items() if not _SENSIBLE[name][0] <= value <= _SENSIBLE[name][1]]
    return out, wrong


def _directions(at, up, side):
    ahead = at[SILL_FRONT] - at[SILL_REAR]
    ahead = ahead - up * (ahead @ up)
    if np.linalg.norm(ahead) < 50:
        return ["sills stand over each other"]
    ahead /= np.linalg.norm(ahead)
    left = np.cross(up, ahead)
    wrong = []
    if "pivot" in at and ARM_BALL_JOINT in at:
        outward = (at[ARM_BALL_JOINT] - at["pivot"]) @ left * (1 if side == "left" else -1)
        if outward < -60:
            wrong.append("control arm points inwards")
    if set(PIVOTS) <= set(at) and (at[ARM_PIVOT_FRONT] - at[ARM_PIVOT_REAR]) @ ahead < -60:
        wrong.append("front pivot behind the rear one")
    if {SILL_FRONT, HUB} <= set(at) and (at[SILL_FRONT] - at[HUB]) @ ahead > 150:
        wrong.append("sill ahead of the hub")
    if {HUB, ARM_PIVOT_FRONT
        } <= set(at) and (at[HUB] - at[ARM_PIVOT_FRONT]) @ left * (1 if side == "left" else -1) < -60:
        wrong.append("hub inside the pivots")
    return wrong


def _score(seen, side, swap=()):
    """How badly everything disagrees, with two roles exchanged in all states: a sum of capped squares."""
    total, lengths = 0.0, {}
    for s in seen:
        at = s.exchanged(*swap) if swap else s.at
        measured, wrong = _measures(at, side)
        total += _IMPOSSIBLE * len(wrong)
        for name, reading in s.taped.items():
            if name in measured:
                total += _square(measured[name] - reading.value_mm, np.hypot(s.u_mm, reading.u_mm))
        for name in _LENGTHS:
            if name in measured and not (name == "link_length" and has_new_link(s.state)):
                lengths.setdefault(name, []).append((measured[name], s.u_mm))
    for values in lengths.values():
        middle = np.median([v for v, _ in values])
        total += sum(_square(v - middle, u) for v, u in values)
    return total


def _square(difference, u):
    return min((difference / (2 * u)) ** 2, _MOST)


def _swap(seen, side):
    now = _score(seen, side)
    drop = _DROP_OF_ONE if _farthest_mm(seen) > _FAR_MM else _DROP
    if now < drop:
        return None
    names = [n for n in _SWAPPABLE if any(n in s.at for s in seen)]
    trials = sorted((_score(seen, side, pair), pair) for pair in combinations(names, 2))
    if not trials:
        return None
    best, pair = trials[0]
    if now - best < drop or best > now / 4 or (len(trials) > 1 and trials[1][0] - best < _CLEAR):
        return None
    return pair


def _farthest_mm(seen):
    """By how much a length that was taped differs from its markers at most."""
    off = (abs(measured - s.taped[n].value_mm) for s in seen
           for n, measured in _measures(s.at, "left")[0].items() if n in s.taped)
    return max(off, default=0.0)


def _mixed_sides(seen, side, where):
    other = "right" if side == "left" else "left"
    telling = [s for s in seen if "control arm points inwards" in _measures(s.at, side)[1]]
    if telling and all(not _measures(s.at, other)[1] for s in seen):
        return Finding(
            ATTENTION,
            where,
            f"these look like photos of the {other} side: the control arm points inwards",
            f"put them into {where.replace(side, other)}, or look at the two sill markers: front and rear"
            f" exchanged?",
        )
    return None


def _off_the_joint(seen, where):
    """A joint whose stand-off contradicts two or more tape readings, over all states together."""
    rows = []
    for s in seen:
        measured, _ = _measures(s.at, "left")
        rows += [(s, n, s.taped[n].value_mm - measured[n], float(np.hypot(s.u_mm, s.taped[n].u_mm)), measured)
                 for n in s.taped if n in measured and n in _LENGTHS]
    residual, u = (np.array([r[k] for r in rows]) for k in (2, 3))
    if len(rows) < 2 or ((residual / (2 * u)) ** 2 > 1).sum() < 2:
        return []
    trials = []
    for joint in _JOINTS:
        slope = np.array([_measures(s.at | {joint: s.at[joint] + s.normal[joint]}, "left")[0][n] - measured[n]
                          if joint in s.at else 0.0 for s, n, _, _, measured in rows])
        if (slope != 0).sum() < 2:
            continue
        # a few rounds: lengths are not quite linear in a shift of many millimetres
        shift = 0.0
        for _ in range(6):
            left = np.array([
                s.taped[n].value_mm -
                _measures(s.at | {joint: s.at[joint] + shift * s.normal[joint]}, "left")[0][n]
                if joint in s.at else r for s, n, r, _, _ in rows
            ])
            shift += float(np.clip((slope / u**2 @ left) / (slope / u**2 @ slope), -40, 40))
        trials.append(
            (
                float(((left / (2 * u)) ** 2).max()),
                joint,
                shift,
                [n for (s, n, *_), k in zip(rows, slope, strict=False) if k],
            )
        )
    fits = sorted((t for t in trials if t[0] <= 1), key=lambda t: t[0])
    if not fits:
        return []
    # a joint that explains everything clearly better stands alone; else each that does is named
    fits = [t for t in fits if t[0] <= 4 * max(fits[0][0], 0.25)]
    said = " or ".join(
        f"the {joint.replace('_', ' ')} seems to lie {abs(shift):.0f} mm"
        f" {'farther from' if shift > 0 else 'nearer to'} its"
        " marker's face than its stand-off says"
        for _, joint, shift, _ in fits
    )
    names = sorted({n.replace("_", " ") for t in fits for n in t[3]})
    return [
        Finding(ATTENTION, where, f"{said}: then the tape's {' and '.join(names)} agree",
                "measure the stand-off again")
    ]
