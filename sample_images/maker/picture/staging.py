"""Puts a state's scene together: car, markers, card, plumb strip, props and lights."""
import numpy as np

from ..mechanics.rigid import Rigid, mirror, unit, vec
from ..mechanics.states import CARD_BOW_MM, DOT_DIAMETER_MM, plumb_markers
from . import bodywork, garage, prints, running_gear
from .parts import Parts
from .render import Scene
from .shapes import box, lathe, rod, sheet, smooth_path, tube


def left_handed(corner, items):
    """Joint dictionaries as on the left-hand side (rest places or present ones, chassis frame)."""
    if corner.side > 0:
        return dict(items)
    out = {k: mirror(v) for k, v in items.items()}
    if "bar_axis" in out:
        out["bar_axis"] = -out["bar_axis"]
    return out


def _flip(R):
    m = np.diag([1.0, -1, 1])
    return m @ R @ m


def print_face(parts, frame, box_mm, index, rows=1):
    """A print's paper: a plane (or the bowed card, rows > 1) and a thin stiff backing."""
    x0, y0, x1, y1 = box_mm
    xs = np.linspace(x0, x1, rows + 1)
    bow = CARD_BOW_MM * ((xs - 126) / 126) ** 2 if rows > 1 else 0 * xs
    grid = np.stack([np.stack([xs, np.full_like(xs, y), bow], -1) for y in (y0, y1)])
    V, F = sheet(frame(grid))
    parts.add((V, F), "print", print_index=index, crease_deg=80)
    back = Parts()
    c = frame(vec((x0 + x1) / 2, (y0 + y1) / 2, (bow.max() + 1.8)))
    back.add(box(c, (x1 - x0 - 0.3, y1 - y0 - 0.3, 2.6), frame.R, 0.3), "board")
    parts.rows += back.rows


def markers_and_holders(parts, markers):
    """Paper, backing and what holds it: a peg towards the joint, or the stud's nut through a plate."""
    for k, m in enumerate(markers):
        frame = Rigid(m.R, m.centre)
        print_face(parts, frame, prints.paper_of(m), k)
        z = m.R[:, 2]
        if m.cross:
            c = frame(vec(0, 45, 0))
            parts.add(rod(c - 7 * z, c, 9, 6), "zinc", crease_deg=20)
            parts.add(rod(c - 12 * z, c, 5, 18), "zinc")
            parts.add(rod(c - 1.2 * z, c, 11.5, 28), "zinc", crease_deg=30)
        elif m.body not in ("plumb", "hose") and m.id not in (107, 108, 109):
            depth = max(m.standoff_mm - 12, 12)
            parts.add(rod(m.centre + 3 * z, m.centre + depth * z, 7, 18), "black steel")


def plumb_strip(parts, markers, hook):
    """A rigid strip behind the two plumb markers, hung by a string from hook, with a weight below."""
    top = next(m for m in markers if m.id == 110)
    frame = Rigid(top.R, top.centre)
    parts.add(box(frame(vec(0, 100, 4.0)), (44, 288, 2.0), top.R, 0.5), "white tin")
    hole = frame(vec(0, -38, 3))
    parts.add(rod(hole, (hole[0], hole[1], hook[2]), 1.1, 8), "string")
    parts.add(tube(smooth_path([(hole[0], hole[1], hook[2]), hook + (0, 0, 4)], 8), 1.1, 8), "string")
    low = frame(vec(0, 244, 4))
    parts.add(lathe([(0, 0), (3, 0), (14, -16), (16, -48), (12, -60), (0, -66)], low, (0, 0, 1), 36), "brass")


def card_holders(parts, state, index):
    """The card itself and what it stands on."""
    print_face(parts, state.card, prints.CARD_PAPER_MM, index, rows=64)
    if state.kind == "single":
        e = state.card(vec(126, 192, 6))
        parts.add(rod(state.card(vec(126, 150, 9)), e - (0, 60, 0), 6, 16), "wood")
        parts.add(rod(e - (0, 60, 0), (e[0], e[1] - 60, 0), 6, 16), "wood")
        parts.add(box((e[0], e[1] - 60, garage.floor_z(e[0], e[1]) + 40), (160, 120, 80)), "wood")


def dots(parts, state):
    """Plain round stickers in the card's plane on pegs from the joints."""
    n = -state.card.R[:, 2]
    for p in state.dots.values():
        parts.add(rod(p - 34 * n, p - 1.2 * n, 15, 32), "black steel", crease_deg=30)
        parts.add(rod(p - 1.6 * n, p - 0.6 * n, 17, 48), "rubber", crease_deg=30)
        ang = np.linspace(0, 2 * np.pi, 128, endpoint=False)
        u, v = state.card.R[:, 0], state.card.R[:, 1]
        V = p + DOT_DIAMETER_MM / 2 * (np.cos(ang)[:, None] * u + np.sin(ang)[:, None] * v)
        F = np.column_stack([np.full(128, 128), np.arange(128), (np.arange(128) + 1) % 128])
        parts.add((np.vstack([V, p]), F), "sticker")


def rect_light(centre, normal, width, height, colour):
    """A one-sided shining rectangle for the light's tracer; width lies level, mm."""
    import mitsuba as mi
    z = unit(normal)
    x = unit(np.cross((0, 0, 1.0) if abs(z[2]) < 0.9 else (0, 1.0, 0), z))
    y = np.cross(z, x)
    M = np.eye(4)
    M[:3, 0], M[:3, 1], M[:3, 2], M[:3, 3] = x * width / 2, y * height / 2, z, centre
    return {"type": "rectangle", "to_world": mi.ScalarTransform4f(M.tolist()),
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": list(colour)}}}


def garage_lights(side, mood):
    """Open door behind the photographer, ceiling tubes and a lamp on the floor; mood varies them."""
    rng = np.random.default_rng([8, mood])
    day = rng.uniform(0.8, 1.3)
    out = [rect_light((-900 + rng.uniform(-500, 500), 5000 * side, 1250), (0, -side, 0), 2600, 2000,
                      np.array([0.95, 1.05, 1.2]) * 2.6 * day)]
    for x in (-2600, -300, 1900):
        out.append(rect_light((x, 1150 * side, 2640), (0, 0, -1), 1400, 90, np.array([1.05, 1.0, 0.88]) * 22))
        out.append(rect_light((x, -1100 * side, 2640), (0, 0, -1), 1400, 90,
                              np.array([1.05, 1.0, 0.88]) * 16))
    lamp = vec(760 + rng.uniform(-80, 80), (1420 + rng.uniform(-80, 80)) * side, rng.uniform(900, 1250))
    out.append(rect_light(lamp, vec(80, 560 * side, 560) - lamp, 260, 160, np.array([1.0, 1.0, 0.95]) * 22))
    return out


def rags(parts):
    """Two rags left hanging: one over the bar's eye, one over the plumb strip's top (left side, droop)."""
    for (x, y, z), w, h in (((112, 612, 622), 150, 150), ((-378, 868, 742), 120, 150)):
        u, v = np.meshgrid(np.linspace(-0.5, 0.5, 26), np.linspace(-0.5, 0.5, 26))
        fold = 9 * np.sin(7 * u + 2.2 * v) + 5 * np.sin(15 * u - 4 * v + 1) + 22 * np.maximum(v - 0.3, 0) * -4
        skew = 1 - 0.25 * np.maximum(v, 0) + 0.08 * np.sin(5 * v)
        grid = np.stack([x + w * u * skew + 8 * np.sin(4 * v), y + fold, z + h * v + 7 * np.sin(6 * u)], -1)
        parts.add(sheet(grid), "rag", crease_deg=70)


def stage(state, facing, without_card=False, with_rags=False):
    """Scene for a state seen from `facing` (world, mm), and the markers in it: (Scene, markers)."""
    corner, side = state.corner, state.corner.side
    car_parts = Parts()
    bodywork.body(car_parts)
    running_gear.all_gear(
        car_parts, left_handed(corner, corner.rest), left_handed(corner, state.pose.joints),
        state.pose.hose_curve * (1, side, 1),
        {k: Rigid(_flip(m.R), mirror(m.t)) if side < 0 else m
         for k, m in state.pose.motions.items()}, state.kind == "ride")
    if side < 0:
        car_parts = car_parts.mirrored()
    world = Parts()
    garage.room(world)
    garage.furniture(world)
    left_world = Rigid(_flip(state.world.R), mirror(state.world.t)) if side < 0 else state.world
    if state.kind != "ride":
        garage.stand(world, left_world((-575, 735, 150)))
        garage.loose_wheel(world)
    if state.kind in ("set", "fitted", "single"):
        ball_place = state.joints["arm_ball_joint"] * (1, side, 1)
        garage.bottle_jack(world, ball_place - (4, 0, 27))
    if state.card is not None and not without_card and state.kind != "single":
        card_left = state.card if side > 0 else Rigid(
            np.diag([1.0, -1, 1]) @ state.card.R @ np.diag([-1.0, 1, 1]), mirror(state.card(vec(252, 0, 0))))
        garage.crate(world, card_left)
    if with_rags:
        rags(world)
    if side < 0:
        world = world.mirrored()
    markers = list(state.markers)
    if state.plumb_top is not None:
        markers += plumb_markers(state.plumb_top, facing)
    markers_and_holders(world, markers)
    if state.plumb_top is not None:
        up = state.plumb_top[2] + 40
        hook_z = max(up + 60, state.world(vec(-385, 800 * side, 640))[2])
        plumb_strip(world, markers, vec(state.plumb_top[0], state.plumb_top[1] - 44 * side, hook_z))
    card = state.card if not without_card else None
    if card is not None:
        card_holders(world, state, len(markers))
    if state.dots:
        dots(world, state)
    motions = {k: state.world @ m for k, m in state.pose.motions.items()}
    both = Parts()
    both.rows = car_parts.rows + world.rows
    mood = sum(map(ord, state.key)) % 7
    return Scene(both.soup(motions), markers, card, garage_lights(side, mood)), markers
