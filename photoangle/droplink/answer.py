"""The drop link for a car folder: ride height two ways, the length, the travel, the verdict.

Takes a Measurement; the mechanics is `photoangle.linkage`'s.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from calib.running.cancellation import may_leave
from photoangle.core.errors import CannotUse
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding, Refusal
from photoangle.core.options import LinkRequest
from photoangle.core.states import (
    CORNERS,
    FITTED,
    FREE,
    RIDE,
    SET,
    at_ride_height,
    has_new_link,
    in_order,
    is_looked_at,
    is_set,
)
from photoangle.droplink.choices import choices
from photoangle.droplink.from_scene import corner_of
from photoangle.droplink.held_back import hold_back
from photoangle.droplink.hose_states import with_second_hoses
from photoangle.droplink.looked_at import looked_at
from photoangle.droplink.request import SHORTEST_LINK_MM, adjuster_of, bump_known, travel_of, wanted_of
from photoangle.droplink.stops import lowered_travel, near_stops
from photoangle.geometry.joint_motion import joints_by_motion
from photoangle.linkage.advice import advise, advise_holes
from photoangle.linkage.motion.result import Motion
from photoangle.linkage.ride import at_ride, carry, check
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Limits, over_travel

SAMPLES = 4000
# Samples that settle which of two ways is known better.
_QUICK = 1000
ALL_STATES = "from all states together"


@dataclass
class CornerAnswer:
    """One corner: base: the linkage's Corner answered from; travel: Travel; wanted; adjuster; measured (in
    set, taken on to ride height) and carried (from the state carried_from): Figures of the bar arm's angle at
    ride height, two ways; check: their Check; advice: Advice or Refusal; holes: name -> Advice or Refusal;
    choices: `choices.Choice` of each length that can be had; looked_at: `looked_at.LookedAt` of each lock and
    the bump stop; earlier: state -> Advice of an earlier link;
    present, proposed: TravelResults or Refusals or None; figures, findings.
    """

    corner: str
    base: object = None
    travel: object = None
    wanted: object = None
    adjuster: object = None
    motion: object = None
    together: bool = False  # the base's joints come from all states together
    contradiction: Finding | None = None  # between the base by itself and all states together
    measured: object = None
    carried: object = None
    carried_from: str | None = None
    check: object = None
    advice: object = None
    holes: dict = field(default_factory=dict)
    choices: list = field(default_factory=list)
    looked_at: list = field(default_factory=list)
    earlier: dict = field(default_factory=dict)
    present: object = None
    proposed: object = None
    change_mm: float = 0.0
    hole_mm: float = 0.0
    joint_limit_deg: dict = field(default_factory=dict)
    datum: bool = True
    arm: bool = True  # whether the control arm is known; without it nothing is said over the travel
    held_back: tuple[str, ...] = ()  # why a verdict that the length alone would allow is not given
    figures: list = field(default_factory=list)
    findings: list = field(default_factory=list)

    def figure(self, name: str, state: str | None = None) -> Figure:
        """The Figure of a name, such as "link_length" (of a state; None: the first there is).  Raises
        KeyError."""
        for figure in self.figures:
            if figure.name == name and state in (None, figure.state):
                return figure
        there = ", ".join(dict.fromkeys(f.name for f in self.figures))
        raise KeyError(f"{self.corner} has no {name!r}; there are {there or 'none'}")

    def tell(self, *findings):
        for f in findings:
            if f not in self.findings:
                self.findings.append(f)


def link_answers(measurement, wishes=LinkRequest(), samples=SAMPLES, only=None):
    """The answer for each corner that was measured.

    measurement: pipeline.Measurement of a car folder; wishes: LinkRequest; only: one corner.  Returns a list
    of CornerAnswer.
    """
    out = []
    for corner in CORNERS if only is None else (only,):
        may_leave()
        # with one link off the closure says nothing: that state is for the axle's preload
        states = in_order([s for s in measurement.states if s.corner == corner and s.state != FREE
                           and not is_looked_at(s.state)])
        if any(s.state != RIDE for s in states):
            out.append(_answer(corner, states, measurement, wishes, samples))
    return out


def _answer(corner, states, measurement, wishes, samples):
    answer = CornerAnswer(corner)
    carried = measurement.car.axle(corner.partition("-")[0]).bar_on
    if carried != "chassis":
        answer.tell(Finding(UNUSABLE, corner, f"a bar that is carried by the {carried} is not worked out: its"
                            " bushes move with the wheels",
                            "the measured angles and lengths hold all the same"))
        return answer
    motion = _motion(corner, states, measurement, answer)
    bridged, alone = {}, sum(s.state != RIDE for s in states) == 1
    for s in states:
        if s.state == RIDE:
            continue
        made = corner_of(s, motion, measurement.report.figures, measurement.car, measurement.kit,
                         alone)
        if isinstance(made, Refusal):
            answer.tell(replace(made.finding, level=ATTENTION))
        else:
            bridged[s.state] = made
    base = _base(corner, bridged, wishes, answer)
    if base is None:
        return answer
    base = _known_best(base, bridged, states, measurement, wishes, answer)
    answer.tell(*bridged[base].findings)
    made = {k: with_second_hoses(b, bridged) for k, b in bridged.items()}
    answer.tell(*made[base][1])
    answer.base, answer.datum, answer.arm = made[base][0], bridged[base].datum, bridged[base].arm
    solve_answer(answer, measurement.car, wishes, {k: c
                                                   for k, (c, _) in made.items()}, measurement.report.figures,
                 samples)
    return answer


def _known_best(base, bridged, states, measurement, wishes, answer):
    """The state to answer from, and its corner in ``bridged``, as whichever of its ways is known best: joints
    from all states together, the state alone, or (where no state was asked for) carried from the hanging one.

    Where all together contradicts the state alone, the state alone is taken and the contradiction kept.
    """
    notes, corners = measurement.car.corner(answer.corner), {k: b.corner for k, b in bridged.items()}
    made = {ALL_STATES if answer.motion is not None else f"from {base}": (base, bridged[base])}
    if answer.motion is not None:
        one = next(s for s in states if s.state == base)
        alone = corner_of(one, None, measurement.report.figures, measurement.car, measurement.kit)
        if not isinstance(alone, Refusal):
            made[f"from {base} alone"] = base, alone
    hanging = next((k for k in bridged if not at_ride_height(k)), None)
    if wishes.state is None and is_set(base) and hanging is not None:
        made[f"carried from {hanging}"] = hanging, bridged[hanging]
    ways = {}
    for name, (_, way) in made.items():
        angle = _at_ride(way.corner, corners, notes)
        if angle is not None:
            ways[name] = angle
    if len(made) == 1 or len(ways) < 2:
        answer.together = ALL_STATES in made
        return base
    here = {name: angle for name, angle in ways.items() if made[name][0] == base}
    both = check(here) if len(here) > 1 else None
    if both is not None and not both.agrees:
        answer.contradiction = both.finding
        answer.tell(both.finding)
        best = f"from {base} alone"
    else:
        every = check(ways)
        best = every.best or min(here, key=lambda name: here[name].u)
    answer.together = best == ALL_STATES
    state, bridged[made[best][0]] = made[best]
    return state


def _at_ride(corner, corners, notes):
    """The bar arm's angle at ride height by a corner: Figure, or None."""
    travel, _ = travel_of(corner, corners, notes)
    carried = carry(corner, travel, samples=_QUICK, budget=False)
    return None if isinstance(carried, Refusal) else carried.figures.get("bar_arm_angle")


def _motion(corner, states, measurement, answer):
    """(Motion, axes it was solved in), or None."""
    tied = [s for s in states if s.tie is not None or s.reference]
    reference = next((s for s in tied if s.reference), None)
    axes = None if reference is None else reference.axes or reference.lateral
    if axes is None:
        return None
    notes = measurement.car.corner(corner)
    motion = joints_by_motion(tied, measurement.kit, notes, axes.axes, corner)
    if isinstance(motion, Refusal):
        answer.tell(replace(motion.finding, level=NOTE))
    if not isinstance(motion, Motion):
        return None
    answer.motion = motion
    answer.tell(*motion.findings)
    return motion, axes.axes


def _base(corner, bridged, wishes, answer):
    """The state to answer from: as asked, else the newest at ride height, else the first there is."""
    if wishes.state is not None:
        if wishes.state in bridged:
            return wishes.state
        answer.tell(Finding(UNUSABLE, corner, f"there is no state {wishes.state!r} to answer from",
                            "use one of " + ", ".join(bridged) if bridged else "take photos of it"))
        return None
    for kind in (FITTED, SET):
        for name in reversed(list(bridged)):
            if name.startswith(kind):
                return name
    return next(iter(bridged), None)


def solve_answer(answer, car, wishes, corners, measured_figures, samples=SAMPLES):
    """Fill in a CornerAnswer from its base.

    corners: state -> linkage Corner (for the other ways and the earlier link); measured_figures: the measure
    run's.
    """
    notes, base = car.corner(answer.corner), answer.base
    state = base.state
    answer.travel, findings = travel_of(base, corners, notes)
    answer.tell(*findings)
    answer.wanted = wanted_of(notes, wishes)
    adjuster, findings = adjuster_of(notes, answer.corner)
    answer.tell(*findings)
    answer.adjuster = adjuster
    stop_given = bump_known(corners, notes) is not None
    way = lowered_travel(answer.travel, wishes.lowered_mm, stop_given) if wishes.lowered_mm else answer.travel
    answer.travel = way
    on_stops = near_stops(way, answer.corner, stop_given)
    _two_ways(answer, corners, measured_figures, notes, samples)
    may_leave()
    hole = ("present", 0.0) if not wishes.hole_mm else (f"{wishes.hole_mm:g} mm nearer", wishes.hole_mm)
    answer.advice = advise(base, way, answer.wanted, adjuster, hole, sampling=Sampling(samples))
    if notes.link.eye_holes_mm:
        holes = [(f"{abs(h):g} mm {'nearer to' if h > 0 else 'farther from'} the bush", h)
                 for h in notes.link.eye_holes_mm]
        answer.holes = advise_holes(base, way, holes, answer.wanted, adjuster,
                                    sampling=Sampling(samples, budget=False))
    for name, corner in corners.items():
        may_leave()
        if has_new_link(state) and is_set(name):
            earlier = advise(corner, way, answer.wanted, adjuster, sampling=Sampling(samples, budget=False))
            if not isinstance(earlier, Refusal):
                answer.earlier[name] = earlier
    if answer.arm:
        _travels(answer, notes, way, wishes, hole, samples)
    answer.looked_at = looked_at(answer, measured_figures, notes.hose.wanted_gap_mm)
    hold_back(answer, *on_stops, asked=wishes.change_mm is not None or wishes.length_mm is not None)
    _collect(answer)


def _two_ways(answer, corners, measured_figures, notes, samples):
    """Ride height as measured at set, and as carried from the state farthest from it; one checks the
    other."""
    hanging = next((c for name, c in corners.items() if not at_ride_height(name)), None)
    if hanging is not None:
        travel, _ = travel_of(hanging, corners, notes)
        carried = carry(hanging, replace(travel, lowered_mm=answer.travel.lowered_mm), samples=samples)
        if isinstance(carried, Refusal):
            answer.tell(replace(carried.finding, level=ATTENTION))
        else:
            answer.carried, answer.carried_from = carried.figures.get("bar_arm_angle"), hanging.state
            answer.tell(*carried.findings)
    at_set = next((name for name in corners if is_set(name)), None)
    if at_set is None or answer.travel.lowered_mm:
        return
    measured = next((f for f in measured_figures if (f.corner, f.state, f.name, f.datum)
                     == (answer.corner, at_set, "bar_arm_angle", "chassis")), None)
    if measured is not None:
        answer.measured = at_ride(measured, corners[at_set], answer.travel)
    if answer.measured is not None and answer.carried is not None:
        answer.check = check({f"measured in {at_set}": answer.measured,
                              f"carried from {answer.carried_from}": answer.carried})
        if answer.check.finding is not None:
            answer.tell(answer.check.finding)


def _travels(answer, notes, way, wishes, hole, samples):
    answer.hole_mm, answer.joint_limit_deg = hole[1], notes.joint_limit_deg
    options = dict(sampling=Sampling(samples // 2),
                   limits=Limits(notes.joint_limit_deg, notes.hose.wanted_gap_mm))
    may_leave()
    answer.present = over_travel(answer.base, way, **options)
    change = _change(answer, wishes)
    if change is not None and (abs(change) > 0.01 or hole[1]):
        answer.change_mm = change
        may_leave()
        answer.proposed = over_travel(answer.base, way, change, hole_mm=hole[1], **options)
    if notes.link.lengths_mm and not isinstance(answer.advice, Refusal):
        answer.choices = choices(answer.base, way, answer.advice.figures["link_length"].value,
                                 notes.link.lengths_mm, answer.wanted, options["limits"], hole[1],
                                 Sampling(samples // 4))
    for result in (answer.present, answer.proposed):
        if isinstance(result, Refusal):
            answer.tell(result.finding)
    # what is said of the travel is said of the link that is to stay
    last = answer.proposed if answer.proposed is not None else answer.present
    if not isinstance(last, Refusal):
        answer.tell(*last.findings)


def _change(answer, wishes):
    if isinstance(answer.advice, Refusal):
        return wishes.change_mm
    if wishes.change_mm is not None:
        left = answer.advice.figures["link_length"].value + wishes.change_mm
        if left < SHORTEST_LINK_MM:
            raise CannotUse("--change", f"{wishes.change_mm:g} mm would leave a link of {left:.0f} mm in"
                            f" {answer.corner}", "give what it is to be longer or shorter by, such as -7 mm")
        return wishes.change_mm
    if wishes.length_mm is not None:
        return wishes.length_mm - answer.advice.figures["link_length"].value
    return answer.advice.change_mm


def _collect(answer):
    """Figures in the order of the JSON contract."""
    if answer.carried is not None:
        answer.figures.append(answer.carried)
    if isinstance(answer.advice, Refusal):
        answer.tell(answer.advice.finding)
    else:
        figures, state = dict(answer.advice.figures), answer.base.state
        if answer.carried is not None:
            # the same name cannot stand twice: what the base gives has its state in its own
            own = figures.pop("bar_arm_angle", None)
            if own is not None and answer.carried_from != state:
                answer.figures.append(replace(own, state=f"predicted-ride from {state}"))
        answer.figures += figures.values()
        answer.tell(*answer.advice.findings)
    for result, state in ((answer.present, "travel"), (answer.proposed, "travel-proposed")):
        if result is None or isinstance(result, Refusal):
            continue
        for near in result.nearest.values():
            answer.figures += travel_figures(near, state)
        ratio = result.at_ride.get("motion_ratio")
        if ratio is not None:
            answer.figures.append(
                replace(ratio, state="predicted-ride" if state == "travel" else "predicted-ride-proposed"))


def travel_figures(near, state):
    """The extreme of a course, and where in the travel it lies, as two Figures."""
    f = replace(near.figure, state=state)
    spread = (near.at_high95_mm - near.at_low95_mm) / 3.92
    at = replace(f, name=f"{f.name}_at_travel", unit="mm", datum=None, value=near.at_mm, u=spread,
                 low95=near.at_low95_mm, high95=near.at_high95_mm, budget={})
    return f, at
