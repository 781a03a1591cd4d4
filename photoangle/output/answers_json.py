"""What `link`, `report` and `lens` print for programs: the figures, and the verdict in words."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from photoangle.core.options import LinkRequest
from photoangle.core.outcome import VERSION, Report
from photoangle.droplink.choices import best_of
from photoangle.output.summary.linked import clearance, headline, what_if
from photoangle.output.wording import worded


def link_json(report: Report, answers: Sequence[Any], asked: LinkRequest = LinkRequest(),
              units: str = "mm") -> str:
    """`Report.to_json` with "answers": for each corner its verdict, the sentences that the terminal shows,
    and the numbers to act on (mm)."""
    content = json.loads(report.to_json())
    content["answers"] = [_answer(a, asked, units) for a in answers]
    return json.dumps(content, indent=1)


def _answer(answer, asked, units):
    advice, best = answer.advice, best_of(answer.choices, answer.wanted)
    change = getattr(advice, "change_mm", None)
    present = advice.figures.get("link_length") if hasattr(advice, "figures") else None
    band = getattr(advice, "any_of_mm", None)
    length = None if present is None or change is None else present.value
    return {
        "corner": answer.corner, "state": answer.base.state if answer.base is not None else None,
        "verdict": getattr(advice, "verdict", "no answer"), "sentence": headline(answer, units),
        "clearance": clearance(answer, units), "what_if": what_if(answer, asked, units),
        "do": worded(getattr(advice, "do", ""), units),
        "set_to_mm": None if length is None else round(length + change, 3),
        "change_mm": None if change is None else round(change, 3),
        "will_do_mm": None if band is None or length is None else [round(length + b, 3) for b in band],
        "half_turns": getattr(advice, "half_turns", None),
        "lengths": [{"length_mm": round(c.length_mm, 3), "angle_deg": None if c.angle is None else
                     round(c.angle.value, 4), "u_deg": None if c.angle is None else round(c.angle.u, 4),
                     "verdict": c.verdict, "clear": c.clear, "best": c is best} for c in answer.choices]
    }


def lens_json(results: Iterable[Any], report: Report) -> str:
    """The lenses learnt, each with its verdict, and the findings."""
    lenses = [{
        "phone": r.profile.camera.title, "width_px": r.profile.camera.width_px,
        "height_px": r.profile.camera.height_px, "good": r.good, "verdict": r.verdict,
        "photos": r.profile.photos,
        "rms_px": round(r.profile.rms_px, 5), "focal_px": round(float(r.profile.lens[0]), 3),
        "u_focal_px": round(float(r.profile.covariance[0, 0] ** 0.5), 4)
    } for r in results]
    findings = [{"level": f.level, "where": f.where, "what": f.what, "do": f.do} for f in report.findings]
    return json.dumps({"version": VERSION, "lenses": lenses, "findings": findings}, indent=1)
