"""Where each marker of the kit is stuck on the corner, with its stand-off and sticking error.

A marker is described on the left corner at ride height (chassis frame, mm) and mirrored
for the right one (its place and the way it faces; never its print).  Plain markers:
joint = centre + standoff * z + (ex, ey in the print's plane); plates: the same from the
cross printed at (0, 45) mm.  z runs into the sheet.
"""
from dataclasses import dataclass

import numpy as np

from .rigid import mirror, print_axes, unit

CROSS_Y_MM = 45.0
SMALL_MM, LARGE_MM = 18.0, 30.0


@dataclass(frozen=True)
class Marker:
    """A marker fixed on a body.  centre (3,) mm and R (3,3) print-to-chassis, at the rest place."""
    id: int
    role: str
    body: str
    size_mm: float
    centre: np.ndarray
    R: np.ndarray
    joint: str              # "" where it stands for no joint
    standoff_mm: float      # true
    error_mm: tuple         # sticking error in the print's x, y
    cross: bool
    dirt: float             # 0 clean .. 1 filthy


# id, role, body, joint, stand-off, outward normal, print's bottom edge, roll
JOINT_MARKERS = (
    (100, "bar bush", "chassis", "bar_bush", 38.2, (-0.04, 0.97, 0.22), (0.1, 0, -1), 4),
    (301, "bar eye", "bar", "bar_eye", 16.2, (0.10, 0.99, 0.03), (-0.62, 0, -0.78), 0),
    (302, "link foot", "arm", "link_foot", 15.8, (0.14, 0.98, 0.10), (-0.55, 0, 0.84), 0),
    (103, "arm pivot, front", "chassis", "arm_pivot_front", 44.7, (0.06, 0.68, 0.72), (0, 0, -1), -6),
    (104, "arm pivot, rear", "chassis", "arm_pivot_rear", 46.3, (-0.10, 0.68, 0.72), (0, 0, -1), 5),
    (105, "arm ball joint", "arm", "arm_ball_joint", 25.3, (0.42, 0.90, 0.05), (0, 0, -1), 7),
    (106, "hub", "knuckle", "hub", 20.1, (0.03, 1.0, 0.0), (0.12, 0, -1), 9),
    (107, "arch lip", "chassis", "arch_lip", 2.4, (0.0, 0.99, 0.10), (0, 0, -1), -3),
    (108, "sill front", "chassis", "sill_front", 1.6, (0.0, 1.0, -0.03), (0, 0, -1), 2),
    (109, "sill rear", "chassis", "sill_rear", 1.7, (0.0, 1.0, -0.02), (0, 0, -1), -2),
)
# id, role, body, size, centre at rest, outward normal, print's bottom edge, roll
FREE_MARKERS = (
    (119, "chassis", "chassis", LARGE_MM, (262, 452, 432), (0.12, 0.96, 0.26), (0, 0, -1), 5),
    (115, "bar", "bar", LARGE_MM, (232, 557, 354), (0.06, 0.93, 0.36), (0.1, 0, -1), -4),
    (117, "arm", "arm", LARGE_MM, (185, 462, 203), (0.18, 0.62, 0.76), (0, 0, -1), 12),
    (118, "knuckle", "knuckle", LARGE_MM, (-52, 778, 399), (0.12, 0.98, 0.16), (0.2, 0, -1), -8),
)
HOSE_STANDOFF_MM = 5.0
DIRTY = {103: 0.8, 117: 0.7, 104: 0.5, 212: 0.5, 105: 0.9}


def _joint_marker(row, corner, rng, size, dirt):
    mid, role, body, joint, standoff, normal, down, roll = row
    normal, down = np.array(normal, float), np.array(down, float)
    if corner.side < 0:
        normal, down = mirror(normal), mirror(down)
        standoff += rng.uniform(-0.8, 0.8)
    plate = mid >= 300
    half = 0.5 if plate else 1.0
    ex, ey = rng.uniform(-half, half, 2)
    R = print_axes(normal, down, roll + rng.uniform(-3, 3))
    aimed = corner.rest[joint] - standoff * R[:, 2] - ex * R[:, 0] - ey * R[:, 1]
    centre = aimed - (CROSS_Y_MM * R[:, 1] if plate else 0)
    return Marker(mid, role, body, size, centre, R, joint, standoff, (ex, ey), plate, dirt)


def link_marker(corner, pose_rest, rng):
    """Marker 216 on the link's flat clamp, at the link's rest place."""
    foot, eye = pose_rest.joints["link_foot"], pose_rest.joints["bar_eye"]
    along = unit(eye - foot)
    normal = np.array([0.16, 0.98 * corner.side, 0.08])
    R = print_axes(normal, -along, rng.uniform(-3, 3))
    centre = foot + rng.uniform(0.46, 0.52) * (eye - foot) + 11.5 * unit(normal - (normal @ along) * along)
    return Marker(216, "link", "link", SMALL_MM, centre, R, "", 0.0, (0.0, 0.0), False, 0.2)


def hose_markers(pose, corner, rng):
    """Soft wraps 212..214 on the hose as it lies in this pose (chassis frame)."""
    out = []
    for k, (mid, joint) in enumerate(((212, "hose_a"), (213, "hose_b"), (214, "hose_c"))):
        p = pose.joints[joint]
        i = int(np.argmin(np.linalg.norm(pose.hose_curve - p, axis=1)))
        along = pose.hose_curve[i + 1] - pose.hose_curve[i - 1]
        facing = np.array([(0.15, 0.30, 0.12)[k], 0.9 * corner.side, (0.35, 0.35, 0.5)[k]])
        normal = facing - (facing @ unit(along)) * unit(along)
        R = print_axes(normal, along if along[2] < 0 else -along)
        ex = rng.uniform(-0.5, 0.5)              # across the hose; along it the marker says where it is
        centre = p - HOSE_STANDOFF_MM * R[:, 2] - ex * R[:, 0]
        out.append(Marker(mid, "hose " + "ABC"[k], "hose", SMALL_MM, centre, R, joint,
                          HOSE_STANDOFF_MM, (ex, 0.0), False, DIRTY.get(mid, 0.1)))
    return out


def markers_on(corner, state, pose):
    """All markers on the corner's bodies in a state, each at its own body's rest place.

    Hose markers are given where they are in this pose.  The bar eye's plate and the
    link's marker are stuck anew for "fitted"; the hub's sits on the wheel's cap for "ride".
    """
    seed = 41 if corner.side > 0 else 57
    out = []
    for row in JOINT_MARKERS:
        again = (state == "fitted" and row[0] == 301) + 2 * (state == "ride" and row[0] == 106)
        rng = np.random.default_rng([seed, row[0], int(again)])
        out.append(_joint_marker(row, corner, rng, LARGE_MM, DIRTY.get(row[0], 0.12)))
    for mid, role, body, size, centre, normal, down, roll in FREE_MARKERS:
        rng = np.random.default_rng([seed, mid])
        centre = np.array(centre, float) + rng.uniform(-3, 3, 3) * (1, 0, 1)
        normal, down = np.array(normal, float), np.array(down, float)
        if corner.side < 0:
            centre, normal, down = mirror(centre), mirror(normal), mirror(down)
        R = print_axes(normal, down, roll + rng.uniform(-4, 4))
        out.append(Marker(mid, role, body, size, centre, R, "", 0.0, (0.0, 0.0), False, DIRTY.get(mid, 0.12)))
    again = int(state == "fitted")
    out.append(link_marker(corner, pose_at_rest_of(pose), np.random.default_rng([seed, 216, again])))
    out.extend(hose_markers(pose, corner, np.random.default_rng([seed, 212])))
    if state == "ride":
        out = [m for m in out if m.id in (106, 107, 108, 109)]
    return out


def pose_at_rest_of(pose):
    """The pose itself with the link's ends carried back to the link's rest place."""
    class Rest:
        joints = {}
    back = pose.motions["link"]
    for key in ("link_foot", "bar_eye"):
        Rest.joints[key] = (pose.joints[key] - back.t) @ back.R
    return Rest
