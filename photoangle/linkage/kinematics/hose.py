"""The brake hose's points over the travel: where each is, and how near bar eye and link come.

A hose is soft: its ends ride on chassis and knuckle, and what lies between moves in its own way.  A point
that was measured with the wheel at two heights is put on the line through both places, in proportion to the
hub's rise; beyond the two it goes on, by as much more uncertain as `WANDER` says.  A point measured once
moves with the share of the knuckle's movement that ``hose_on`` gives, and where nothing is given, with any
share from none to all of it.
"""

from __future__ import annotations

import numpy as np

from photoangle.core.arrays import Array, Floats
from photoangle.core.roles import HOSES
from photoangle.linkage.kinematics.gaps import point_to_polyline, point_to_segment, polyline_to_segment
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.mechanism import Position
from photoangle.linkage.kinematics.sampled_corner import SampledCorner
from photoangle.linkage.kinematics.turning import length

SECOND = "_second"
# Beyond the two heights measured: standard uncertainty as a share of the movement that is extrapolated.
WANDER = 0.3
SHARES = {"chassis": 0.0, "mid": 0.5, "knuckle": 1.0}


def hose_places(layout: Layout, place: Position, rise_mm: Array,
                corner: SampledCorner) -> dict[str, Array]:
    """Hose points (n, t, 3) by name at hub rises rise_mm (n or 1, t) from the reference state, mm."""
    out = {}
    for name in HOSES:
        if name not in layout.at:
            continue
        first = layout.at[name]
        second_rise = layout.second_rise_mm
        if name + SECOND in layout.at and second_rise is not None:
            along = _share_between(rise_mm / second_rise, layout.hose_wander)
            out[name] = first + (layout.at[name + SECOND] - first) * along[..., None]
        else:
            on = corner.hose_on.get(name)
            share = layout.hose_share if on is None else SHARES[on]
            moved = place.knuckle.carried(first)
            out[name] = first + (moved - first) * np.asarray(share)[..., None]
    return out


def _share_between(along: Array, wander: Floats) -> Array:
    """How far a point is from its first place to its second: in proportion, and less surely beyond."""
    beyond = along - np.clip(along, 0.0, 1.0)
    return along + beyond * WANDER * wander


def hose_gaps(layout: Layout, place: Position, rise_mm: Array,
              corner: SampledCorner) -> dict[str, Array]:
    """gap_a, gap_b, gap_c: eye and link to that point; gap_eye, gap_link: to the whole hose; mm, radii taken
    off.

    Returns name -> (n, t); empty without hose points.
    """
    points = hose_places(layout, place, rise_mm, corner)
    if not points:
        return {}
    eye_less, link_less = (corner.radius_mm.get(k, 0.0) + corner.radius_mm.get("hose", 0.0)
                           for k in ("eye", "link"))
    chain = [points[n] for n in HOSES if n in points]
    out = {}
    for name, point in points.items():
        out[f"gap_{name[-1]}"] = np.minimum(length(place.eye - point) - eye_less,
                                            point_to_segment(point, place.eye, place.foot) - link_less)
    out["gap_eye"] = point_to_polyline(place.eye, chain) - eye_less
    out["gap_link"] = polyline_to_segment(chain, place.eye, place.foot) - link_less
    return out
