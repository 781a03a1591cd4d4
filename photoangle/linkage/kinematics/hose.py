"""The brake hose's points over the travel: where each is, and how near bar eye, bar arm and link come.

A hose is soft: its ends ride on chassis and knuckle, and what lies between moves in its own way.  A point
that was measured with the wheel at two heights is put on the line through both places, in proportion to the
hub's rise; beyond the two it goes on, by as much more uncertain as `WANDER` says.  A point measured at one
height, whichever, moves with a share of the knuckle's movement: from none to all of it, or within the limits
that go with what it is said to ride on; and to any side by `SWAY` of it.  Beyond its first and its last point
the hose goes on as well: straight as far as is known, bent as far as it may be.
"""

from __future__ import annotations

import itertools

import numpy as np

from photoangle.core.arrays import Array, Floats
from photoangle.core.assumed import HOSE_BEYOND_MM, HOSE_RADIUS_OF_BEND_MM
from photoangle.core.roles import BAR_BUSH, HOSES
from photoangle.linkage.kinematics.gaps import point_to_polyline, point_to_segment, polyline_to_segment
from photoangle.linkage.kinematics.knuckle import Knuckle, arm_angle_for_rise, knuckle_at
from photoangle.linkage.kinematics.layout import HoseDraw, Layout
from photoangle.linkage.kinematics.mechanism import Position
from photoangle.linkage.kinematics.turning import length, swung, unit

SECOND = "_second"
# What share of the knuckle's movement a point follows that is said to ride on one of these: a clamp near the
# marker is no clamp at the marker.
SHARES = {"chassis": (0.0, 0.2), "mid": (0.25, 0.75), "knuckle": (0.8, 1.0)}
# Beyond the two heights measured: standard uncertainty as a share of the movement that is extrapolated.
WANDER = 0.3
# To any side, as a share of the knuckle's movement there, standard uncertainty along each axis.
SWAY = 0.08


def hose_places(layout: Layout, place: Position, rise_mm: Array, hose: HoseDraw) -> dict[str, Array]:
    """Hose points (n, t, 3) by name at hub rises rise_mm (n or 1, t) from the reference state, mm.

    hose: what is not known of it, the layout's.
    """
    out: dict[str, Array] = {}
    for name in HOSES:
        first, second = layout.at.get(name), layout.at.get(name + SECOND)
        second_rise = layout.second_rise_mm(name)
        if first is not None and second is not None and second_rise is not None:
            along = _share_between(rise_mm / second_rise, hose.wander)
            out[name] = first + (second - first) * along[..., None]
        elif first is not None:
            out[name] = _along(hose, name, first, place.knuckle.carried(first))
        elif second is not None and second_rise is not None:
            there = _knuckle_risen(layout, second_rise)
            out[name] = _along(hose, name, second, place.knuckle.carried(there.returned(second)))
    return out


def _along(hose: HoseDraw, name: str, start: Array, carried: Array) -> Array:
    """A point seen once, given what it would be if it went with the knuckle."""
    moved = carried - start
    share = hose.share[name][..., None]
    return start + share * moved + SWAY * length(moved)[..., None] * hose.sway[name]


def _knuckle_risen(layout: Layout, rise_mm: Array) -> Knuckle:
    return knuckle_at(layout, arm_angle_for_rise(layout, rise_mm))


def _share_between(along: Array, wander: Floats) -> Array:
    """How far a point is from its first place to its second: in proportion, and less surely beyond."""
    beyond = along - np.clip(along, 0.0, 1.0)
    return along + beyond * WANDER * wander


def hose_gaps(layout: Layout, place: Position, rise_mm: Array) -> dict[str, Array]:
    """gap_a, gap_b, gap_c: eye and link to that point; gap_eye, gap_link, gap_arm: eye, link and bar arm to
    the whole hose; mm, half thicknesses taken off.

    Returns name -> (n, t); empty without hose points.
    """
    hose = layout.hose
    points = {} if hose is None else hose_places(layout, place, rise_mm, hose)
    if hose is None or not points:
        return {}
    half = layout.radius_mm
    eye_less, link_less, bar_less = (half.get(k, 0.0) + half.get("hose", 0.0) for k in ("eye", "link", "bar"))
    chain = _gone_on(_bowed([points[n] for n in HOSES if n in points], hose.bows), hose)
    out = {}
    for name, point in points.items():
        out[f"gap_{name[-1]}"] = np.minimum(length(place.eye - point) - eye_less,
                                            point_to_segment(point, place.eye, place.foot) - link_less)
    out["gap_eye"] = point_to_polyline(place.eye, chain) - eye_less
    out["gap_link"] = polyline_to_segment(chain, place.eye, place.foot) - link_less
    out["gap_arm"] = polyline_to_segment(chain, place.eye, layout.at[BAR_BUSH]) - bar_less
    return out


def _bowed(chain: list[Array], bows: list[Array]) -> list[Array]:
    """The chain with a point in the middle of each piece: on the parabola through it and a neighbour, off it
    by what a hose may be bent more or less."""
    out = [chain[0]]
    for k, (start, end) in enumerate(itertools.pairwise(chain)):
        piece = end - start
        size = length(piece)
        bend, known = np.zeros_like(piece), np.zeros_like(size)
        neighbours = ([(start - chain[k - 1], -1)] if k else []) + (
            [(chain[k + 2] - end, 1)] if k + 2 < len(chain) else [])
        for other, way in neighbours:
            # by how much the parabola through the three misses its chord (Hermite's form); a neighbour much
            # shorter than the piece says nothing of it
            next_to = length(other)
            both = np.maximum(size + next_to, 1e-9)
            tangent = (piece + other) * (size / both)[..., None]
            says = np.clip(2 * next_to / np.maximum(size, 1e-9) - 0.5, 0.0, 1.0) / len(neighbours)
            bend = bend + (way * says)[..., None] * (piece - tangent) / 4
            known = known + says
        off = size**2 / 8 / HOSE_RADIUS_OF_BEND_MM * (1 - known / 2)
        out += [start + piece / 2 + bend + off[..., None] * bows[k], end]
    return out


def _gone_on(chain: list[Array], hose: HoseDraw) -> list[Array]:
    """The hose's chain, and what may lie beyond either end: on along its last piece, bending as it goes."""
    if not hose.beyond.any():
        return chain
    out = list(chain)
    for first, bends in ((True, hose.bends[0]), (False, hose.bends[1])):
        end, before = (chain[0], chain[1:2]) if first else (chain[-1], chain[-2:-1])
        # of a hose with one point nothing is known of where it comes from
        along = unit(end - before[0]) if before else hose.along * (1 if first else -1)
        for piece, bend in zip(HOSE_BEYOND_MM, bends, strict=True):
            along = along + swung(bend, along)
            end = end + piece * hose.beyond[..., None] * along
            out = [end, *out] if first else [*out, end]
    return out
