"""The whole linkage against the demo car's own table of its travel, which was made by other code."""

import json
from dataclasses import replace

import numpy as np
import pytest

from photoangle.linkage.corner import Corner, KnownDirection, Taped
from photoangle.linkage.not_given import KNUCKLE
from photoangle.linkage.ride import carry
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Travel, over_travel
from tests.conftest import SAMPLES

MICRODEGREE = 1e-6
TOP = ("upper_pivot_front", "upper_pivot_rear", "upper_ball_joint", "tie_rod_inner", "tie_rod_outer")
PLAIN = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_pivot_rear", "arm_ball_joint", "hub",
         "arch_lip")


def _truth():
    whole = json.loads((SAMPLES / "truth.json").read_text())
    return whole["linkage"]["front-left"], whole["states"]


def _corner(state, at, names, axis, u_mm=0.0, tape_u_mm=0.0):
    arch = {"droop": Taped(378.0, tape_u_mm), "set": Taped(325.0, tape_u_mm), "ride": Taped(325.0, tape_u_mm)}
    return Corner("front-left",
                  state,
                  names,
                  np.array([at[n] for n in names], float), {"pixels": np.eye(3 * len(names)) * u_mm**2},
                  bar_axis=KnownDirection.within(axis, 0.1 if u_mm else 0.0),
                  hub_to_arch_mm=arch)


@pytest.mark.parametrize("change_mm, column", [(0.0, "bar_arm_angle_deg"),
                                               (-30.0, "bar_arm_angle_deg_new_link")])
def test_travel_with_either_link_is_as_in_the_table(change_mm, column):
    linkage, _ = _truth()
    made = _corner("set", linkage["joints_at_ride"], PLAIN + TOP, linkage["bar_axis"]["direction"])
    rows = linkage["travel"]
    rise = np.array([325.0 - r["hub_to_arch_mm"] for r in rows])
    assert rise.min() < -50 and rise.max() > 35
    order = np.argsort(rise)
    travel = Travel(rise.min(), rise.max(), steps=len(rows))
    assert np.allclose(travel.steps_mm, rise[order])
    result = over_travel(made, travel, change_mm, sampling=Sampling(50))
    for name, key in (("bar_arm_angle", column), ("control_arm_angle", "control_arm_angle_deg")):
        wanted = np.array([rows[k][key] for k in order])
        assert np.abs(result.courses[name].value -
                      wanted).max() < 2 * MICRODEGREE, name  # as many figures as the table has


def test_droop_carried_without_the_knuckle_holds_the_truth():
    linkage, states = _truth()
    droop = states["front-left/droop"]
    axes = np.array([droop["chassis_axes_world"][k] for k in ("x_forward", "y_left", "z_up")])
    at = {k: axes @ (np.array(v) - droop["chassis_origin_world"]) for k, v in droop["joints"].items()}
    true = states["front-left/set"]["figures"]["bar_arm_angle"]["chassis"]
    bare = carry(_corner("droop", at, PLAIN, linkage["bar_axis"]["direction"], 0.3, 0.6),
                 Travel(-53, 40)).figures["bar_arm_angle"]
    # hub and ball joint do not rise alike, as much as the best guess and a little more or less
    assert abs(bare.value - true) < 0.35 and bare.low95 < true < bare.high95
    assert next(iter(bare.budget)) == KNUCKLE
    # told that they rise alike it is wrong by a third of a degree
    alike = _corner("droop", at, PLAIN, linkage["bar_axis"]["direction"], 0.3, 0.6)
    told = carry(replace(alike, hub_differs_within=0.0), Travel(-53, 40)).figures["bar_arm_angle"]
    assert 0.2 < abs(told.value - true) < 0.5
