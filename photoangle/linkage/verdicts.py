"""Verdicts over the travel: clear, not clear, or cannot tell; and beyond what was measured.

A verdict is drawn from the whole 95 % interval: a gap whose interval reaches zero is never called clear.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.roles import BAR_EYE, LINK_FOOT
from photoangle.linkage.kinematics.lengths import NEAR_LINE_DEG
from photoangle.linkage.kinematics.sampled_corner import SampledCorner

if TYPE_CHECKING:  # travel itself asks for the verdicts
    from photoangle.linkage.travel import Nearest, Travel

_THICK = {"hose": "the hose", "eye": "the bar's eye", "link": "the link", "bar": "the bar's arm"}


def judged(corner: SampledCorner, travel: Travel, nearest: Mapping[str, Nearest], limits: Mapping[str, float],
           wanted_gap: float) -> tuple[dict[str, Nearest], list[Finding]]:
    """Verdicts on the extremes, and what is to be said about them.

    nearest: name -> Nearest; limits: "eye", "foot" -> deg; wanted_gap: mm.  Returns (nearest with verdicts,
    findings).
    """
    out, findings = {}, []
    for name, near in nearest.items():
        limit = limits.get(name.rsplit("_", 1)[-1]) if name.startswith("joint_tilt") else None
        verdict = ""
        if name.startswith("gap_min"):
            # a brake hose is not a thing of 95 in 100
            verdict = _verdict(near.lowest - wanted_gap, near.figure.high95 - wanted_gap)
        elif name == "line_up_min":
            verdict = _verdict(near.figure.low95 - NEAR_LINE_DEG, near.figure.high95 - NEAR_LINE_DEG)
        elif limit is not None:
            verdict = _verdict(limit - near.figure.high95, limit - near.figure.low95)
            if verdict == "not clear" and (BAR_EYE if name.endswith("eye") else LINK_FOOT) not in corner.stud:
                # what is taken for a stud that nobody looked at condemns no joint
                verdict = "cannot tell"
        out[name] = replace(near, verdict=verdict)
        if verdict not in ("", "clear"):
            findings.append(_trouble(corner, name, near, verdict, limit, wanted_gap))
    lowest, highest = travel.steps_mm[0], travel.steps_mm[-1]
    if travel.measured_mm is not None and (lowest < travel.measured_mm[0] - 1
                                           or highest > travel.measured_mm[1] + 1):
        measured = f"measured from {travel.measured_mm[0]:.0f} to {travel.measured_mm[1]:.0f} mm"
        findings.append(
            Finding(
                NOTE,
                corner.name,
                f"{measured} about ride height, answered from {lowest:.0f} to {highest:.0f} mm: beyond what"
                " was measured this extrapolates, and steering lock is not in it",
                "look at the car itself near the stops and at both locks",
            )
        )
    missing = [k for k in ("hose", "eye", "link", "bar") if k not in corner.radius_mm]
    if any(n.startswith("gap") for n in out) and missing:
        findings.append(
            Finding(
                NOTE, corner.name, f"how thick {' and '.join(_THICK[k] for k in missing)}"
                f" {'is' if len(missing) == 1 else 'are'} was not given: anything usual is allowed for in the"
                " gaps to the hose", "write hose, bar_eye, link and bar (half their thickness) under radius"))
    return out, findings


def _verdict(low: float, high: float) -> str:
    return "clear" if low > 0 else "not clear" if high <= 0 else "cannot tell"


def _trouble(corner: SampledCorner, name: str, near: Nearest, verdict: str, limit: float | None,
             wanted_gap: float) -> Finding:
    f = near.figure
    where = f"at {near.at_mm:+.0f} mm of travel from ride height"
    span = f"{f.value:.1f} {f.unit} ({f.low95:.1f} to {f.high95:.1f})"
    if name == "line_up_min":
        return Finding(
            ATTENTION, corner.name,
            f"bar arm and link come within {span} of one line {where}: beyond it the bar can"
            " flip over", "choose a link or a hole that keeps well away from it")
    if limit is not None:
        end = "eye" if name.endswith("eye") else "foot"
        what = f"the link's {end} joint tilts by {span} {where}; its limit is {limit:g} deg"
        do = ("choose another length or hole, or turn the stud" if verdict == "not clear"
              else "put a plate over the stud so that its direction is known, or look at the joint there")
        return Finding(ATTENTION, corner.name, what, do)
    part = {"eye": "bar eye to the hose", "link": "link to the hose", "arm": "bar arm to the hose"}.get(
        name[8:], f"bar eye or link to hose {name[8:].upper()}")
    if verdict == "not clear":
        return Finding(ATTENTION, corner.name, f"{part}: {span} {where}: it touches" + (
            "" if wanted_gap <= 0 else f", or comes nearer than the {wanted_gap:g} mm wanted"),
            "reroute the hose or choose another link; the car is not driven like this")
    return Finding(
        ATTENTION, corner.name, f"{part}: {span} {where}: whether it is clear can't be told yet",
        "look there with the wheel at that travel" +
        (", measure the hose's points better, or move the hose" if corner.hose_leads_away else
         "; if the hose comes no nearer beyond its first and last marker, write leads_away = true under hose")
    )
