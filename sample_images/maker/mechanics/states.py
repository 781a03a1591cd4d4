"""The states of the demo: how the car stands and where card, plumb strip and markers are.

World frame, mm: z up against gravity, x roughly forward, y roughly left; origin on the
garage floor under the middle of the front axle.
"""
from dataclasses import dataclass, field

import numpy as np

from . import car
from .figures import figures
from .markers import LARGE_MM, Marker, markers_on
from .rigid import Rigid, print_axes, unit, vec

FLOOR_ALONG_DEG, FLOOR_ACROSS_DEG = 0.3, 0.1     # rises forward, rises to the left
STANDS_PITCH_DEG, STANDS_ROLL_DEG = 5.5, 0.6     # nose up, left side up, against gravity
CARD_BOW_MM = 0.4
CARD_W_MM, CARD_H_MM = 252.0, 168.0
PLUMB_APART_MM = 200.0


def attitude(pitch_deg, roll_deg):
    """Rotation chassis -> world: the x axis rises by pitch_deg, the y axis by roll_deg."""
    p, r = np.radians([pitch_deg, roll_deg])
    x = vec(np.cos(p), 0, np.sin(p))
    up = vec(-np.sin(p), 0, np.cos(p))
    y = np.cos(r) * vec(0, 1, 0) + np.sin(r) * up
    return np.column_stack([x, y, np.cross(x, y)])


FLOOR_R = attitude(FLOOR_ALONG_DEG, FLOOR_ACROSS_DEG)


def world_from_chassis(on_stands):
    """The car's place: flat on the floor, or turned up about the rear wheels' contact line."""
    if not on_stands:
        return Rigid(FLOOR_R)
    R = attitude(STANDS_PITCH_DEG, STANDS_ROLL_DEG)
    rear = vec(-car.WHEELBASE_MM, 0, 0)
    return Rigid(R, FLOOR_R @ rear - R @ rear + vec(0, 0, 3.0))


@dataclass
class State:
    """A corner in one state, everything in the world frame (mm) except pose and markers' rest places."""
    key: str
    corner: object
    kind: str
    pose: object
    world: Rigid
    markers: list                       # Marker, with centre and R in the world frame
    joints: dict
    marker_joints: dict
    card: Rigid = None                  # card frame -> world
    plumb_top: np.ndarray = None        # centre of the upper plumb marker
    dots: dict = field(default_factory=dict)

    @property
    def bar_axis(self):
        """Direction of the bar's axis in the world frame."""
        return self.world.R @ self.corner.rest["bar_axis"]

    def figures(self, joints):
        """The true figures for these joint places (world, mm)."""
        return figures(joints, self.world.R[:, 2], self.bar_axis)


def _place(marker, motion, world):
    move = world @ motion
    return Marker(marker.id, marker.role, marker.body, marker.size_mm, move(marker.centre),
                  move.R @ marker.R, marker.joint, marker.standoff_mm, marker.error_mm,
                  marker.cross, marker.dirt)


def pointed_at(marker):
    """What the marker says its joint is: centre (or a plate's cross) + stand-off along z; world, mm."""
    start = marker.centre + (45.0 * marker.R[:, 1] if marker.cross else 0)
    return start + marker.standoff_mm * marker.R[:, 2]


CARD_PLACES = {   # centre (left corner, world), azimuth it faces, lean back, roll; degrees
    "droop": ((-222, 842, 296), 9, 21, 1.2), "set": ((-214, 850, 291), 6, 24, -0.8),
    "fitted": ((-228, 838, 299), 12, 20, 0.7), "ride": ((-210, 905, 150), 8, 27, -1.5),
}
PLUMB_PLACES = {"droop": (-376, 842, 742), "set": (-378, 846, 748), "fitted": (-374, 844, 738),
                "ride": (-366, 852, 566)}


def card_standing(centre, side, azimuth_deg, lean_deg, roll_deg):
    """Card -> world for a card leaning back; azimuth 0 faces straight away from the car's side."""
    a, e = np.radians([azimuth_deg, lean_deg])
    normal = vec(np.sin(a) * np.cos(e), np.cos(a) * np.cos(e) * side, np.sin(e))
    R = print_axes(normal, (0, 0, -1), roll_deg)
    centre = vec(centre[0], centre[1] * side, centre[2])
    return Rigid(R, centre - R @ vec(CARD_W_MM / 2, CARD_H_MM / 2, 0))


def plumb_markers(top, facing):
    """The plumb strip's two markers as hung, turned about the vertical to face a place (world, mm)."""
    flat = (np.asarray(facing) - top) * (1, 1, 0)
    R = print_axes(flat, (0, 0, -1))
    return [Marker(110, "plumb top", "plumb", LARGE_MM, top, R, "", 0.0, (0, 0), False, 0.1),
            Marker(111, "plumb bottom", "plumb", LARGE_MM, top - vec(0, 0, PLUMB_APART_MM), R, "", 0.0,
                   (0, 0), False, 0.1)]


def make_state(corner_name, kind):
    """The State of "front-left" or "front-right" in "droop", "set", "fitted", "ride" or "single"."""
    corner = car.CORNERS[corner_name]
    hub = car.HUB_TO_ARCH_DROOP_MM if kind == "droop" else car.HUB_TO_ARCH_RIDE_MM
    length = car.NEW_LINK_LENGTH_MM if kind == "fitted" else corner.link_length_mm
    pose = car.pose_at_hub_to_arch(corner, hub, length)
    world = world_from_chassis(kind != "ride")
    motions = dict(pose.motions, hose=Rigid())
    placed = [_place(m, motions[m.body], world) for m in markers_on(corner, kind, pose)]
    joints = {k: world(v) for k, v in pose.joints.items() if k in SHOWN_JOINTS}
    said = {m.joint: pointed_at(m) for m in placed if m.joint}
    state = State(f"{corner_name}/{kind}", corner, kind, pose, world, placed, joints, said)
    if kind == "single":
        _make_single(state)
        return state
    where, az, lean, roll = CARD_PLACES[kind]
    state.card = card_standing(where, corner.side, az, lean, roll)
    x, y, z = PLUMB_PLACES[kind]
    state.plumb_top = vec(x, y * corner.side, z)
    return state


SHOWN_JOINTS = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_pivot_rear",
                "arm_ball_joint", "hub", "arch_lip", "sill_front", "sill_rear",
                "hose_a", "hose_b", "hose_c")
DOT_OFFSET_MM, DOT_DIAMETER_MM = 36.0, 12.0


def _make_single(state):
    """Plain round stickers over bush, eye and foot, and the card held in the stickers' plane, its long edge
    set level."""
    j = state.joints
    normal = unit(np.cross(j["link_foot"] - j["bar_eye"], j["bar_bush"] - j["bar_eye"]))
    normal = normal if normal[1] * state.corner.side > 0 else -normal
    R = print_axes(normal, (0, 0, -1))
    rng = np.random.default_rng(77)
    for name in ("bar_bush", "bar_eye", "link_foot"):
        ex, ey = rng.uniform(-1, 1, 2)
        state.dots[name] = j[name] + DOT_OFFSET_MM * normal - ex * R[:, 0] - ey * R[:, 1]
    corner_place = j["link_foot"] + DOT_OFFSET_MM * normal
    flat = lambda x, y: corner_place + R @ vec(x, y, 0)
    state.markers = []
    state.marker_joints = {k: p - DOT_OFFSET_MM * normal for k, p in state.dots.items()}
    state.card = Rigid(R, flat(-300.0, -75.0))
