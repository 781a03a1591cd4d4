"""A verdict that the length alone would allow, and what stands in its way."""

from __future__ import annotations

from dataclasses import replace

from photoangle.core.findings import UNUSABLE, Refusal
from photoangle.linkage.advice import CANNOT_TELL, CHANGE, LEAVE

# What stands in the way of a verdict, by the extreme of the travel that shows it: in words, and what to do.
_IN_THE_WAY = {
    "gap": ("something comes too near the hose over the travel",
            "look there with the wheel at that travel, reroute the hose or choose another link"),
    "joint": ("a joint of the link tilts too far over the travel",
              "choose another length or hole, or turn the stud"),
    "line": ("bar arm and link come too near to one line, past which the bar can flip over",
             "choose a link or a hole that keeps well away from it"),
}
_LOOK_AT_THE_HOSE = (
    "look at the hose with the wheel there: if it comes no nearer beyond its first and last marker,"
    " write leads_away = true under hose; else mark it there too, or reroute it")


def hold_back(answer, near_stop, stands_on_it, asked):
    """A verdict that stands on something contradicted, or over something that is not clear, is not given.

    near_stop, stands_on_it: as from `stops.near_stops`; asked: the travel is that of a link asked for, not
    of the one advised.
    """
    answer.tell(*[near_stop] if near_stop is not None else [])
    if isinstance(answer.advice, Refusal) or answer.advice.verdict not in (LEAVE, CHANGE):
        return
    why, do = [], []
    if stands_on_it:
        why.append(near_stop.what)
        do.append(near_stop.do)
    if answer.contradiction is not None:
        why.append(answer.contradiction.what)
        do.append(answer.contradiction.do)
    if answer.check is not None and not answer.check.agrees:
        why.append(answer.check.finding.what)
        do.append(answer.check.finding.do)
    for seen in answer.looked_at:
        if seen.too_near:
            why.append(seen.words)
            do.append("reroute the hose or choose another link; the car is not driven like this")
    last = answer.proposed if answer.proposed is not None else answer.present
    with_it = "with the link asked for " if asked else ""
    if isinstance(last, Refusal):
        why.append(with_it + last.finding.what)
        do.append(last.finding.do)
    elif last is not None:
        for finding in last.findings:
            if finding.level == UNUSABLE:
                why.append(with_it + finding.what)
                do.append(finding.do)
        for name, near in last.nearest.items():
            if near.verdict not in ("", "clear"):
                kind = "gap" if name.startswith("gap") else name.partition("_")[0]
                words, remedy = _IN_THE_WAY[kind]
                doubt = near.verdict == "cannot tell"
                why.append(with_it + (f"whether {words} can't be told" if doubt else words))
                if doubt and kind == "gap" and not answer.base.hose_leads_away:
                    remedy = _LOOK_AT_THE_HOSE
                do.append(remedy)
    if not why:
        return
    answer.held_back = tuple(dict.fromkeys(why))
    answer.advice = replace(
        answer.advice, verdict=CANNOT_TELL, any_of_mm=None, half_turns=None, do="; ".join(dict.fromkeys(do)),
        sentence=f"not yet: {'; '.join(answer.held_back)}. By its length alone: {answer.advice.sentence}")
