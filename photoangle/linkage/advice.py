"""Which link: the length for the wanted angle, the band that will do, and a verdict that respects what is not
known.

The guard band is that of JCGM 106 (guarded acceptance): a length is called good only where the bar arm lies
within the tolerance in at least 95 of 100 samples.  Changes of length are worked out sample by sample against
the present link, since an adjuster is turned from where it is: what is common to both cancels.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, UNUSABLE, Finding, Refusal
from photoangle.linkage.adjuster import Adjuster
from photoangle.linkage.checks import check_corner, check_hole, closing_findings
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.lengths import Lengths, Wanted, lengths
from photoangle.linkage.kinematics.mechanism import assembled_link_mm
from photoangle.linkage.kinematics.sampled_corner import SampledCorner
from photoangle.linkage.sampled import LOST_SHARE, FigureLabel, Sampling, figure, lost, shares
from photoangle.linkage.travel import Travel, no_ride_height, reaches_ride_height, ride_rise

LEAVE, CHANGE, CANNOT_TELL, OUT_OF_REACH = "leave", "change", "cannot tell", "out of reach"
# Conformance probability that is called good, and its complement that is called bad.
_GOOD, _BAD = 0.95, 0.05

# What makes each source smaller, in the user's words.
REMEDY = {
    "hub to arch": "tape hub to arch again, twice, in both states; or measure with the knuckle jacked to"
                   " ride height",
    "knuckle's turn": "give the upper arm or the strut's top, or measure with the knuckle jacked to ride"
                      " height",
    "hub's place": "put the hub's marker on, or measure with the knuckle jacked to ride height",
    "link foot's place": "take one photo, or mark the strut's top",
    "bar axis": "add a second bush marker, or the mark on the other side of the car",
    "arm axis": "mark both of the control arm's pivots",
    "stand-off": "measure the stand-offs again with a caliper, or use the plate form",
    "sticking": "centre the markers better, or use the plate form, or add a position of the wheel",
    "pixels": "take more photos, from more sides",
    "taped link": "tape the link again from centre to centre",
    "chassis": "take the ride photos again with both sill markers and the plumb in view",
    "floor": "measure the floor's slope with a level",
    "motion": "add a position of the wheel, and turn the link about its own length between states",
    "lens": "take more photos of the card for the lens",
    "print": "measure the print-check lines with a steel rule",
    "plumb": "hang the plumb markers farther apart, out of the wind",
    "taped heights": "tape the heights again from one level line",
    "taped lengths": "tape the lengths again from centre to centre",
    "link's lean": "take one photo, or read the link's lean: a tape cannot tell it",
    "pitch": "read the sill's slope with a level in this state and with the car on its wheels",
    "roll": "read the car's roll with a level across it",
    "roll on the stands": "lay a level across the car as it stands here and write what it reads as roll_deg",
    "level": "hang the plumb free and still, on a long string that the photos show",
    "card's lean": "hang the plumb strip in view: a level edge does not tell how the card leans",
    "which way the bar's arm points": 'write bar_arm_points = "front" or "rear", from its bush to its eye',
}


@dataclass(frozen=True)
class Advice:
    """The answer for one eye hole.

    verdict: one of LEAVE, CHANGE, CANNOT_TELL, OUT_OF_REACH; sentence and do: in words; figures: name ->
    Figure (bar_arm_angle, link_length, link_length_wanted, link_length_shortest, link_length_longest,
    link_change, link_turns where they can be had); conforms: probability that the present link does;
    any_of_mm: (low, high) changes that are good with 95 in 100, or None; half_turns: to the nearest good half
    turn, lengthening positive, or None; change_mm: the change to make; hole: name of the eye hole; findings.
    """

    verdict: str
    sentence: str
    do: str
    figures: dict[str, Figure]
    conforms: float
    any_of_mm: tuple[float, float] | None
    half_turns: int | None
    change_mm: float
    hole: str = "present"
    findings: tuple[Finding, ...] = ()


def advise(corner: SampledCorner, travel: Travel, wanted: Wanted = Wanted(), adjuster: Adjuster = Adjuster(),
           hole: tuple[str, float] = ("present", 0.0),
           sampling: Sampling = Sampling(4000)) -> Advice | Refusal:
    """The link for the wanted place of the bar at ride height.

    corner: Corner or the like; travel: for its ride height; wanted: Wanted; adjuster: Adjuster; hole: (name,
    mm nearer to the bar's axis than the present hole); sampling: without its budget the largest source is not
    named when nothing can be told.  Returns Advice, or Refusal where no figure may be given.
    """
    bad = [
        f for f in (*check_corner(corner), check_hole(corner, hole[1]))
        if f is not None and f.level == UNUSABLE
    ]
    if bad:
        return Refusal(bad[0])
    nominal = corner.nominal()
    if not reaches_ride_height(nominal, travel):
        return no_ride_height(corner)
    rise = ride_rise(nominal, travel)
    stuck = closing_findings(corner, nominal, rise, np.zeros(1), assembled_link_mm(nominal).item())
    if stuck:
        return Refusal(stuck[0])

    def worked(layout: Layout) -> Lengths:
        return lengths(layout, ride_rise(layout, travel), wanted, hole[1])

    best, drawn = worked(nominal), worked(corner.sample(sampling.samples, sampling.seed))
    if not np.isfinite([best.low_mm.item(), best.wanted_mm.item(), best.high_mm.item()]).all() \
            or lost(drawn.wanted_mm + drawn.low_mm + drawn.high_mm).max() > LOST_SHARE:
        return Refusal(
            Finding(
                UNUSABLE,
                corner.name,
                f"with the bar {_place(wanted)} (eye hole: {hole[0]}) bar arm and link would lie in or beyond"
                " one line", "ask for another angle, or another hole",
            )
        )
    change = (drawn.wanted_mm - drawn.present_mm).ravel()
    at = (best.wanted_mm - best.present_mm).item()
    figures = _figures(corner, best, drawn, change, at, adjuster)
    at = figures["link_change"].value
    if sampling.budget:
        part: dict[str, Callable[[Lengths], Array]] = {
            "link_change": lambda o: o.wanted_mm - o.present_mm, "bar_arm_angle": lambda o: o.angle_deg}
        for name, of in part.items():
            if name in figures:
                figures[name] = replace(figures[name], budget=shares(corner, partial(_part, worked, of)))
    low, high = (drawn.low_mm - drawn.present_mm).ravel(), (drawn.high_mm - drawn.present_mm).ravel()
    case = _Case(corner.name, figures, at, low, high, best.present_mm.item(), wanted, adjuster, hole)
    return _verdict(case)


def advise_holes(corner: SampledCorner, travel: Travel, holes: Iterable[tuple[str, float]],
                 wanted: Wanted = Wanted(), adjuster: Adjuster = Adjuster(),
                 sampling: Sampling = Sampling(4000)) -> dict[str, Advice | Refusal]:
    """`advise` for each eye hole of a bar with several: holes: (name, mm nearer to the axis) pairs.

    Returns name -> Advice or Refusal.
    """
    return {hole[0]: advise(corner, travel, wanted, adjuster, hole, sampling) for hole in holes}


def _part(worked: Callable[[Layout], Lengths], of: Callable[[Lengths], Array], layout: Layout) -> Array:
    return of(worked(layout))


def _place(wanted: Wanted) -> str:
    return "square to the link" if wanted.square else f"arm at {wanted.angle_deg:+.1f} deg"


def _figures(corner: SampledCorner, best: Lengths, drawn: Lengths, change: Array, at: float,
             adjuster: Adjuster) -> dict[str, Figure]:
    rows = [("bar_arm_angle", "chassis", "deg", best.angle_deg, drawn.angle_deg),
            ("bar_arm_angle_wanted", "chassis", "deg", best.angle_wanted_deg, drawn.angle_wanted_deg),
            ("link_length", None, "mm", best.present_mm, drawn.present_mm),
            ("link_length_wanted", None, "mm", best.wanted_mm, drawn.wanted_mm),
            ("link_length_shortest", None, "mm", best.low_mm, drawn.low_mm),
            ("link_length_longest", None, "mm", best.high_mm, drawn.high_mm),
            ("link_change", None, "mm", at, change)]
    step = adjuster.half_turn_mm
    if step is not None:
        rows.append(("link_turns", None, "turns", at / step / 2, change / step / 2))
    made = [figure(FigureLabel(corner.name, "predicted-ride", n, d, u), np.asarray(v).item(), s)
            for n, d, u, v, s in rows]
    out = {f.name: f for f in made if f is not None}
    if "link_turns" in out:
        # an adjuster is locked at half turns
        out["link_turns"] = replace(out["link_turns"], value=round(2 * out["link_turns"].value) / 2)
    return out


@dataclass(frozen=True)
class _Case:
    """What a verdict is drawn from.

    figures by name; at: the best change of length, mm; low, high: samples of the changes that the band ends
    at, mm; present_mm: the link's length; wanted, adjuster, hole as in `advise`.
    """

    where: str
    figures: dict[str, Figure]
    at: float
    low: Array
    high: Array
    present_mm: float
    wanted: Wanted
    adjuster: Adjuster
    hole: tuple[str, float]

    @property
    def conforms(self) -> float:
        """Probability that the present link will do."""
        # another hole means undoing the link: "leave it" is for the present hole only
        return float(np.mean((self.low <= 0) & (self.high >= 0))) if self.hole[1] == 0 else 0.0

    @property
    def band(self) -> tuple[float, float] | None:
        """Changes that are good with 95 in 100, whatever the adjuster allows."""
        low, high = float(np.nanquantile(self.low, 0.975)), float(np.nanquantile(self.high, 0.025))
        return (low, high) if low < high else None

    @property
    def now(self) -> str:
        angle = self.figures.get("bar_arm_angle")
        if angle is None:
            return ""
        return f"bar arm at {angle.value:+.1f} deg ({angle.low95:+.1f} to {angle.high95:+.1f}) at ride height"

    @property
    def goal(self) -> str:
        return f"{_place(self.wanted)} within {self.wanted.within_deg:g} deg"


def _verdict(case: _Case) -> Advice:
    conforms, band, at, figures, adjuster = case.conforms, case.band, case.at, case.figures, case.adjuster
    now, goal = case.now, case.goal
    least, most, why_low, why_high = adjuster.reach(case.present_mm)
    allowed = None if band is None else (max(band[0], least), min(band[1], most))
    notes: list[Finding] = []

    def advice(verdict: str, sentence: str, do: str, half_turns: int | None = None, change: float = 0.0,
               any_of: tuple[float, float] | None = None) -> Advice:
        if verdict in (CANNOT_TELL, OUT_OF_REACH):
            notes.append(Finding(ATTENTION, case.where, sentence, do))
        return Advice(verdict, sentence, do, figures, conforms, any_of, half_turns, change, case.hole[0],
                      tuple(notes))

    if conforms >= _GOOD:
        return advice(LEAVE, f"leave it: {now}, wanted {goal}", "", 0 if adjuster.half_turn_mm else None, 0.0,
                      allowed)
    reached = allowed if allowed is not None and allowed[0] < allowed[1] else None
    if (band is not None and reached is None) or (band is None and not least <= at <= most):
        why = why_high if at > most or (band is not None and band[0] >= most) else why_low
        return advice(OUT_OF_REACH, f"to have the {goal}, {_words(at)}; but {why}",
                      "try another eye hole, another link, or another angle")
    half_turns, change = _half_turns(at, adjuster, reached, notes, case.where)
    if reached is None:
        return _too_vague(case, advice, half_turns, change)
    will_do = f"{_words(change)}, {_any_of(reached)}"
    if conforms > _BAD:
        return advice(
            CANNOT_TELL, f"can't tell yet whether the present link will do: {now}, wanted {goal}"
            f" ({100 * conforms:.0f} in 100 that it does)",
            f"{_largest(figures, 'bar_arm_angle')}; or {will_do},"
            " which is sure to be within", half_turns, change, allowed)
    return advice(CHANGE, f"{will_do}: {now}, wanted {goal}", "", half_turns, change, allowed)


def _too_vague(case: _Case, advice: Callable[..., Advice], half_turns: int | None, change: float) -> Advice:
    f = case.figures.get("link_change")
    span = f" ({f.low95:+.1f} to {f.high95:+.1f} mm)" if f else ""
    if case.conforms <= _BAD:
        return advice(
            CHANGE, f"{_words(case.at)}{span} and measure again: {case.now}, wanted {case.goal}; no length is"
            " sure to be within as well as this is known", _largest(case.figures, "link_change"), half_turns,
            change)
    return advice(
        CANNOT_TELL, f"can't tell yet: {case.now}, wanted {case.goal}; the uncertainty is wider than the"
        " tolerance", _largest(case.figures, "link_change"), half_turns, change)


def _half_turns(at: float, adjuster: Adjuster, band: tuple[float, float] | None, notes: list[Finding],
                where: str) -> tuple[int | None, float]:
    step = adjuster.half_turn_mm
    if step is None:
        return None, min(max(at, band[0]), band[1]) if band else at
    count = round(at / step)
    if band is not None:
        lowest, highest = math.ceil(band[0] / step - 1e-9), math.floor(band[1] / step + 1e-9)
        if lowest > highest:
            notes.append(
                Finding(ATTENTION, where, f"no half turn of the adjuster ({step:g} mm) falls within the band",
                        "turn one end by itself, or allow a wider tolerance"))
        else:
            count = min(max(count, lowest), highest)
    return count, count * step


def _words(change: float) -> str:
    if abs(change) < 0.05:
        return "keep the length"
    return f"{'lengthen' if change > 0 else 'shorten'} by {abs(change):.1f} mm"


def _any_of(band: tuple[float, float]) -> str:
    low, high = sorted(abs(b) for b in band) if band[0] * band[1] > 0 else band
    if band[0] * band[1] > 0:
        return f"any of {low:.1f} to {high:.1f} will do"
    return f"any change from {low:+.1f} to {high:+.1f} mm will do"


def _largest(figures: dict[str, Figure], name: str) -> str:
    f = figures.get(name)
    if f is None or not f.budget:
        return "measure again with more photos, or with the knuckle jacked to ride height"
    source = next(iter(f.budget))
    remedy = REMEDY.get(source, f"make this better known: {source}")
    return f"{remedy} ({source} is {100 * f.budget[source]:.0f} % of the uncertainty)"
