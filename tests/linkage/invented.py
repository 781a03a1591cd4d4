"""Invented corners of fixed seeds, with exact truth: for the tests and the bench command."""

from __future__ import annotations

import numpy as np

from calib.poses import Pose, rotation_from_vector
from photoangle.linkage.corner import Corner
from photoangle.linkage.kinematics.knuckle import knuckle_at
from photoangle.linkage.kinematics.mechanism import bar_turn_for, foot_at
from photoangle.linkage.kinematics.turning import smallest_turn, turned, unit
from photoangle.linkage.motion.observed import MotionState

# A front-left corner of no car in particular, mm, droop: the arm hangs, the bar arm runs back from its bush.
_POINTS = dict(bar_bush=(250, 330, 150),
               bar_bush_far=(250, -330, 150),
               bar_eye=(20, 400, 90),
               link_foot=(15, 420, -35),
               arm_pivot_front=(150, 250, -30),
               arm_pivot_rear=(-150, 250, -25),
               arm_ball_joint=(0, 590, -80),
               hub=(0, 640, 30),
               arch_lip=(0, 680, 430),
               hose_a=(0, 350, 200),
               hose_b=(70, 430, 150),
               hose_c=(50, 560, 60),
               strut_top=(-10, 520, 520))


def invented_points(rng, spread_mm=15.0):
    """Names and true positions (n, 3) mm of a random corner."""
    names = tuple(_POINTS)
    return names, np.array([_POINTS[n] for n in names], float) + rng.uniform(-spread_mm, spread_mm,
                                                                             (len(names), 3))


def invented_motion(rng,
                    rises_deg=(0.0, 7.0, 14.0),
                    twist_deg=20.0,
                    steer_deg=15.0,
                    turn_deg=0.05,
                    shift_mm=0.1,
                    markers=None,
                    link_grows_mm=None,
                    foot_on="control arm"):
    """Marker poses of a random corner at several states, with noise.

    rises_deg: control-arm angle in each state; twist_deg, steer_deg: how far link and knuckle were turned to
    and fro about their own lengths between states; turn_deg, shift_mm: each pose's noise, sigma an axis;
    markers: id -> body; link_grows_mm: state index -> change of the link's length from that state on; foot_on
    as in `layout.FEET`.
    Returns (states, bodies, truth: list over states of name -> (3,), true axes: "bar", "arm" -> unit (3,)).
    """
    names, points = invented_points(rng)
    size = 3 * len(names)
    layout = Corner("front-left", "droop", names, points, {"none": np.zeros((size, size))}, foot_on).nominal()
    bodies = markers or {
        101: "bar", 115: "bar", 102: "link", 116: "link", 117: "arm", 105: "arm", 106: "knuckle",
        118: "knuckle", 119: "chassis", 107: "chassis"
    }
    near = {
        "bar": "bar_eye", "link": "link_foot", "arm": "arm_ball_joint", "knuckle": "hub",
        "chassis": "arch_lip"
    }
    place = {
        i: Pose(rotation_from_vector(rng.normal(0, 1, 3)),
                points[names.index(near[b])] + rng.uniform(-60, 60, 3))
        for i, b in bodies.items()
    }
    states, truth, grown = [], [], 0.0
    link_before = points[names.index("bar_eye")] - points[names.index("link_foot")]
    for k, rise in enumerate(rises_deg):
        grown = (link_grows_mm or {}).get(k, grown)
        arm = np.full((1, 1), np.radians(rise))
        knuckle = knuckle_at(layout, arm)
        ball = knuckle.ball[0, 0]
        kingpin = unit(layout.at["strut_top"][0, 0] - ball)
        steer = rotation_from_vector(kingpin * np.radians(_to_and_fro(rng, k, steer_deg)))
        turned_to = steer @ knuckle.rotation[0, 0]
        foot = foot_at(layout, arm, knuckle)[0, 0] if foot_on == "control arm" else ball + turned_to @ (
            points[names.index("link_foot")] - points[names.index("arm_ball_joint")])
        bar = bar_turn_for(layout, foot, np.linalg.norm(link_before) + grown).turn
        eye = turned(layout.at["bar_eye"], layout.at["bar_bush"], layout.bar_axis, bar)[0, 0]
        twist = rotation_from_vector(unit(eye - foot) * np.radians(_to_and_fro(rng, k, twist_deg)))
        to = smallest_turn(unit(link_before), unit(eye - foot))
        pose = {"chassis": Pose.identity(), "bar": _about(layout.at["bar_bush"], layout.bar_axis, bar),
                "arm": _about(layout.arm_origin, layout.arm_axis, arm)}
        pose["link"] = _fixed(twist @ to, points[names.index("link_foot")], foot)
        pose["knuckle"] = _fixed(turned_to, points[names.index("arm_ball_joint")], ball)
        seen = {}
        for i, body in bodies.items():
            true = pose[body] @ place[i]
            seen[i] = Pose(rotation_from_vector(rng.normal(0, np.radians(turn_deg), 3)) @ true.rotation,
                           true.translation_mm + rng.normal(0, shift_mm, 3))
        sigma = np.r_[np.full(3, np.radians(turn_deg)), np.full(3, shift_mm)]
        states.append(MotionState(f"state {k}", seen, np.diag(np.tile(sigma**2, len(seen)))))
        truth.append({
            "bar_eye": eye, "link_foot": foot, "arm_ball_joint": ball,
            "bar_bush": points[names.index("bar_bush")],
            "arm_pivot_front": points[names.index("arm_pivot_front")]
        })
    return states, bodies, truth, {"bar": layout.bar_axis[0, 0], "arm": layout.arm_axis[0, 0]}


def _to_and_fro(rng, k, most_deg):
    """None in the first state, then one way and the other, as the walk-through asks for."""
    return 0.0 if k == 0 else (-1.0) ** k * most_deg * rng.uniform(0.7, 1.0)


def _about(origin, axis, angle):
    r = rotation_from_vector(axis[0, 0] * angle[0, 0])
    return Pose(r, origin[0, 0] - r @ origin[0, 0])


def _fixed(rotation, before, now):
    return Pose(rotation, now - rotation @ before)
