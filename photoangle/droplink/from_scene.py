"""From a measured state to the linkage's corner: points in the chassis frame, axes, hub to arch, studs."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from calib.poses import Pose, hat, rotation_from_vector
from photoangle.carfile.corner import STUD_WAYS
from photoangle.core.agreement import e_n
from photoangle.core.assumed import BAR_AXIS_DEG, STUD_DEG, STUD_SAID_DEG
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding, Refusal
from photoangle.core.roles import (
    ARCH_LIP,
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    HOSE_A,
    HOSE_B,
    HOSE_C,
    HUB,
    LINK_FOOT,
    PIVOTS,
    PLUMB,
    SILLS,
)
from photoangle.core.states import RIDE, at_ride_height
from photoangle.droplink.guessed_arm import can_be_guessed, with_guessed_arm
from photoangle.droplink.guessed_arm import finding as arm_guessed
from photoangle.geometry.datums import turned
from photoangle.geometry.joints import coordinates
from photoangle.linkage.corner import NEEDED, Corner, KnownDirection, Taped, turn_lever
from photoangle.linkage.ride import no_datum_finding

FAR_MM = 300.0
_SET_WITHIN_MM = 2.0
# A bar's eye nearer to its bush than this along the car points neither way.
_POINTS_MM = 30.0
_ROLES = {HUB, ARCH_LIP, HOSE_A, HOSE_B, HOSE_C, BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_PIVOT_FRONT,
          ARM_PIVOT_REAR, ARM_BALL_JOINT}
# What stays where it is while the wheel moves.
_ON_CHASSIS = {BAR_BUSH, "bar_bush_far", *PIVOTS, "upper_pivot_front", "upper_pivot_rear", "strut_top",
               "tie_rod_inner", ARCH_LIP, *SILLS, *PLUMB}
_HOSE_ON = {"between": "mid"}
_STUDS = (BAR_EYE, LINK_FOOT)


@dataclass(frozen=True)
class FromScene:
    """A corner for the linkage: corner; places: Estimate of its points' coordinates, mm, in the corner's
    frame; findings; datum: whether the chassis is known; arm: whether the control arm is."""

    corner: Corner
    places: Estimate
    findings: tuple
    datum: bool
    arm: bool = True


def corner_of(result, motion, figures, car, kit, alone=False):
    """The linkage's Corner at one measured state.

    result: StateResult; motion: (Motion, axes (3, 3) that it was solved in) or None; figures: the measure
    run's Figures; car: CarFile; alone: no other state was photographed but ride.
    Returns FromScene, or Refusal with the reason.
    """
    where, notes = f"{result.corner}/{result.state}", result.notes
    findings, axes = [], result.axes or result.lateral
    if axes is None:
        return Refusal(
            Finding(UNUSABLE, where, "neither up nor forward is known here, so nothing can be carried over",
                    "have the plumb strip and both sill markers (or both arm pivots) in view"))
    turn = turned(axes.turn, axes.axes.T)
    if result.axes is None:
        # which end is up is known, how far is not: the middle of what it may be; nose up is a turn about -y
        low, high = car.pitch_between_deg(result.corner, result.state)
        findings.append(no_datum_finding(where, (low, high)))
        nose_up = rotation_from_vector([0, -math.radians((low + high) / 2), 0])
        pitch = Source(("pitch", result.scene.origin.state), "pitch",
                       np.array([[np.radians(high - low)**2 / 12]]))
        turn = turned(turn, nose_up.T).also(pitch, np.array([[0.0], [1.0], [0.0]]))
        axes = replace(axes, axes=axes.axes @ nose_up)
    from_bush, untimed = _taped_here(result, notes, alone)
    findings += untimed
    missing = _missing(result, motion, notes, from_bush)
    guessed = at_ride_height(result.state) and can_be_guessed(missing)
    if missing and not guessed:
        return Refusal(
            Finding(UNUSABLE, where, f"the linkage needs {', '.join(m.replace('_', ' ') for m in missing)}",
                    "put those markers on, or give stand-offs and markers on the parts for joints by motion"))
    if BAR_BUSH not in result.points:
        return Refusal(Finding(UNUSABLE, where, "no bar bush marker: the linkage has nothing to start from",
                               "put a marker on the bush"))
    names, places = _seen(result, notes, axes.axes)
    if result.bar_axis is not None and "bar_bush_far" not in names:
        names, places = _with_bar_axis(names, places, result.bar_axis, axes.axes)
    if _shows(motion, result.state):
        names, places = _with_motion(names, places, motion, result, axes.axes)
    names, places = _with_taped_points(names, places, from_bush, result.scene.origin)
    if guessed:
        names, places = with_guessed_arm(names, places, result.corner, result.scene.origin,
                                         notes.link_foot_on)
        findings.append(arm_guessed(where))
    # all points see the chassis's own turn about the one origin, the bush
    places = places.plus(
        turn.linear(turn_lever(places.values.reshape(-1, 3)), places.names, np.zeros(len(places.names))))
    findings += _points_as_said(where, notes, names, places)
    corner = _made(result, notes, names, places, kit, axes.axes)
    corner, more = _with_arch(corner, result, figures, notes)
    return FromScene(corner, places, tuple(findings + more), result.axes is not None, not guessed)


def _points_as_said(where, notes, names, places):
    """A finding where car.toml has the bar's arm point the other way than the photos show."""
    if notes.bar_arm_points is None:
        return []
    x = places.values[3 * names.index(BAR_EYE)]
    seen = "front" if x > 0 else "rear"
    if seen == notes.bar_arm_points or abs(x) < _POINTS_MM:
        return []
    return [
        Finding(
            ATTENTION, where,
            f"car.toml says that the bar's arm points to the {notes.bar_arm_points}, the photos show it"
            f" pointing to the {seen}: the photos were used",
            "correct bar_arm_points, or look whether bush and eye or the sill's markers are exchanged")
    ]


def _missing(result, motion, notes, from_bush):
    """What the linkage needs and nothing here gives."""
    called = {notes.stands_for.get(n, n) for n in result.points.names}
    known = called | set(from_bush) | set(_shows(motion, result.state))
    missing = [n for n in NEEDED if n not in known]
    return missing if set(PIVOTS) & known else [*missing, ARM_PIVOT_FRONT]


def _seen(result, notes, axes):
    """(names, Estimate of coordinates) of what the linkage knows by name, in the chassis's axes from the
    bush."""
    points = result.points
    called = {n: notes.stands_for.get(n, n) for n in points.names}
    keep = [n for n in points.names if called[n] in _ROLES or called[n] in notes.stands_for.values()]
    names = tuple(called[n] for n in keep)
    away = np.array([points[n] for n in keep]) - points[BAR_BUSH]
    turn = np.kron(np.eye(len(keep)), axes.T)
    return names, points.estimate.pick(coordinates(keep)).linear(turn, coordinates(names),
                                                                 (away @ axes).ravel())


def _with_bar_axis(names, places, bar, axes):
    """The bar's axis by motion as a second point on it: so that a turn of the frame carries it along."""
    bush = places.pick(coordinates((BAR_BUSH,))).named(coordinates(("bar_bush_far",)))
    vector = axes.T @ bar.vector
    # a small turn w of the axis moves a point far out on it by w x FAR
    arm = turned(bar.turn, axes.T).linear(-FAR_MM * hat(vector), bush.names, FAR_MM * vector)
    return names + ("bar_bush_far",), places.join(bush.plus(arm))


def _with_motion(names, places, motion, result, axes):
    """Joints as motion has them, in place of what single markers say of them."""
    motion, solved_in = motion
    shown, at, covariance = motion.points(result.state)
    tie = result.tie.pose if result.tie is not None else Pose.identity()
    # from the frame that motion was solved in to the reference scene's world, and on to this scene's
    here = (at @ solved_in.T - tie.translation_mm) @ tie.rotation
    spin = np.kron(np.eye(len(shown)), axes.T @ tie.rotation.T @ solved_in)
    # the corner's origin is its bush marker's joint
    source = Source(("motion", result.scene.origin.state), "motion", spin @ covariance @ spin.T)
    joints = Estimate.stated(coordinates(shown), (here - result.points[BAR_BUSH]) @ axes, source)
    own = tuple(n for n in names if n not in shown)
    every = names + tuple(n for n in shown if n not in names)
    return every, places.pick(coordinates(own)).join(joints).pick(coordinates(every))


def _taped_here(result, notes, alone):
    """(points taped from the bush that hold in this state, findings): what moves with the wheel holds only in
    the state it was taped in."""
    moving = sorted(set(notes.from_bush) - _ON_CHASSIS)
    elsewhere = notes.from_bush_state != result.state and not (alone and notes.from_bush_state is None)
    if not moving or not elsewhere:
        return notes.from_bush, []
    said = (f"{_words(moving)} moves with the wheel and was taped"
            f" {'at ' + notes.from_bush_state if notes.from_bush_state else 'nobody says in which state'}:"
            f" not used at {result.state}")
    do = (f"tape it at {result.state} too" if notes.from_bush_state
          else f'write from_bush_state = "{result.state}" if it was taped here')
    return ({n: r for n, r in notes.from_bush.items() if n in _ON_CHASSIS},
            [Finding(NOTE, f"{result.corner}/{result.state}", said, do)])


def _words(names):
    return ", ".join(n.replace("_", " ") for n in names)


def _with_taped_points(names, places, from_bush, origin):
    """Points taped forward, left and up of the bar's bush, where no marker gives them."""
    for name, reading in sorted(from_bush.items()):
        if name not in names:
            taped = Source(("taped point", origin.corner, name), "taped points",
                           np.diag([r.u_mm**2 for r in reading]))
            names += (name,)
            places = places.join(Estimate.stated(coordinates((name,)), [r.value_mm for r in reading], taped))
    return names, places


def _made(result, notes, names, places, kit, axes):
    return Corner(result.corner,
                  result.state,
                  names,
                  places.values.reshape(-1, 3),
                  places.covariances(),
                  notes.link_foot_on,
                  bar_axis=KnownDirection.within([0, 1, 0], BAR_AXIS_DEG),
                  hub_differs_within=notes.hub_differs_within,
                  hose_on={k: _HOSE_ON.get(v, v)
                           for k, v in notes.hose_on.items()},
                  radius_mm={{BAR_EYE: "eye"}.get(k, k): v
                             for k, v in notes.radius_mm.items()},
                  hose_leads_away=notes.hose.leads_away,
                  stud=_studs(result, notes, kit, axes),
                  dof=_dof(result))


def _dof(result):
    dof = result.scene.solution.degrees_of_freedom()
    return {"pixels": dof} if dof < 1000 else {}


def _studs(result, notes, kit, axes):
    """Directions of studs: the normal of a plate that one goes through, else as car.toml says."""
    out = {joint: KnownDirection.within(STUD_WAYS[way], STUD_SAID_DEG) for joint, way in notes.stud.items()}
    for i, pose in sorted(result.scene.markers.items()):
        slot = kit.slot(i)
        if slot.form == "plate" and slot.role.key in _STUDS and i not in result.scene.ambiguous:
            out[slot.role.key] = KnownDirection.within(axes.T @ pose.rotation[:, 2], STUD_DEG)
    return out


def _shows(motion, state):
    """Names of the joints that motion knows in a state."""
    return motion[0].points(state)[0] if motion is not None and state in motion[0].states else ()


def _with_arch(corner, result, figures, notes):
    """Hub to arch in this state and at ride height, by tape first; a photo's where no tape gave it.

    Returns (corner, findings).
    """
    arch, findings = {}, []
    for state in {result.state, RIDE}:
        taped = notes.tape.get(state, {}).get("hub_to_arch")
        seen = next(
            (f for f in figures if (f.corner, f.state, f.name) == (result.corner, state, "hub_to_arch")),
            None)
        if taped is not None and seen is not None and abs(
                e_n(taped.value_mm - seen.value, math.hypot(taped.u_mm, seen.u))) > 1:
            # the check has failed: neither is known to be right, so the interval holds both
            middle, apart = (taped.value_mm + seen.value) / 2, abs(taped.value_mm - seen.value)
            arch[state] = Taped(middle, math.hypot(apart / math.sqrt(3), taped.u_mm))
            findings.append(
                Finding(
                    ATTENTION, f"{result.corner}/{state}",
                    f"hub to arch is {taped.value_mm:.0f} mm by tape and"
                    f" {seen.value:.0f} mm by the photos; both are allowed for", "tape it again, twice"))
        elif taped is not None:
            arch[state] = Taped(taped.value_mm, taped.u_mm)
        elif seen is not None:
            arch[state] = Taped(seen.value, seen.u)
    if at_ride_height(result.state) and not {result.state, RIDE} <= set(arch):
        known = next(iter(arch.values()), Taped(350.0, 0.0))
        arch = {result.state: known, RIDE: Taped(known.value_mm, _SET_WITHIN_MM / math.sqrt(3))}
        findings.append(
            Finding(
                NOTE, f"{result.corner}/{result.state}",
                "hub to arch is not known both here and on the wheels:"
                f" this state is taken as ride height within {_SET_WITHIN_MM:g} mm",
                "write hub_to_arch under tape.set and tape.ride"))
    return replace(corner, hub_to_arch_mm=arch), findings
