"""The line drawing of a front-left corner, wheel off, with a marker on every place.

Parts are laid out in a car's own directions (x forward, y left, z up, millimetres from
the hub) and drawn as seen from the front left, a little from above; so the drawing can
be changed by moving a part rather than a line.
"""

from __future__ import annotations

from math import cos, pi, radians, sin

from calib.sheets.palette import BLACK, BLUE, DARK, GREEN, LIGHT, MID, ORANGE, PALE, VERMILION, WHITE

_AZIMUTH, _ELEVATION = radians(17), radians(12)

PLACES = {  # role: where its marker sits in the drawing
    "bar_bush": (190, -220, 60), "bar_eye": (25, -150, 105), "bar": (105, -176, 84),
    "link_foot": (20, -165, -90), "link": (22, -158, 8),
    "arm_pivot_front": (150, -290, -95), "arm_pivot_rear": (-225, -290, -95),
    "arm_ball_joint": (-15, -60, -150), "arm": (-130, -185, -120),
    "hub": (-20, 0, 0), "knuckle": (-114, -5, 45), "arch_lip": (-20, 70, 335),
    "chassis": (-335, -320, 62),
    "sill_front": (-420, 70, -145), "sill_rear": (-690, 70, -145),
    "plumb_top": (450, 90, 185), "plumb_bottom": (450, 90, -15),
    "hose_a": (-205, -130, 205), "hose_b": (-215, -95, 140), "hose_c": (-190, -60, 80),
}
CARD_KEY, STAND_KEY = "card", "stand"
FLOOR_Z = -385
STAND_TOP = (-555, 20, -205)


def seen(point, scale=1.0, origin=(0.0, 0.0)):
    """(x, y, z) -> (right, down) on the paper, times ``scale`` mm per mm, from ``origin``."""
    x, y, z = point
    right = -x * cos(_AZIMUTH) + y * sin(_AZIMUTH)
    up = z * cos(_ELEVATION) - (x * sin(_AZIMUTH) + y * cos(_AZIMUTH)) * sin(_ELEVATION)
    return origin[0] + scale * right, origin[1] - scale * up


def draw_corner(pen, scale, origin):
    """Draw the corner, and return {role: where its marker is on the paper} (mm)."""
    def at(*point):
        return seen(point, scale, origin)

    def places(*keys):
        return [seen(PLACES[key], scale, origin) for key in keys]

    # From the middle of the car outwards, so that what is nearer covers what is behind.
    _draw_rails(pen, at)
    pivot_front, pivot_rear, ball = places("arm_pivot_front", "arm_pivot_rear", "arm_ball_joint")
    for pivot in (pivot_rear, pivot_front):
        pen.tube(pivot, ball, thick=4.2, fill="#bfe5d9")
    _draw_strut(pen, at)

    bush, eye, foot = places("bar_bush", "bar_eye", "link_foot")
    pen.tube(at(190, -420, 60), at(190, -185, 60), at(180, -172, 64), eye, thick=3.2,
             fill="#b8d8ea")
    pen.tube(eye, foot, thick=2.2, fill="#f7dfae")
    for joint, colour in ((eye, ORANGE), (foot, ORANGE), (ball, GREEN), (bush, BLUE)):
        pen.circle(joint, 3.4, fill=WHITE, colour=colour, thick=0.7)

    _draw_upright(pen, at)
    hose = [at(-215, -200, 300), *places("hose_a", "hose_b", "hose_c"), at(-125, -30, 55)]
    pen.line(*hose, thick=1.5, colour=BLACK)
    pen.line(*hose, thick=0.7, colour=VERMILION)
    _draw_car(pen, at)
    _draw_plumb(pen, at)
    card = _draw_card(pen, at)
    spots = {key: seen(point, scale, origin) for key, point in PLACES.items()}
    for spot in spots.values():
        _draw_icon(pen, spot)
    return {**spots, CARD_KEY: card, STAND_KEY: at(*STAND_TOP[:2], -290)}


def _draw_rails(pen, at):
    """What the inner joints are fixed to: a chassis leg, and the subframe below it."""
    leg = (at(330, -320, 120), at(-390, -320, 120), at(-390, -320, 5), at(330, -320, 5))
    pen.shape(leg, fill=PALE, colour=LIGHT)
    pen.tube(at(200, -300, -95), at(-280, -300, -95), thick=3.4, fill=PALE, colour=MID)


def _draw_car(pen, at):
    """Arch, wing, sill and floor: enough of a car to know which way it faces."""
    lip = [at(-20 + 335 * cos(a * pi / 40), 70, 335 * sin(a * pi / 40)) for a in range(-5, 46)]
    body = [at(350, 70, -130), at(530, 60, -110), at(550, 60, 100), at(520, 60, 260),
            at(120, 60, 400), at(-470, 60, 425), at(-790, 60, 428), at(-790, 70, -75),
            at(-360, 70, -75)]
    pen.shape(lip[::-1] + body, fill="#f4f4f4")
    pen.line(*body[:-3], thick=0.35, colour=LIGHT)
    pen.line(at(560, 150, FLOOR_Z), at(-820, 150, FLOOR_Z), thick=0.35, colour=MID)
    sill = (at(-790, 70, -75), at(-355, 70, -75), at(-380, 70, -200), at(-790, 70, -200))
    pen.shape(sill, fill=PALE)
    pen.line(*sill, thick=0.4, colour=DARK)
    pen.line(*lip, thick=0.9, colour=DARK)
    # The sill goes on: a break in it says so.
    broken = [at(-790 + dx, 70, z) for dx, z in ((0, -50), (0, -115), (-18, -130), (18, -155),
                                                 (0, -170), (0, -225))]
    pen.line(*broken, thick=0.35, colour=DARK)
    top, foot = at(*STAND_TOP), at(*STAND_TOP[:2], FLOOR_Z + 10)
    pen.shape((top, (top[0] + 2, top[1]), (foot[0] + 8, foot[1]), (foot[0] - 8, foot[1]),
               (top[0] - 2, top[1])), fill=WHITE, colour=DARK, thick=0.4)
    pen.rect(top[0] - 4, top[1], 8, 2, fill=WHITE, colour=DARK, thick=0.4)


def _draw_strut(pen, at):
    pen.tube(at(-55, -110, 60), at(-70, -190, 330), thick=3.6, fill=WHITE, colour=MID)
    coils = []
    for n in range(10):
        side = 42 if n % 2 else -42
        coils.append(at(-62 + side, -150 - 4 * n, 150 + 18 * n))
    pen.line(*coils, thick=1.0, colour=LIGHT)


def _draw_upright(pen, at):
    """Knuckle and hub; the disc only as an outline, or it would hide the rest."""
    outline = [at(-20 + 120 * cos(a * pi / 30), -5, 120 * sin(a * pi / 30)) for a in range(61)]
    pen.line(*outline, thick=0.3, colour=MID, dash=(1.6, 1.2))
    pen.tube(at(-15, -60, -130), at(-22, -40, 0), at(-50, -100, 110), thick=4.6, fill=WHITE)
    caliper = [at(-20 - r * cos(a), -5, r * sin(a)) for r, a in
               ((80, 0.1), (128, 0.1), (128, 0.45), (128, 0.8), (80, 0.8), (80, 0.45))]
    pen.shape(caliper, fill=WHITE, colour=DARK, thick=0.5)
    hub = at(-20, 0, 0)
    pen.circle(hub, 6.5, fill=WHITE, colour=DARK, thick=0.5)
    for n in range(5):
        angle = 2 * pi * n / 5
        pen.circle((hub[0] + 4.9 * sin(angle), hub[1] - 4.9 * cos(angle)), 0.6, fill=DARK,
                   colour=None)


def _draw_plumb(pen, at):
    top, weight = at(450, 90, 320), at(450, 90, -120)
    pen.line(top, weight, thick=0.3, colour=DARK)
    strip_top, strip_bottom = at(450, 90, 235), at(450, 90, -65)
    pen.rect(strip_top[0] - 3.6, strip_top[1], 7.2, strip_bottom[1] - strip_top[1], fill=WHITE,
             colour=DARK, thick=0.35)
    x, y = weight
    pen.shape(((x, y - 3), (x + 2.4, y), (x, y + 5), (x - 2.4, y)), fill=DARK)


def _draw_card(pen, at):
    """The card, leaning; returns the middle of it."""
    top, low = FLOOR_Z + 172, FLOOR_Z + 12
    corners = [at(30, 95, top), at(-220, 95, top), at(-220, 165, low), at(30, 165, low)]

    def inside(u, v):
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners
        return (ax * (1 - u) * (1 - v) + bx * u * (1 - v) + cx * u * v + dx * (1 - u) * v,
                ay * (1 - u) * (1 - v) + by * u * (1 - v) + cy * u * v + dy * (1 - u) * v)

    pen.shape(corners, fill=WHITE, colour=DARK, thick=0.5)
    for row in range(6):
        for column in range(row % 2, 9, 2):
            u, v = 0.04 + column * 0.92 / 9, 0.06 + row * 0.88 / 6
            pen.shape((inside(u, v), inside(u + 0.92 / 9, v), inside(u + 0.92 / 9, v + 0.88 / 6),
                       inside(u, v + 0.88 / 6)), fill=DARK)
    return inside(0.5, 0.5)


def _draw_icon(pen, spot):
    """A marker in small: not a tag that anything could read."""
    x, y = spot
    pen.rect(x - 2.3, y - 2.3, 4.6, 4.6, fill=WHITE, colour=MID, thick=0.15)
    pen.rect(x - 1.7, y - 1.7, 3.4, 3.4, fill=BLACK)
    pen.rect(x - 0.7, y - 0.7, 1.4, 1.4, fill=WHITE)
