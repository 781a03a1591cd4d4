"""The linkage by itself, from points that were surveyed elsewhere: length, travel, stiffness."""

import numpy as np

from photoangle.linkage import (
    BarShape,
    Corner,
    Limits,
    Taped,
    Travel,
    Wanted,
    bar_rate,
    closest,
    level_link,
    over_travel,
    stiffness_ratio,
    wheel_rate,
)

# Chassis frame: x forward, y left, z up, mm, at ride height; each point known to 0.5 mm.
POINTS = {
    "bar_bush": (325, 508, 332), "bar_eye": (124, 551, 363), "link_foot": (131, 580, 213),
    "arm_pivot_front": (230, 380, 190), "arm_pivot_rear": (-215, 370, 181), "arm_ball_joint": (10, 702, 162),
    "hub": (0, 748, 300), "hose_a": (150, 505, 456), "hose_b": (104, 583, 423), "hose_c": (43, 646, 412),
}
names = tuple(POINTS)
corner = Corner("front-left", "set", names, np.array([POINTS[n] for n in names], float),
                {"survey": 0.5**2 * np.eye(3 * len(names))}, hub_to_arch_mm={"set": Taped(325.0, 0.5),
                                                                            "ride": Taped(325.0, 0.5)},
                hose_leads_away=True, radius_mm={"hose": 5.0, "eye": 14.0, "link": 11.0, "bar": 11.0})
way = Travel(-53.0, 40.0)

advice = level_link(corner, way, Wanted(0.0, within_deg=3.0))
length = advice.figures["link_length"].value + advice.change_mm
print(f"{advice.verdict}: a link of {length:.1f} mm, {-advice.change_mm:.1f} mm shorter")

now = over_travel(corner, way, limits=Limits({"eye": 25.0, "foot": 25.0}))
then = over_travel(corner, way, advice.change_mm, limits=Limits({"eye": 25.0, "foot": 25.0}))
part, near = closest(then)
print(f"nearest to the hose: the {part}, {near.lowest:.0f} mm at least, {near.verdict}")

rate = bar_rate(BarShape(diameter_mm=22.0, length_mm=820.0, arm_mm=208.0, lever_mm=204.0))
roll, u = wheel_rate(rate, then.at_ride["motion_ratio"], opposite=True)
print(f"the bar: {rate:.1f} N/mm at its eyes, {roll:.1f} +- {1.96 * u:.1f} N/mm at each wheel in roll,"
      f" {stiffness_ratio(now, then):.2f} times what it was")
