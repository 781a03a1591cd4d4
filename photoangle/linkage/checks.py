"""Geometry that cannot be: said with a reason and a remedy before any number is made of it."""

from __future__ import annotations

import numpy as np

from photoangle.core.arrays import Array
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding
from photoangle.core.roles import ARM_BALL_JOINT, BAR_BUSH, BAR_EYE, LINK_FOOT
from photoangle.core.states import DROOP, FITTED, RIDE, SET
from photoangle.linkage.kinematics.closure import branch_side, reach_of_bar
from photoangle.linkage.kinematics.knuckle import arm_angle_for_rise, knuckle_at
from photoangle.linkage.kinematics.layout import Layout
from photoangle.linkage.kinematics.mechanism import assembled_link_mm, foot_at
from photoangle.linkage.kinematics.sampled_corner import SampledCorner
from photoangle.linkage.kinematics.turning import length, square_to
from photoangle.linkage.sampled import LOST_SHARE

# What passenger and club cars have, mm (common practice, no source): wide, to catch units and mix-ups only.
SENSIBLE_MM = {"bar lever": (60.0, 600.0), "link": (40.0, 600.0), "control arm": (120.0, 900.0),
               "hub to arch": (100.0, 900.0)}
# What a number without its unit is taken for: factor to mm, and the unit it was read in.
_SLIPS = ((25.4, "inches"), (10.0, "centimetres"))
# A taped link and the distance of its joints: beyond this many standard uncertainties they contradict.
_CONTRADICT = 4.0
_NEAR_DEAD_DEG = 5.0
_TOPS = {"strut_top", "upper_ball_joint"}


def check_length(name: str, value_mm: float, where: str) -> Finding | None:
    """A Finding where a length is negative, not a number, in the wrong unit or out of all reason; else None.

    name: a key of SENSIBLE_MM.
    """
    low, high = SENSIBLE_MM[name]
    if not np.isfinite(value_mm) or value_mm <= 0:
        return Finding(UNUSABLE, where, f"{name} {value_mm:g} mm: a length must be more than zero",
                       "read it again")
    if low <= value_mm <= high:
        return None
    slips = [(f, unit) for f, unit in _SLIPS if low <= value_mm * f <= high]
    if slips:
        units = " or ".join(unit for _, unit in slips)
        would = " or ".join(f"{value_mm * f:.0f}" for f, _ in slips)
        return Finding(UNUSABLE, where,
                       f"{name} {value_mm:.1f} mm is out of all reason ({units} taken for mm?)",
                       f"as {would} mm it would fit: write the unit with the reading")
    return Finding(UNUSABLE, where,
                   f"{name} {value_mm:.1f} mm is out of all reason ({low:.0f} to {high:.0f} mm)",
                   "are two readings or two markers mixed up?")


def check_corner(corner: SampledCorner, samples: int = 400, seed: int = 1) -> tuple[Finding, ...]:
    """Findings about a corner as it stands at its reference state; any "unusable" one forbids figures.

    corner: Corner or anything with ``nominal``, ``sample`` and ``name``.  Returns a tuple of Finding.
    """
    layout = corner.nominal()
    where = f"{corner.name}/{layout.state}"
    if not all(np.isfinite(p).all() for p in layout.at.values()):
        return (Finding(UNUSABLE, where, "the readings do not make a corner",
                        "read the lengths and heights again"),)
    eye, bush, foot = (layout.at[n] for n in (BAR_EYE, BAR_BUSH, LINK_FOOT))
    lever = length(square_to(eye - bush, layout.bar_axis)).item()
    arm = length(square_to(layout.at[ARM_BALL_JOINT] - layout.arm_origin, layout.arm_axis)).item()
    joints = length(eye - foot).item()
    checked = [check_length("bar lever", lever, where), check_length("control arm", arm, where),
               check_length("link", assembled_link_mm(layout).item(), where)]
    checked += [check_length("hub to arch", v.item(), f"{corner.name}/{state}")
                for state, v in layout.hub_to_arch_mm.items()]
    found = [f for f in checked if f is not None]
    found += [] if found else _hanging(layout, where)
    if layout.link_mm is not None and not found:
        found += _taped_link(layout.link_mm.item(), joints, corner.sample(samples, seed), where)
    if layout.foot_on == "control arm":
        reach = length(square_to(foot - layout.arm_origin, layout.arm_axis)).item()
        if reach > 1.15 * arm:
            found.append(
                Finding(
                    UNUSABLE, where, f"the link's foot is {reach:.0f} mm from the arm's pivots, farther than"
                    f" the ball joint ({arm:.0f} mm)", "are the two mixed up, or does the link stand on the"
                    " knuckle or the strut?"))
    elif not _TOPS & set(corner.given):
        found.append(
            Finding(
                NOTE, where,
                f"the link's foot is on the {layout.foot_on}, whose tilt over the travel is not known: any"
                " usual one is allowed for", "give the strut's top or the upper arm"))
    return tuple(found + _dead_line(corner, layout, samples, seed, where))


def _hanging(layout: Layout, where: str) -> list[Finding]:
    """A wheel that hangs cannot be nearer to its arch than one that carries the car."""
    arch = {state: v.item() for state, v in layout.hub_to_arch_mm.items()}
    out = []
    for state in (SET, RIDE, FITTED):
        if {DROOP, state} <= set(arch) and arch[DROOP] <= arch[state]:
            out.append(
                Finding(
                    UNUSABLE, where,
                    f"hub to arch is {arch['droop']:.0f} mm at droop and {arch[state]:.0f} mm at"
                    f" {state}: a hanging wheel is farther from its arch", "are the two readings mixed up?"))
    return out


def check_hole(corner: SampledCorner, hole_mm: float) -> Finding | None:
    """A Finding where an eye hole hole_mm nearer to the bar's axis leaves no bar lever to speak of, else
    None."""
    layout = corner.nominal()
    lever = length(square_to(layout.at[BAR_EYE] - layout.at[BAR_BUSH], layout.bar_axis)).item()
    low, high = SENSIBLE_MM["bar lever"]
    if low <= lever - hole_mm <= high:
        return None
    return Finding(
        UNUSABLE, f"{corner.name}/{layout.state}",
        f"an eye hole {hole_mm:g} mm nearer to the bar's axis leaves a"
        f" lever of {lever - hole_mm:.0f} mm, out of all reason ({low:.0f} to {high:.0f} mm)",
        "measure from the present hole to the other one; outwards is negative")


def _taped_link(taped: float, joints: float, drawn: Layout, where: str) -> list[Finding]:
    u = np.nanstd(length(drawn.at[BAR_EYE] - drawn.at[LINK_FOOT]) - assembled_link_mm(drawn))
    if abs(taped - joints) <= _CONTRADICT * u:
        return []
    return [
        Finding(UNUSABLE, where,
                f"the link was taped {taped:.1f} mm but its joints are {joints:.1f} mm apart",
                "one of the two is wrong: tape it again from centre to centre")
    ]


def _dead_line(corner: SampledCorner, layout: Layout, samples: int, seed: int, where: str) -> list[Finding]:
    def side(of: Layout) -> Array:
        return branch_side(of.at[BAR_EYE], of.at[BAR_BUSH], of.bar_axis, of.at[LINK_FOOT])

    def sine(of: Layout) -> Array:
        eye, bush, foot = (of.at[n] for n in (BAR_EYE, BAR_BUSH, LINK_FOOT))
        low, high = reach_of_bar(eye, bush, of.bar_axis, foot)
        link = length(eye - foot)
        lever = length(square_to(eye - bush, of.bar_axis))
        out: Array = np.sqrt(np.maximum((high**2 - link**2) * (link**2 - low**2), 0)) / (2 * lever * link)
        return out

    now = side(layout).item()
    other = np.mean(side(corner.sample(samples, seed)) != now)
    if now == 0 or other > LOST_SHARE:
        return [
            Finding(
                UNUSABLE, where,
                "bar arm and link lie in one line as far as can be told: to which side the bar goes"
                " from here is not known",
                "measure with the wheel higher or lower, or measure the joints better")
        ]
    angle = np.degrees(np.arcsin(np.minimum(sine(layout), 1))).item()
    if angle < _NEAR_DEAD_DEG:
        return [
            Finding(
                ATTENTION, where,
                f"bar arm and link are only {angle:.1f} deg from one line, past which the bar can flip"
                " over", "choose a link or a hole that keeps well away from it")
        ]
    return []


def closing_findings(corner: SampledCorner, layout: Layout, rise_mm: Array, bump_mm: Array,
                     link_mm: float) -> list[Finding]:
    """What stops the corner from getting to a travel: the arm, the knuckle, or the link.

    layout: nominal; rise_mm, bump_mm (t,): from the reference state and from ride height; link_mm: scalar.
    Returns Findings, the steps that fail taken together.
    """
    angle = arm_angle_for_rise(layout, rise_mm)
    knuckle = knuckle_at(layout, angle)
    foot = foot_at(layout, angle, knuckle)
    reach = reach_of_bar(layout.at[BAR_EYE], layout.at[BAR_BUSH], layout.bar_axis, foot)
    bump, angle = np.ravel(bump_mm), np.ravel(angle)
    low, high = (np.ravel(r) for r in reach)
    out = []
    stuck = np.isnan(angle) | np.isnan(low)
    if stuck.any():
        out.append(
            Finding(UNUSABLE, corner.name,
                    f"the control arm or the knuckle cannot reach {_range(bump[stuck])}",
                    "check arm length, hub to arch and the travel's limits"))
    for fails, word, edge in ((~stuck & (link_mm < low), "short", low), (~stuck & (link_mm > high), "long",
                                                                         high)):
        if fails.any():
            worst = np.nanmax(edge[fails]) if word == "short" else np.nanmin(edge[fails])
            out.append(
                Finding(
                    UNUSABLE,
                    corner.name,
                    f"a link of {link_mm:.1f} mm is too {word} to close at {_range(bump[fails])}"
                    f" (it needs {'at least' if word == 'short' else 'at most'} {worst:.1f} mm): the bar"
                    " would go past its toggle position",
                    "choose another length or another hole, and check the readings",
                )
            )
    return out


def _range(bump: Array) -> str:
    low, high = bump.min(), bump.max()
    def word(v: float) -> str:
        return f"{abs(v):.0f} mm of {'bump' if v >= 0 else 'droop'} from ride height"
    return word(low) if high - low < 1 else f"{word(low)} to {word(high)}"
