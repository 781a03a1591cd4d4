"""What a tape reads of a random real corner: the readings that the answer by tape alone is made from."""

from __future__ import annotations

import numpy as np

from photoangle.linkage.corner import Taped
from photoangle.linkage.tape_only import Readings, tape_corner


def taped(real, rng, u_mm=0.8):
    """TapedCorner of a real corner at droop, each reading off by u_mm; the car's pitch and roll are known."""
    corner = real.corner
    at = dict(zip(corner.names, corner.positions_mm, strict=True))
    axis = at["arm_pivot_front"] - at["arm_pivot_rear"]
    axis = axis / np.linalg.norm(axis)
    pivot = at["arm_pivot_front"] + axis * ((at["arm_ball_joint"] - at["arm_pivot_front"]) @ axis)
    bar, arm = at["bar_eye"] - at["bar_bush"], at["arm_ball_joint"] - pivot

    def read(value):
        return Taped(float(value) + rng.normal(0, u_mm), u_mm)

    heights = {n: read(at[n][2]) for n in ("bar_bush", "bar_eye", "arm_ball_joint", "link_foot")}
    heights["arm_pivot"] = read(pivot[2])
    lengths = {"bar_arm": read(np.hypot(bar[0], bar[2])), "control_arm": read(np.linalg.norm(arm)),
               "link": read(np.linalg.norm(at["bar_eye"] - at["link_foot"]))}
    if corner.link_foot_on == "control arm":
        reach = at["link_foot"] - pivot
        lengths["foot_from_pivot"] = read(np.hypot(reach[1], reach[2]))
    arch = {s: read(t.value_mm) for s, t in corner.hub_to_arch_mm.items()}
    readings = Readings(heights, lengths, arch, pitch_deg=(0.0, 0.1), roll_deg=(0.0, 0.1))
    return tape_corner(corner.name, "droop", readings, eye_ahead=bool(bar[0] > 0),
                       link_foot_on=corner.link_foot_on)
