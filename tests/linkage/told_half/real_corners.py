"""Random corners as cars have them, each whole: knuckle held at its top and by a tie rod, hub outboard, studs,
thicknesses, a hose that goes on beyond its markers.  What is then not told is left out of what was measured.

The truth does not come from what the program takes for the unknown: tops, arms and tie rods are placed as they
are on cars (common practice, no source), and what the knuckle does follows from them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from photoangle.linkage.corner import Corner, KnownDirection, Taped, turn_lever
from photoangle.linkage.kinematics.knuckle import arm_angle_for_ball_rise, knuckle_at
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.mechanism import _with_part, position
from photoangle.linkage.travel import Travel, quantities, ride_rise
from tests.linkage.reference.frames import from_world

TRAVEL = Travel(-50, 40, steps=10)
HOSES = ("hose_a", "hose_b", "hose_c")
OPTIONAL = ("top", "tie rod", "hub", "pivot", "radii", "studs", "hose on", "hose marker", "second hose", "hose leads away")


@dataclass(frozen=True)
class Real:
    """A corner's truth: corner: without uncertainty, at droop; hose: points over the whole hose (k, 3) there,
    its markers' rows, and how much of the knuckle's movement each follows; radius_mm, studs; ride_mm: the
    hub's rise to ride height."""

    corner: Corner
    hose: np.ndarray
    marked: dict
    shares: np.ndarray
    bulge: np.ndarray
    radius_mm: dict
    ride_mm: float

    def at(self, rise_mm: np.ndarray, change_mm: float = 0.0) -> dict[str, np.ndarray]:
        """Every quantity, and the whole hose's gaps, at hub rises (t,) from droop; name -> (t,)."""
        layout = self.layout
        link = np.linalg.norm(layout.at["bar_eye"] - layout.at["link_foot"], axis=-1) + change_mm
        out = {k: v[0] for k, v in quantities(layout, rise_mm, link).items()}
        place = position(layout, rise_mm, link)
        hose = self.hose_at(place)
        for name, a, b in (("gap_eye", place.eye, place.eye), ("gap_link", place.eye, place.foot),
                           ("gap_arm", place.eye, layout.at["bar_bush"] + 0 * place.eye)):
            thing = {"gap_eye": "eye", "gap_link": "link", "gap_arm": "bar"}[name]
            out[name] = _nearest(hose, a[0], b[0]) - self.radius_mm[thing] - self.radius_mm["hose"]
        return out

    @property
    def leads_away(self) -> bool:
        """Whether the hose comes no nearer to eye, link and bar arm, anywhere in the travel, than between its
        markers."""
        layout = self.layout
        place = position(layout, truth_rise(self)[None])
        hose, low, high = self.hose_at(place), min(self.marked.values()), max(self.marked.values())
        bush = layout.at["bar_bush"][0] + 0 * place.eye[0]
        return all((_nearest(hose[:, low:high + 1], a, b) <= _nearest(hose, a, b) + 0.5).all()
                   for a, b in ((place.eye[0],) * 2, (place.eye[0], place.foot[0]), (place.eye[0], bush)))

    def hose_at(self, place):
        """The hose (t, k, 3) at a position: each point follows its share of the knuckle, and bulges aside."""
        carried = np.stack([place.knuckle.carried(p[None, None])[0] for p in self.hose], 1)
        moved = carried - self.hose
        size = np.linalg.norm(moved, axis=-1, keepdims=True)
        return self.hose + self.shares[:, None] * moved + size * self.bulge

    @property
    def layout(self) -> Layout:
        return self.corner.nominal()


def _nearest(hose, a, b):
    """Least distance (t,) of a finely drawn hose (t, k, 3) from segments a-b (t, 3)."""
    line = (b - a)[:, None]
    size = np.maximum((line * line).sum(-1), 1e-12)
    along = np.clip(((hose - a[:, None]) * line).sum(-1) / size, 0, 1)
    return np.linalg.norm(hose - a[:, None] - along[..., None] * line, axis=-1).min(1)


def real_corner(rng, foot_on: str, kind: str | None = None) -> Real:
    """A random corner of a car on its droop stop; kind: "wishbone" or "strut" (a strut's foot is on one)."""
    kind = "strut" if foot_on == "strut" else kind or str(rng.choice(["wishbone", "strut"]))
    u = rng.uniform
    length, ride_angle, rise = u(280, 400), np.radians(u(-4, 11)), u(45, 75)
    # the arm's angle at droop, so that it stands at ride_angle below level at ride height
    drop = np.arcsin(np.clip(np.sin(ride_angle) + rise / length, -0.75, 0.75))
    pivot = np.array([0.0, u(230, 300), -30.0])
    ball = pivot + length * np.array([0.0, np.cos(drop), -np.sin(drop)]) + [u(-40, 40), 0, 0]
    climb = np.radians(u(-3, 3))
    axis = np.array([np.cos(climb), np.radians(u(-4, 4)), np.sin(climb)])
    at = {"arm_pivot_front": pivot + u(60, 160) * axis, "arm_pivot_rear": pivot - u(60, 200) * axis,
          "arm_ball_joint": ball}
    caster, lean = np.tan(np.radians(u(2, 8))), np.tan(np.radians(u(7, 15)))
    if kind == "strut":
        up = u(470, 680)
        at["strut_top"] = ball + up * np.array([-caster, -lean, 1.0])
        at["strut_low"] = ball + np.array([u(-15, 15), u(-35, 35), 0.0])
        steer_at = u(100, 180)
    else:
        up = u(190, 330)
        top = ball + up * np.array([-caster, -lean, 1.0])
        # the upper arm hangs less than the lower one, mostly: that is what gains camber
        hangs = drop - np.radians(u(-1, 9))
        inner = top + u(0.6, 0.95) * length * np.array([0, -np.cos(hangs), np.sin(hangs)])
        upper = np.array([1.0, np.radians(u(-4, 4)), np.tan(climb + np.radians(u(-4, 4)))])
        at |= {"upper_ball_joint": top, "upper_pivot_front": inner + 100 * upper,
               "upper_pivot_rear": inner - 100 * upper}
        steer_at = u(40, 120)
    at["hub"] = ball + [u(-10, 10), u(45, 115), u(60, 160)]
    at["arch_lip"] = at["hub"] + [0, 30, u(370, 430)]
    at |= _tie_rod(rng, at, ball + np.array([-u(90, 140), u(-30, 10), steer_at]), length, drop, rise, foot_on)
    foot = {"control arm": pivot + u(0.5, 0.85) * (ball - pivot) + [u(-30, 30), 0, u(10, 35)],
            "strut": ball + np.array([u(-80, 80), -u(10, 80), u(180, 330)]),
            "knuckle": ball + np.array([u(-80, 80), -u(0, 70), u(20, 140)])}[foot_on]
    at["link_foot"] = foot
    link = u(90, 260)
    side = np.array([np.tan(np.radians(u(-12, 12))), np.tan(np.radians(u(-15, 15))), 1.0])
    eye = foot + link * side / np.linalg.norm(side)
    ahead = float(rng.choice([-1.0, 1.0]))
    arm = np.radians(u(-25, 10))  # at droop, eye against bush
    bush = eye + u(170, 280) * np.array([-ahead * np.cos(arm), 0, -np.sin(arm)]) + [0, -u(30, 90), 0]
    at |= {"bar_eye": eye, "bar_bush": bush, "bar_bush_far": bush * [1, -1, 1] + [u(-3, 3), 0, u(-3, 3)]}
    hose, marked, shares, bulge = _hose(rng, at, eye, foot)
    at |= {name: hose[row] for name, row in marked.items()}
    names = tuple(at)
    arch = at["arch_lip"][2] - at["hub"][2]
    points = np.array([at[n] for n in names]) - bush
    radius = {"eye": u(9, 18), "link": u(5, 11), "hose": u(4.5, 8), "bar": u(8, 13)}
    studs = {"bar_eye": _stud(rng, eye - foot), "link_foot": _stud(rng, eye - foot)}
    corner = Corner("front-left", "droop", names, points, {"pixels": np.zeros((3 * len(names),) * 2)}, foot_on,
                    hub_to_arch_mm={"droop": Taped(arch, 0.0), "ride": Taped(arch - rise, 0.0)},
                    radius_mm=radius, stud=studs, hub_differs_within=0.0)
    return Real(corner, hose - bush, marked, shares, bulge, radius, rise)


def _tie_rod(rng, at, outer, length, drop, rise, foot_on):
    """A tie rod as its maker set it: its inner end's height such that it steers little over the travel."""
    inner = outer + np.array([rng.uniform(-20, 20), -rng.uniform(0.8, 1.05) * length, 0.0])
    wanted, size = np.radians(rng.normal(0, 0.007)) * rise, abs(inner[1] - outer[1])
    heights = outer[2] + size * np.sin(drop) + np.array([-25.0, 25.0])
    for _ in range(6):
        steer = [_steer(at | {"tie_rod_outer": outer, "tie_rod_inner": np.array([*inner[:2], z])}, rise, foot_on)
                 for z in heights]
        new = heights[1] - (steer[1] - wanted) * (heights[1] - heights[0]) / (steer[1] - steer[0])
        if abs(new - heights[1]) < 0.01:
            break
        heights = np.array([heights[1], new])
    return {"tie_rod_outer": outer, "tie_rod_inner": np.array([*inner[:2], heights[1]])}


def _steer(at, rise, foot_on):
    """What the knuckle steers by, rad, while its ball joint rises."""
    points = {k: v[None, None] for k, v in at.items()}
    axis = points["arm_pivot_front"] - points["arm_pivot_rear"]
    layout = Layout(points, axis, axis / np.linalg.norm(axis), foot_on)
    turn = knuckle_at(layout, arm_angle_for_ball_rise(layout, np.array([[rise]]))).rotation[0, 0]
    return np.arctan2(-turn[0, 1], turn[1, 1])


def _stud(rng, link):
    """Across the car, more or less, and within what its joint allows as the link stands."""
    while True:
        stud = np.array([np.radians(rng.normal(0, 9)), 1.0, np.radians(rng.normal(0, 9))])
        tilt = np.degrees(np.arcsin(abs(stud @ link) / np.linalg.norm(stud) / np.linalg.norm(link)))
        if tilt < 22:
            return KnownDirection.within(stud, 0.0)


def _hose(rng, at, eye, foot):
    """A hose from chassis to knuckle, past eye and link, and three marked places about the nearest one."""
    u = rng.uniform
    start = eye + [u(-90, 90), -u(20, 110), u(80, 200)]
    end = at["arm_ball_joint"] + [u(-60, 60), u(-30, 30), u(80, 170)]
    middle = (eye + foot) / 2 + rng.choice([-1, 1]) * np.array([u(25, 120), 0, 0]) + [0, u(-40, 60), u(-40, 40)]
    t = np.linspace(0, 1, 121)[:, None]
    control = 2 * middle - (start + end) / 2
    curve = (1 - t)**2 * start + 2 * t * (1 - t) * control + t**2 * end
    shares = np.clip(t[:, 0] ** u(0.6, 1.8), 0, 1)
    bulge = (4 * t * (1 - t)) * rng.normal(0, 0.07, 3)
    # marked where it passes the eye, where it passes the link, and once more before, between or after
    apart = np.linalg.norm(np.diff(curve, axis=0), axis=1).mean()
    by_link = [np.linalg.norm(curve - eye - s * (foot - eye), axis=1) for s in np.linspace(0.1, 1, 9)]
    rows = [int(np.argmin(np.linalg.norm(curve - eye, axis=1))), int(np.argmin(np.min(by_link, 0)))]
    rows = [int(np.clip(r + u(-15, 15) / apart, 0, 120)) for r in rows]
    low, high = min(rows), max(rows)
    middle = [(low + high) // 2] if (high - low) * apart > 60 else []
    around = [r for r in (low - round(40 / apart), high + round(40 / apart)) if 0 <= r <= 120]
    rows = sorted([low, min(max(high, low + 1), 120), int(rng.choice(middle + around))])
    return curve, dict(zip(HOSES, rows, strict=True)), shares, bulge


def measured(real: Real, rng, told: frozenset[str] = frozenset(OPTIONAL), u_mm: float = 0.6,
             tape_u_mm: float = 0.8, state: str = "droop") -> Corner:
    """The corner as someone measures it who tells of OPTIONAL only what is in ``told``.

    state: "droop", or "set" (within 2 mm of ride height).
    """
    corner, rise = real.corner, 0.0
    layout = real.layout
    if state == "set":
        rise = real.ride_mm + rng.uniform(-2, 2)
    place = position(layout, np.array([[rise]]))
    at = _points_at(real, layout, place)
    there = {"top": ("strut_top", "strut_low", "upper_ball_joint", "upper_pivot_front", "upper_pivot_rear"),
             "tie rod": ("tie_rod_outer", "tie_rod_inner"), "hub": ("hub", "arch_lip"),
             "pivot": ("arm_pivot_rear",)}
    for what, names in there.items():
        if what not in told:
            at = {k: v for k, v in at.items() if k not in names}
    second = None
    if "second hose" in told:
        other = position(layout, np.array([[real.ride_mm if state == "droop" else 0.0]]))
        hose = real.hose_at(other)[0]
        at |= {f"{n}_second": hose[row] for n, row in real.marked.items()}
        second = "set" if state == "droop" else "droop"
    hidden = HOSES[int(rng.integers(3))]
    if "hose marker" not in told:
        # hidden in this state: it shows in the other alone, or in none
        at.pop(hidden, None)
    names = tuple(at)
    truth = np.array([at[n] for n in names]) - at["bar_bush"]
    turn = np.diag([0.1, 0.1, 0.3]) ** 2 * np.radians(1.0) ** 2
    _, tilt = from_world(names, truth, {}, np.eye(3), {"chassis": turn})
    size = truth.size
    sources = {"pixels": np.eye(size) * u_mm**2, **tilt}
    # each point's noise is its own, so that leaving another out leaves it as it was
    seed = int(rng.integers(2**31))
    own = np.array([_noise(seed, n, u_mm, 3) for n in names])
    lever = turn_lever(truth) @ np.random.default_rng([seed]).multivariate_normal(np.zeros(3), turn)
    seen = truth.ravel() + own.ravel() + lever
    arch0 = corner.hub_to_arch_mm["droop"].value_mm
    arch = {state: arch0 - rise, "ride": arch0 - real.ride_mm}
    if second is not None:
        arch[second] = arch0 - (real.ride_mm if second == "set" else 0.0)
    hose_on = {}
    if "hose on" in told:
        for name, row in real.marked.items():
            share = real.shares[row]
            hose_on[name] = "chassis" if share < 0.2 else "knuckle" if share > 0.8 else "mid"
    stud = {}
    if "studs" in told:
        stud = {joint: KnownDirection.within(_carried(layout, place, joint, d.vector), 2.0)
                for joint, d in corner.stud.items()}
        stud = {joint: replace(d, vector=d.vector + np.radians(_noise(seed, joint, 2.0, 3)))
                for joint, d in stud.items()}
    return Corner("front-left", state, names, seen.reshape(-1, 3), sources, corner.link_foot_on,
                  hub_to_arch_mm={k: Taped(v + _noise(seed, k, tape_u_mm, 1).item(), tape_u_mm)
                                  for k, v in arch.items()},
                  hose_on=hose_on, radius_mm=dict(real.radius_mm) if "radii" in told else {}, stud=stud,
                  hose_leads_away="hose leads away" in told and real.leads_away,
                  second_state={n: second for n in HOSES} if second else {})


def _noise(seed, name, sigma, count):
    """Noise that belongs to one reading, whatever else is read."""
    return np.random.default_rng([seed, *name.encode()]).normal(0, sigma, count)


def _points_at(real, layout, place):
    """Every named point (3,) with the corner at a position."""
    on_knuckle = {"hub", "upper_ball_joint", "tie_rod_outer", "strut_low"}
    out = {}
    for name in real.corner.names:
        p = layout.at[name]
        if name == "arm_ball_joint":
            p = place.knuckle.ball
        elif name == "bar_eye":
            p = place.eye
        elif name == "link_foot":
            p = place.foot
        elif name in on_knuckle:
            p = place.knuckle.carried(p)
        out[name] = np.asarray(p)[0, 0]
    hose = real.hose_at(place)[0]
    out |= {n: hose[row] for n, row in real.marked.items()}
    return out


def _carried(layout, place, joint, direction):
    return _with_part(layout, place, joint, np.asarray(direction, float)[None, None])[0, 0]


def truth_rise(real: Real) -> np.ndarray:
    """Hub rises (t + 1,) from droop over TRAVEL and at ride height itself."""
    exact = real.layout
    return np.append(ride_rise(exact, TRAVEL) + TRAVEL.steps_mm, ride_rise(exact, TRAVEL))
