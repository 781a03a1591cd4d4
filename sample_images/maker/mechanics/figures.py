"""The true angles and lengths of a state, from joint centres in the world frame (mm, z up)."""
import numpy as np

from .rigid import unit


def elevation_deg(a, b, up):
    """How far the line a -> b rises above level, degrees; up is a unit vector."""
    d = np.asarray(b) - np.asarray(a)
    return float(np.degrees(np.arcsin(d @ up / np.linalg.norm(d))))


def angle_square_to_axis_deg(a, b, axis, up):
    """Rise of a -> b against level in the plane square to axis, degrees; b above a is positive."""
    axis = unit(axis)
    d = np.asarray(b) - np.asarray(a)
    rise = unit(up - (up @ axis) * axis)
    level = np.cross(axis, rise)
    return float(np.degrees(np.arctan2(d @ rise, abs(d @ level))))


def distance_to_axis_mm(p, on_axis, axis):
    """Distance of p from the line through on_axis along axis, mm."""
    d = np.asarray(p) - np.asarray(on_axis)
    return float(np.linalg.norm(d - (d @ unit(axis)) * unit(axis)))


def figures(joints, chassis_up, bar_axis=None):
    """Every figure that the joints given allow.

    joints: name -> (3,) mm, world, z up against gravity; chassis_up: unit vector, world;
    bar_axis: the bar's true axis, world.  Returns {name: {"gravity": v, "chassis": v}} for
    angles and hub_to_arch and {name: {"value": v}} for what has no datum; deg and mm.
    """
    up = {"gravity": np.array([0.0, 0, 1]), "chassis": np.asarray(chassis_up)}
    out = {}

    def both(name, f):
        out[name] = {datum: round(f(u), 6) for datum, u in up.items()}

    def value(name, v):
        out[name] = {"value": round(float(v), 6)}

    j = dict(joints)
    if "arm_pivot_front" in j and "arm_pivot_rear" in j:
        j["arm_middle"] = (j["arm_pivot_front"] + j["arm_pivot_rear"]) / 2
    for name, a, b in (("bar_arm", "bar_bush", "bar_eye"), ("control_arm", "arm_middle", "arm_ball_joint"),
                       ("link", "link_foot", "bar_eye")):
        if a in j and b in j:
            both(name + "_elevation", lambda u: elevation_deg(j[a], j[b], u))
            value(name + "_length", np.linalg.norm(j[b] - j[a]))
    if "bar_bush" in j and "bar_eye" in j and bar_axis is not None:
        both("bar_arm_angle", lambda u: angle_square_to_axis_deg(j["bar_bush"], j["bar_eye"], bar_axis, u))
        value("bar_lever", distance_to_axis_mm(j["bar_eye"], j["bar_bush"], bar_axis))
    if "arm_middle" in j and "arm_ball_joint" in j:
        axis = j["arm_pivot_front"] - j["arm_pivot_rear"]
        both("control_arm_angle",
             lambda u: angle_square_to_axis_deg(j["arm_middle"], j["arm_ball_joint"], axis, u))
    if all(k in j for k in ("bar_bush", "bar_eye", "link_foot")):
        c = unit(j["bar_bush"] - j["bar_eye"]) @ unit(j["link_foot"] - j["bar_eye"])
        value("bar_to_link_angle", np.degrees(np.arccos(c)))
    if "sill_front" in j and "sill_rear" in j:
        both("sill_slope", lambda u: elevation_deg(j["sill_rear"], j["sill_front"], u))
    if "hub" in j and "arch_lip" in j:
        both("hub_to_arch", lambda u: float((j["arch_lip"] - j["hub"]) @ u))
    for k in "abc":
        if "hose_" + k in j and "bar_eye" in j:
            value("hose_gap_" + k, np.linalg.norm(j["hose_" + k] - j["bar_eye"]))
    return out
