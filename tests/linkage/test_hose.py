"""The hose's points over the travel: between two heights, beyond them, and carried by shares."""

import numpy as np
import pytest

from photoangle.linkage.corner import Taped
from photoangle.linkage.kinematics.hose import WANDER, hose_places
from photoangle.linkage.kinematics.mechanism import position
from tests.linkage.corners import POINTS, corner

SECOND = np.array(POINTS["hose_a"]) + (12.0, -4.0, 30.0)


def _seen_twice(**rest):
    made = corner(
        0.001,
        drop=("hose_b", "hose_c"),
        change={"hose_a_second": tuple(SECOND)},
        second_state="set",
        hose_on={},
        hub_to_arch_mm={"droop": Taped(400, 1e-6), "set": Taped(340, 1e-6), "ride": Taped(330, 1e-6)},
        **rest)
    return made


@pytest.mark.parametrize("rise_mm, share", [(0.0, 0.0), (60.0, 1.0), (30.0, 0.5), (90.0, 1.5), (-30.0, -0.5)])
def test_on_the_line_through_both_places(rise_mm, share):
    made = _seen_twice()
    layout = made.nominal()
    at = hose_places(layout, position(layout, np.array([[rise_mm]])), np.array([[rise_mm]]), made)["hose_a"]
    first = np.array(POINTS["hose_a"])
    assert at.ravel() == pytest.approx(first + share * (SECOND - first), abs=1e-9)


def test_beyond_the_two_heights_it_is_less_sure():
    made = _seen_twice()
    layout = made.sample(4000)
    rise = np.array([[30.0, 90.0]])
    spread = hose_places(layout, position(layout, rise), rise, made)["hose_a"].std(axis=0)
    # half the movement is extrapolated at 90 of 60 mm
    assert np.linalg.norm(spread[0]) < 0.05
    assert np.linalg.norm(spread[1]) == pytest.approx(WANDER * 0.5 *
                                                      np.linalg.norm(SECOND - POINTS["hose_a"]),
                                                      rel=0.05)


def test_seen_once_and_nothing_said_it_may_be_anything_between():
    made = corner(0.001, drop=("hose_b", "hose_c"), hose_on={})
    layout = made.sample(4000)
    rise = np.array([[50.0]])
    place = position(layout, rise)
    at = hose_places(layout, place, rise, made)["hose_a"]
    still, moved = layout.at["hose_a"], place.knuckle.carried(layout.at["hose_a"])
    share = ((at - still)[..., 2] / (moved - still)[..., 2]).ravel()
    # evenly spread from 0 to 1: a standard deviation of 1 / sqrt(12)
    assert share.min() >= 0 and share.max() <= 1 and share.std() == pytest.approx(12**-0.5, rel=0.03)
