"""From a measured state to the linkage's corner: points in the chassis frame, axes, hub to arch, studs."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from calib.poses import Pose, hat
from photoangle.core.agreement import e_n
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding, Refusal
from photoangle.figures.measurands import BAR_AXIS_DEG
from photoangle.linkage.corner import (
    HUB_DIFFERS_WITHIN,
    NEEDED,
    Corner,
    Direction,
    Taped,
    from_world,
    with_joints,
)
from photoangle.linkage.ride import no_datum_finding

FAR_MM = 300.0
# A plate lies as square to its stud as nut and washer make it (common practice, no source).
_STUD_DEG = 2.0
_SET_WITHIN_MM = 2.0
_ROLES = {"hub", "arch_lip", "hose_a", "hose_b", "hose_c", "bar_bush", "bar_eye", "link_foot", "arm_pivot_front",
          "arm_pivot_rear", "arm_ball_joint"}
_HOSE_ON = {"between": "mid"}
_STUDS = ("bar_eye", "link_foot")


@dataclass(frozen=True)
class Bridged:
    """A corner for the linkage and what is to be said about it; datum: whether the chassis is known."""

    corner: Corner
    findings: tuple
    datum: bool


def corner_of(result, motion, figures, car, kit):
    """The linkage's Corner at one measured state.

    result: StateResult; motion: (Motion, axes (3, 3) that it was solved in) or None; figures: the measure run's Figures; car: CarFile.
    Returns Bridged, or Refusal with the reason.
    """
    where, notes = f"{result.corner}/{result.state}", result.notes
    findings, axes = [], result.axes or result.lateral
    if axes is None:
        return Refusal(Finding(UNUSABLE, where, "neither up nor forward is known here, so nothing can be carried over",
                               "have the plumb strip and both sill markers (or both arm pivots) in view"))
    sources = dict(axes.sources)
    if result.axes is None:
        finding, error = _no_datum(result, figures, car)
        findings.append(finding)
        sources["pitch"] = np.radians(error) ** 2 / 3 * np.outer(axes.axes[:, 1], axes.axes[:, 1])
    names, positions, parts = _points(result, notes)
    names, positions, parts = _with_bar_axis(names, positions, parts, result.bar_axis)
    moved = _shows(motion, result.state)
    known = set(names) | set(notes.from_bush) | set(moved)
    missing = [n for n in NEEDED if n not in known]
    if not {"arm_pivot_front", "arm_pivot_rear"} & known:
        missing.append("arm_pivot_front")
    if missing:
        return Refusal(Finding(UNUSABLE, where, f"the linkage needs {', '.join(m.replace('_', ' ') for m in missing)}",
                               "put those markers on, or give stand-offs and markers on the parts for joints by motion"))
    if "bar_bush" not in names:
        return Refusal(Finding(UNUSABLE, where, "no bar bush marker: the linkage has nothing to start from",
                               "put a marker on the bush"))
    bush, turn = positions[names.index("bar_bush")], sum(sources.values())
    at, spread = from_world(names, positions, parts, axes.axes, {})
    joints = _by_motion(motion, result, bush, axes.axes) if moved else None
    names, at, spread = _extended(names, at, spread, joints)
    names, at, spread = _with_taped_points(names, at, spread, notes)
    corner = _made(result, notes, names, at, spread, kit, axes.axes)
    corner = with_joints(corner, *joints) if moved else corner
    # all points see the chassis's own turn about the one origin
    lever = np.concatenate([axes.axes.T @ hat(axes.axes @ p) for p in corner.positions_mm])
    corner = replace(corner, sources=corner.sources | {"chassis": lever @ turn @ lever.T})
    corner, more = _with_arch(corner, result, figures, notes)
    return Bridged(corner, tuple(findings + more), result.axes is not None)


def _no_datum(result, figures, car):
    slope = next((f.value for f in figures if (f.corner, f.state, f.name, f.datum)
                  == (result.corner, result.state, "sill_slope", "gravity")), None)
    lift = None if slope is None or not car.wheelbase_mm else car.wheelbase_mm * math.sin(math.radians(slope))
    return no_datum_finding(f"{result.corner}/{result.state}", lift, car.wheelbase_mm)


def _points(result, notes):
    """(names, positions (n, 3), sources) of what the linkage knows by name, in the scene's world."""
    points = result.points
    called = [notes.stands_for.get(n, n) for n in points.names]
    keep = [k for k, n in enumerate(called) if n in _ROLES or n in notes.stands_for.values()]
    rows = np.concatenate([3 * k + np.arange(3) for k in keep]) if keep else np.zeros(0, int)
    return (tuple(called[k] for k in keep), points.positions_mm[keep],
            {name: c[np.ix_(rows, rows)] for name, c in points.sources.items()})


def _with_bar_axis(names, positions, sources, bar_axis):
    """The bar's axis by motion as a second point on it: so that a turn of the frame carries it along."""
    if bar_axis is None or "bar_bush" not in names or "bar_bush_far" in names:
        return names, positions, sources
    vector, turn = bar_axis
    n, k = len(names), names.index("bar_bush")
    copy = np.vstack([np.eye(3 * n), np.eye(3 * n)[3 * k:3 * k + 3]])
    out = {name: copy @ c @ copy.T for name, c in sources.items()}
    arm = FAR_MM * hat(vector)
    own = np.zeros((3 * n + 3,) * 2)
    own[3 * n:, 3 * n:] = arm @ turn @ arm.T
    out["bar axis"] = own
    return names + ("bar_bush_far",), np.vstack([positions, positions[k] + FAR_MM * vector]), out


def _made(result, notes, names, at, spread, kit, axes):
    return Corner(
        result.corner, result.state, names, at, spread, notes.link_foot_on,
        bar_axis=Direction.within([0, 1, 0], BAR_AXIS_DEG),
        hub_differs_within=HUB_DIFFERS_WITHIN if notes.hub_differs_within is None else notes.hub_differs_within,
        hose_on={k: _HOSE_ON.get(v, v) for k, v in notes.hose_on.items()},
        radius_mm={{"bar_eye": "eye"}.get(k, k): v for k, v in notes.radius_mm.items()},
        stud=_studs(result, kit, axes), dof=_dof(result))


def _dof(result):
    dof = result.scene.solution.degrees_of_freedom()
    return {"pixels": dof} if dof < 1000 else {}


def _with_taped_points(names, at, spread, notes):
    """Points taped forward, left and up of the bar's bush, where no marker gives them."""
    for name, reading in sorted(notes.from_bush.items()):
        if name in names:
            continue
        n = len(names)
        names, at = names + (name,), np.vstack([at, [r.value_mm for r in reading]])
        spread = {key: np.pad(c, ((0, 3), (0, 3))) for key, c in spread.items()}
        tape = spread.setdefault("taped points", np.zeros((3 * n + 3,) * 2))
        tape[3 * n:, 3 * n:] = np.diag([r.u_mm**2 for r in reading])
    return names, at, spread


def _studs(result, kit, axes):
    """Directions of studs that go through plates: the plate's normal."""
    out = {}
    for i, pose in sorted(result.scene.markers.items()):
        slot = kit.slot(i)
        if slot.form == "plate" and slot.role.key in _STUDS and i not in result.scene.loose:
            out[slot.role.key] = Direction.within(axes.T @ pose.rotation[:, 2], _STUD_DEG)
    return out


def _shows(motion, state):
    """Names of the joints that motion knows in a state."""
    return motion[0].points(state)[0] if motion is not None and state in motion[0].states else ()


def _by_motion(motion, result, bush, axes):
    """Joints as motion has them, in the corner's frame: (names, positions (n, 3), covariance (3 n, 3 n)).

    The corner's origin is its bush marker's joint, ``bush`` in the scene's world.
    """
    motion, solved_in = motion
    names, places, covariance = motion.points(result.state)
    tie = result.tie.pose if result.tie is not None else Pose.identity()
    # from the frame that motion was solved in to the reference scene's world, and on to this scene's
    here = (places @ solved_in.T - tie.translation_mm) @ tie.rotation
    spin = np.kron(np.eye(len(names)), axes.T @ tie.rotation.T @ solved_in)
    return names, (here - bush) @ axes, spin @ covariance @ spin.T


def _extended(names, at, spread, joints):
    """Room for points that only motion knows."""
    extra = [(n, p) for n, p in zip(*joints[:2]) if n not in names] if joints else []
    if not extra:
        return names, at, spread
    pad = 3 * len(extra)
    return (names + tuple(n for n, _ in extra), np.vstack([at, [p for _, p in extra]]),
            {key: np.pad(c, ((0, pad), (0, pad))) for key, c in spread.items()})


def _with_arch(corner, result, figures, notes):
    """Hub to arch in this state and at ride height, by tape first; a photo's where no tape gave it.

    Returns (corner, findings).
    """
    arch, findings = {}, []
    for state in {result.state, "ride"}:
        taped = notes.tape.get(state, {}).get("hub_to_arch")
        seen = next((f for f in figures if (f.corner, f.state, f.name) == (result.corner, state, "hub_to_arch")), None)
        if taped is not None and seen is not None and abs(e_n(taped.value_mm, taped.u_mm, seen.value, seen.u)) > 1:
            # the check has failed: neither is known to be right, so the interval holds both
            middle, apart = (taped.value_mm + seen.value) / 2, abs(taped.value_mm - seen.value)
            arch[state] = Taped(middle, math.hypot(apart / math.sqrt(3), taped.u_mm))
            findings.append(Finding(ATTENTION, f"{result.corner}/{state}", f"hub to arch is {taped.value_mm:.0f} mm by tape and"
                                    f" {seen.value:.0f} mm by the photos; both are allowed for", "tape it again, twice"))
        elif taped is not None:
            arch[state] = Taped(taped.value_mm, taped.u_mm)
        elif seen is not None:
            arch[state] = Taped(seen.value, seen.u)
    if result.state.startswith(("set", "fitted")) and not {result.state, "ride"} <= set(arch):
        known = next(iter(arch.values()), Taped(350.0, 0.0))
        arch = {result.state: known, "ride": Taped(known.value_mm, _SET_WITHIN_MM / math.sqrt(3))}
        findings.append(Finding(NOTE, f"{result.corner}/{result.state}", "hub to arch is not known both here and on the wheels:"
                                f" this state is taken as ride height within {_SET_WITHIN_MM:g} mm",
                                "write hub_to_arch under tape.set and tape.ride"))
    return replace(corner, hub_to_arch_mm=arch), findings
