"""What a corner's samples take in place of what nobody measured: knuckle, hub, studs, thicknesses, hose.

Each is drawn as widely as the garage has it (`core.assumed`), from a source of its own, so that it stands in
every budget by its name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.assumed import (
    BAR_RADIUS_MM,
    BUMP_STEER_DEG_PER_MM,
    CAMBER_BENDS_DEG_PER_SQUARE_MM,
    CAMBER_DEG_PER_MM,
    CASTER_DEG_PER_MM,
    EYE_RADIUS_MM,
    HOSE_BENDS_DEG,
    HOSE_BEYOND_MM,
    HOSE_RADIUS_MM,
    HUB_FROM_BALL_MM,
    LINK_RADIUS_MM,
    STRUT_LEANS_DEG,
    STRUT_LOW_ASIDE_MM,
    STRUT_TOP_UP_MM,
    STRUT_TRAILS_DEG,
    STUD_TILT_DEG,
    UPPER_AXIS_DEG,
)
from photoangle.core.roles import ARM_BALL_JOINT, BAR_EYE, HOSES, HUB, LINK_FOOT
from photoangle.linkage.draw import Draw
from photoangle.linkage.kinematics.hose import SHARES
from photoangle.linkage.kinematics.layout import HoseDraw, KnuckleTurn
from photoangle.linkage.kinematics.turning import cross, swung, unit

# Sources, as budgets name them
KNUCKLE, HUB_AT, STUD, RADIUS, HOSE = "knuckle's turn", "hub's place", "stud", "thickness", "hose"
_RADII = {"eye": EYE_RADIUS_MM, "link": LINK_RADIUS_MM, "hose": HOSE_RADIUS_MM, "bar": BAR_RADIUS_MM}
_LEAST_REACH_MM = 30.0


def with_hub(draw: Draw, at: dict[str, Array], outboard: float) -> dict[str, Array]:
    """The points, with the hub where it was not measured: outboard and above the ball joint."""
    if HUB in at:
        return at
    ahead, out, up = (draw.between(HUB_AT, limits) for limits in HUB_FROM_BALL_MM)
    return at | {HUB: at[ARM_BALL_JOINT] + np.stack([ahead, outboard * out, up], -1)}


@dataclass(frozen=True)
class KnuckleDraw:
    """What stands for the knuckle's unknowns: points by name, and the rest as in `Layout`."""

    points: dict[str, Array]
    turn: KnuckleTurn | None
    steer_rate: Array | float
    upper_axis: Array | None


def knuckle(draw: Draw, at: Mapping[str, Array], arm_axis: Array, outboard: float, foot_on: str,
            hub_differs_within: float | None = None) -> KnuckleDraw:
    """What is taken of the knuckle where its top, its tie rod or the strut's line were not given.

    at: points (n, 1, 3), the hub among them; arm_axis (n, 1, 3); outboard: 1 on the left, -1 on the right;
    foot_on: one of `layout.FEET`; hub_differs_within: the hub's rise against the ball joint's as the user has
    it, as a share, or None.
    """
    from_strut = foot_on == "strut" or "strut_top" in at
    steered = {"tie_rod_outer", "tie_rod_inner"} <= set(at)
    steer = 0.0 if steered else _per_mm(draw, BUMP_STEER_DEG_PER_MM)
    if {"upper_ball_joint", "upper_pivot_front"} <= set(at):
        climbs = np.diag([0.0, 1.0, 1.0]) * np.radians(UPPER_AXIS_DEG)**2
        vector = draw.normal(KNUCKLE, climbs)[:, None]
        return KnuckleDraw({}, None, steer, arm_axis + swung(vector, arm_axis))
    if from_strut:
        return KnuckleDraw(_strut(draw, at, outboard), None, steer, None)
    reach = np.maximum(outboard * (at[HUB] - at[ARM_BALL_JOINT])[..., 1], _LEAST_REACH_MM)
    if hub_differs_within is None:
        camber, bend = np.radians(draw.between(KNUCKLE, CAMBER_DEG_PER_MM)), CAMBER_BENDS_DEG_PER_SQUARE_MM
    else:
        camber, bend = draw.rectangular(KNUCKLE, hub_differs_within) / reach, 0.0
    caster, toe = _per_mm(draw, CASTER_DEG_PER_MM), _per_mm(draw, BUMP_STEER_DEG_PER_MM)
    rate = np.stack([outboard * camber, caster, toe], -1)
    return KnuckleDraw({}, KnuckleTurn(rate, np.radians(draw.rectangular(KNUCKLE, bend))), 0.0, None)


def _per_mm(draw: Draw, deg: float) -> Array:
    return draw.scalar(KNUCKLE, 0.0, np.radians(deg))


def _strut(draw: Draw, at: Mapping[str, Array], outboard: float) -> dict[str, Array]:
    """The strut's top and a point low on its line, where they were not given."""
    ball, points = at[ARM_BALL_JOINT], {}
    if "strut_top" not in at:
        up = draw.between(KNUCKLE, STRUT_TOP_UP_MM)
        inboard, back = (np.tan(np.radians(draw.between(KNUCKLE, limits)))
                         for limits in (STRUT_LEANS_DEG, STRUT_TRAILS_DEG))
        slope = np.stack([-back, -outboard * inboard, np.ones_like(up)], -1)
        points["strut_top"] = ball + up[..., None] * slope
    if "strut_low" not in at:
        aside = [draw.rectangular(KNUCKLE, half) for half in STRUT_LOW_ASIDE_MM]
        points["strut_low"] = ball + np.stack([*aside, np.zeros_like(aside[0])], -1)
    return points


def radii(draw: Draw, given: Mapping[str, float]) -> dict[str, Array]:
    """Half thicknesses (n, 1), mm, of eye, link, hose and bar: as given, else anything that they come in."""
    return {name: np.full((draw.n, 1), given[name]) if name in given else draw.between(RADIUS, limits)
            for name, limits in _RADII.items()}


def studs(draw: Draw, given: Mapping[str, Array], at: Mapping[str, Array]) -> dict[str, Array]:
    """Directions (n, 1, 3) of the studs at the link's ends: as given, else square to the link as it stood,
    about it anyhow, within what a joint allows."""
    link = unit(at[BAR_EYE] - at[LINK_FOOT])
    across = unit(cross(link, np.array([1.0, 0.0, 0.0])))
    out = dict(given)
    for joint in (BAR_EYE, LINK_FOOT):
        if joint not in given:
            about, tilt = draw.rectangular(STUD, np.pi), np.radians(draw.rectangular(STUD, STUD_TILT_DEG))
            square = across * np.cos(about)[..., None] + cross(link, across) * np.sin(about)[..., None]
            out[joint] = square * np.cos(tilt)[..., None] + link * np.sin(tilt)[..., None]
    return out


def hose(draw: Draw, on: Mapping[str, str], leads_away: bool) -> HoseDraw:
    """How the hose's points move with the wheel, and how it goes on beyond the first and the last of them.

    on: point -> what it rides on, where it was said; leads_away: beyond its markers it comes no nearer.
    """
    shares = {name: draw.between(HOSE, SHARES[on[name]] if name in on else (0.0, 1.0)) for name in HOSES}
    sway = {name: draw.normal(HOSE, np.eye(3))[:, None] for name in HOSES}
    bent = np.eye(3) * np.radians(HOSE_BENDS_DEG)**2
    bends = ([draw.normal(HOSE, bent)[:, None] for _ in HOSE_BEYOND_MM],
             [draw.normal(HOSE, bent)[:, None] for _ in HOSE_BEYOND_MM])
    bows = [draw.normal(HOSE, np.eye(3))[:, None] for _ in HOSES[1:]]
    # whether it leads away is not known: as likely as not
    beyond = (draw.rectangular(HOSE, 1.0) > 0).astype(float) * (not leads_away)
    # square to no direction before another; straight along the car at its estimate
    along = unit(draw.normal(HOSE, np.eye(3)) + np.array([1e-9, 0.0, 0.0]))[:, None]
    return HoseDraw(shares, sway, draw.scalar(HOSE, 0.0, 1.0), bends, bows, beyond, along)
