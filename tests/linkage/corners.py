"""A corner of no car in particular, for the linkage's tests."""

import numpy as np

from photoangle.linkage.corner import Corner, Taped

POINTS = dict(bar_bush=(250, 330, 150),
              bar_eye=(20, 400, 90),
              link_foot=(15, 420, -35),
              arm_pivot_front=(150, 250, -30),
              arm_pivot_rear=(-150, 250, -25),
              arm_ball_joint=(0, 590, -80),
              hub=(0, 640, 30),
              arch_lip=(0, 680, 430),
              hose_a=(0, 350, 200),
              hose_b=(70, 430, 150),
              hose_c=(50, 560, 60))
UPPER = dict(upper_pivot_front=(120, 330, 260),
             upper_pivot_rear=(-120, 330, 255),
             upper_ball_joint=(-15, 560, 250))
STRUT = dict(strut_top=(-10, 520, 520), strut_low=(-5, 575, 60))
TIE_ROD = dict(tie_rod_inner=(-140, 270, 10), tie_rod_outer=(-130, 580, -20))
ARCH = {"droop": Taped(400.0, 0.8), "ride": Taped(330.0, 0.8)}


def corner(u_mm=0.3, state="droop", change=None, drop=(), **rest):
    """A Corner with an uncertainty of u_mm in every coordinate; change: points to add or replace; drop: to
    leave out."""
    at = {k: v for k, v in (POINTS | (change or {})).items() if k not in drop}
    names = tuple(at)
    # hub and ball joint rise alike unless a test says otherwise
    rest = {"hub_differs_within": 0.0, "hose_leads_away": True, "hub_to_arch_mm": ARCH, "radius_mm": {"eye": 12.0, "link": 6.0, "hose": 6.0, "bar": 10.0},
            "hose_on": {"hose_a": "chassis", "hose_b": "mid", "hose_c": "knuckle"}} | rest
    return Corner("front-left", state, names, np.array([at[n] for n in names], float),
                  {"pixels": np.eye(3 * len(names)) * u_mm**2}, **rest)
