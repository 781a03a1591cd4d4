"""The link tried out by sliders: where everything stands, and the clearances, for another length or ride
height."""

from __future__ import annotations

from dataclasses import replace

from photoangle.core.findings import Refusal
from photoangle.core.options import LinkRequest
from photoangle.core.roles import (
    ARCH_LIP,
    ARM_BALL_JOINT,
    ARM_PIVOT_FRONT,
    ARM_PIVOT_REAR,
    BAR_BUSH,
    BAR_EYE,
    HOSE_A,
    HOSE_B,
    HOSE_C,
    HUB,
    LINK_FOOT,
)
from photoangle.droplink.answer import link_answers
from photoangle.droplink.stops import lowered_travel
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Limits, over_travel
from photoangle.output.drawn.drawings import corner_at
from photoangle.output.link_table import EXTREMES, near_verdict
from photoangle.output.summary.linked import headline
from photoangle.output.table import format_value

QUICK_SAMPLES = 150
MOST_CHANGE_MM, MOST_LOWERED_MM = 60.0, 40.0
_DRAWN = (BAR_BUSH, BAR_EYE, LINK_FOOT, ARM_PIVOT_FRONT, ARM_PIVOT_REAR, ARM_BALL_JOINT, HUB, HOSE_A, HOSE_B,
          HOSE_C, ARCH_LIP)


def tried(answer, notes, change_mm, lowered_mm):
    """A CornerAnswer with a changed link and ride height, drawn at three heights, with few samples.

    answer: CornerAnswer with a base; notes: carfile Corner.  Returns a dict for the page.
    """
    way = lowered_travel(answer.travel, lowered_mm) if lowered_mm else answer.travel
    result = over_travel(answer.base, way, change_mm, sampling=Sampling(QUICK_SAMPLES),
                         limits=Limits(notes.joint_limit_deg, gap_mm=notes.hose.wanted_gap_mm))
    moved = replace(answer, travel=way)
    drawn = {name: _flat(corner_at(moved, bump, change_mm)) for name, bump in (
        ("droop", way.steps_mm[0]), ("ride height", 0.0), ("bump stop", way.steps_mm[-1]))}
    length = answer.advice.figures["link_length"].value + change_mm
    return {
        "change_mm": change_mm, "lowered_mm": lowered_mm, "length_mm": length, "places": drawn,
        "samples": QUICK_SAMPLES, **_clearances(result)
    }


def _flat(points):
    return {n: [None if v != v else round(float(v), 2) for v in points[n]] for n in _DRAWN if n in points}


def _clearances(result):
    if isinstance(result, Refusal):
        return {"rows": [], "trouble": f"{result.finding.what}; {result.finding.do}", "angle": None}
    rows = []
    for name, words in EXTREMES:
        near = result.nearest.get(name)
        if near is not None:
            f = near.figure
            rows.append({
                "name": name, "words": words, "value": f.value, "half": (f.high95 - f.low95) / 2,
                "unit": "°" if f.unit == "deg" else f.unit, "at_mm": near.at_mm, "verdict": near_verdict(near)
            })
    angle = result.at_ride.get("bar_arm_angle")
    trouble = "; ".join(f.what for f in result.findings if f.level == "unusable")
    return {
        "rows": rows, "trouble": trouble,
        "angle": None if angle is None else {"value": angle.value, "half": (angle.high95 - angle.low95) / 2}
    }


def worked_out(measurement, corner, change_mm, lowered_mm):
    """The same wish answered in full, as `photoangle link --change --lowered` does.

    Returns a dict: sentence, figures as in the commands' JSON; None where the corner has no answer.
    """
    wishes = LinkRequest(change_mm=change_mm, lowered_mm=lowered_mm)
    part = replace(measurement, states=[s for s in measurement.states if s.corner == corner])
    answer = next((a for a in link_answers(part, wishes) if a.corner == corner), None)
    if answer is None or answer.base is None:
        return None
    result = answer.proposed if answer.proposed is not None else answer.present
    figures = [{
        "name": f.name, "state": f.state, "value": round(f.value,
                                                         5), "u": round(f.u, 6), "low95": round(f.low95, 5),
        "high95": round(f.high95, 5), "text": " ± ".join(format_value(f)[:2]), "unit": f.unit
    } for f in answer.figures]
    return {"sentence": headline(answer), "figures": figures, **_clearances(result)}
