"""The Heron's front corner: joint positions and how they move.

Chassis frame, mm: x forward, y left, z up; origin on the floor under the middle of the
front axle, the car standing level at ride height.  `DESIGN` is the left corner at ride
height.  Each body's motion is a Rigid from its place at ride height (the "rest" place)
to its place now.  The right corner is the left one's mirror image with its own
small differences.
"""
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq

from .rigid import Rigid, mirror, shortest_turn, turn, unit, vec

WHEELBASE_MM = 2330.0
HUB_TO_ARCH_RIDE_MM = 325.0
HUB_TO_ARCH_DROOP_MM = 378.0

DESIGN = {
    "arm_pivot_front": vec(230, 380, 190), "arm_pivot_rear": vec(-215, 370, 181),
    "arm_ball_joint": vec(10, 702, 162),
    "upper_pivot_front": vec(72, 462, 442), "upper_pivot_rear": vec(-112, 455, 433),
    "upper_ball_joint": vec(-14, 668, 476),
    "tie_rod_inner": vec(-128, 402, 246), "tie_rod_outer": vec(-122, 682, 238),
    "hub": vec(0, 748, 300), "arch_lip": vec(3, 801, 625),
    "bar_bush": vec(325, 508, 332), "bar_axis": unit(vec(0.025, 1.0, -0.018)),
    "bar_eye": vec(124.5, 551, 362.5), "link_foot": vec(131, 580, 213),
    "sill_front": vec(-445, 776, 186), "sill_rear": vec(-1170, 776, 186),
    "damper_top": vec(-12, 505, 640), "damper_foot": vec(-22, 606, 190),
    "hose_bracket": vec(168, 440, 492), "hose_union": vec(-8, 688, 418),
}
ON_BODY = {"arm_ball_joint": "arm", "link_foot": "arm", "damper_foot": "arm", "bar_eye": "bar",
           "upper_ball_joint": "knuckle", "tie_rod_outer": "knuckle", "hub": "knuckle",
           "hose_union": "knuckle"}


@dataclass(frozen=True)
class Corner:
    """Rest places of one corner's joints (chassis frame, mm) and its present link's length."""
    name: str
    side: float            # +1 left, -1 right
    rest: dict
    link_length_mm: float


def make_corner(name, link_length_mm, shifts=None):
    """A corner; shifts {joint: (dx, dy, dz)} in mm are added to the left design before mirroring."""
    side = 1.0 if name.endswith("left") else -1.0
    rest = {}
    for key, p in DESIGN.items():
        p = p + np.asarray((shifts or {}).get(key, (0, 0, 0)), float)
        rest[key] = p if side > 0 else mirror(p)
    if side < 0:
        rest["bar_axis"] = -rest["bar_axis"]     # keep it pointing left, +y
    return Corner(name, side, rest, link_length_mm)


CORNERS = {
    "front-left": make_corner("front-left", 153.0),
    "front-right": make_corner("front-right", 150.0, {
        "bar_bush": (1.5, -2.0, -1.0), "link_foot": (-1.0, 1.5, 0.5),
        "arm_ball_joint": (0.5, -1.0, 0.5)}),
}
NEW_LINK_LENGTH_MM = 123.0     # the left corner's new link


@dataclass
class Pose:
    """A corner at one height.  motions: body -> Rigid in the chassis frame; joints: name -> (3,) mm."""
    motions: dict
    joints: dict
    link_length_mm: float
    hose_curve: np.ndarray = field(default=None)   # (n, 3) centreline, chassis frame, mm


def _third_point_turn(moving, axis_point, axis, fixed, distance_mm):
    """Angle about an axis that puts `moving` at distance_mm from `fixed` (the root nearest zero)."""
    def miss(a):
        return np.linalg.norm(Rigid.about(axis_point, turn(axis, a))(moving) - fixed) - distance_mm
    step = np.radians(0.5)
    for k in range(1, 120):
        for lo, hi in (((k - 1) * step, k * step), (-k * step, -(k - 1) * step)):
            if miss(lo) * miss(hi) <= 0:
                return brentq(miss, lo, hi, xtol=1e-14, rtol=1e-14)
    raise ValueError("the linkage does not close")


def pose_at_arm_angle(corner, arm_rad, link_length_mm):
    """Every body's motion when the control arm is turned by arm_rad about its pivots (from ride)."""
    r = corner.rest
    axis = unit(r["arm_pivot_front"] - r["arm_pivot_rear"])
    arm = Rigid.about(r["arm_pivot_rear"], turn(axis, arm_rad))
    ball = arm(r["arm_ball_joint"])
    up_axis = unit(r["upper_pivot_front"] - r["upper_pivot_rear"])
    upright = np.linalg.norm(r["upper_ball_joint"] - r["arm_ball_joint"])
    up_angle = _third_point_turn(r["upper_ball_joint"], r["upper_pivot_rear"], up_axis, ball, upright)
    upper = Rigid.about(r["upper_pivot_rear"], turn(up_axis, up_angle))
    top = upper(r["upper_ball_joint"])
    tilt = shortest_turn(r["upper_ball_joint"] - r["arm_ball_joint"], top - ball)
    leaned = Rigid(tilt, ball - tilt @ r["arm_ball_joint"])
    rod = np.linalg.norm(r["tie_rod_outer"] - r["tie_rod_inner"])
    steer = _third_point_turn(leaned(r["tie_rod_outer"]), ball, top - ball, r["tie_rod_inner"], rod)
    knuckle = Rigid.about(ball, turn(top - ball, steer)) @ leaned
    foot = arm(r["link_foot"])
    bar_angle = _third_point_turn(r["bar_eye"], r["bar_bush"], r["bar_axis"], foot, link_length_mm)
    bar = Rigid.about(r["bar_bush"], turn(r["bar_axis"], bar_angle))
    eye = bar(r["bar_eye"])
    lean = shortest_turn(r["bar_eye"] - r["link_foot"], eye - foot)
    motions = {"chassis": Rigid(), "arm": arm, "upper": upper, "knuckle": knuckle, "bar": bar,
               "link": Rigid(lean, foot - lean @ r["link_foot"])}
    joints = {}
    for key, p in r.items():
        if key != "bar_axis":
            joints[key] = motions[ON_BODY.get(key, "chassis")](p)
    curve = hose_curve(joints, corner.side)
    for key, at in (("hose_a", 0.24), ("hose_b", 0.53), ("hose_c", 0.80)):
        joints[key] = curve[round(at * (len(curve) - 1))]
    return Pose(motions, joints, link_length_mm, curve)


def hose_curve(joints, side):
    """Brake hose centreline (161, 3), mm: a cubic from the chassis bracket to the caliper's union."""
    a, d = joints["hose_bracket"], joints["hose_union"]
    b = a + np.array([-8, 95 * side, -58])
    c = d + np.array([92, -62 * side, -24])
    s = np.linspace(0, 1, 161)[:, None]
    return (1 - s) ** 3 * a + 3 * (1 - s) ** 2 * s * b + 3 * (1 - s) * s ** 2 * c + s ** 3 * d


def hub_to_arch_mm(pose):
    """Hub to arch lip along the chassis's vertical, mm."""
    return float((pose.joints["arch_lip"] - pose.joints["hub"])[2])


def pose_at_hub_to_arch(corner, wanted_mm, link_length_mm=None):
    """The corner's pose at which hub to arch reads wanted_mm."""
    length = link_length_mm or corner.link_length_mm

    def miss(a):
        return hub_to_arch_mm(pose_at_arm_angle(corner, a, length)) - wanted_mm
    angle = brentq(miss, -0.30, 0.25, xtol=1e-13)
    return pose_at_arm_angle(corner, angle, length)
