"""Leaving something out never narrows an answer, and never turns "can't tell" into a verdict."""

import numpy as np
import pytest

from photoangle.core.findings import Refusal
from photoangle.linkage.kinematics.layout import FEET
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Limits, over_travel
from tests.linkage.told_half.real_corners import OPTIONAL, TRAVEL, measured, real_corner

SAMPLES = 900


def _answer(real, k, told, state):
    corner = measured(real, np.random.default_rng([31, k]), frozenset(told), state=state)
    limits = Limits({"eye": 22.0, "foot": 22.0})
    return over_travel(corner, TRAVEL, sampling=Sampling(SAMPLES, seed=5), limits=limits)


def _width(figure):
    return figure.high95 - figure.low95


@pytest.mark.parametrize("k", range(4))
def test_one_thing_left_out_widens_or_leaves_as_it_was(k):
    real, state = real_corner(np.random.default_rng([30, k]), FEET[k % 3]), ("droop", "set")[k % 2]
    whole = _answer(real, k, OPTIONAL, state)
    for left_out in OPTIONAL:
        less = _answer(real, k, set(OPTIONAL) - {left_out}, state)
        assert not isinstance(less, Refusal)
        for name, near in less.nearest.items():
            full = whole.nearest[name]
            if full.verdict == "cannot tell":
                assert near.verdict == "cannot tell", (left_out, name)
            if name in ("gap_min_eye", "gap_min_link", "gap_min_arm"):
                # its samples lie in two heaps, so that the interval says more than u
                assert _width(near.figure) > 0.85 * _width(full.figure), (left_out, name)
        for name, f in less.at_ride.items():
            full = whole.at_ride.get(name)
            if full is None or name.startswith("gap"):
                continue
            # a different nominal geometry has other slopes: 8 of 100, and sampling's 3
            assert f.u > 0.89 * full.u, (left_out, name, f.u, full.u)
