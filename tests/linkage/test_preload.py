"""Preload: the bar's twist against its free shape."""

import numpy as np
import pytest

from photoangle.core.findings import Refusal
from photoangle.linkage.corner import Corner, Taped
from photoangle.linkage.kinematics.lengths import Wanted
from photoangle.linkage.kinematics.mechanism import bar_arm_angle, position
from photoangle.linkage.preload import Angle, Bar, Heights, preload, sides_differ, unstressed_links
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Travel
from tests.linkage.corners import corner

TRAVEL = Travel(-70, 60)


def _angles(*values, u=0.05):
    """Left and right with both links on, then with one off."""
    angles = [Angle(v, u) for v in values]
    return tuple(angles[:2]), tuple(angles[2:])


def test_twist_in_degrees_millimetres_and_newtons():
    # free: right arm 1 deg higher than the left; linked: 3 deg; a lever of 200 mm, both near level
    p = preload("front", *_angles(-1.0, 2.0, -4.0, -3.0), Bar(200, rate_n_per_mm=25))
    assert p.twist_deg.value == pytest.approx(2.0)
    # the right eye stands at 200 sin 2 deg, a free bar would have it at 200 sin(-1 + 1) = 0
    assert p.eye_mm.value == pytest.approx(200 * np.sin(np.radians(2.0)))
    assert p.force_n.value == pytest.approx(25 * p.eye_mm.value)
    assert p.twist_deg.u == pytest.approx(0.1, rel=0.03)  # four readings of 0.05 deg
    assert p.verdict == "preloaded"


def test_equal_eye_heights_alone_do_not_prove_it_free():
    bent = preload("front", *_angles(0.0, 0.0, -2.0, 0.0), Bar(200))
    assert bent.verdict == "preloaded" and bent.eye_mm.value < -6
    free = preload("front", *_angles(-1.0, 1.0, -3.0, -1.0), Bar(200))
    assert free.verdict == "none"
    assert any("driver" in f.what for f in free.findings)


def test_near_the_allowance_it_cannot_tell():
    assert preload("front", *_angles(0, 0.6, 0, 0, u=0.2), Bar(200)).verdict == "cannot tell"


def _right(**rest):
    """The left corner, mirrored."""
    left = corner(**rest)
    mirrored = left.positions_mm * [1, -1, 1]
    return Corner(**{**left.__dict__, "name": "front-right", "positions_mm": mirrored})


def test_unstressed_links_put_both_arms_where_the_free_bar_has_them():
    left = corner()
    right = _right(hub_to_arch_mm={"droop": Taped(400.0, 0.8), "ride": Taped(324.0, 0.8)})
    for share, wanted in (("both", (-1.0 - 0.75, -1.0 + 0.75)), ("left", (-1.0, 0.5))):
        links = unstressed_links((left, TRAVEL), (right, TRAVEL), Angle(1.5, 0.1), Wanted(-1.0), share,
                                 Sampling(300))
        for made, link, rise, angle in ((left, links.left, 70.0, wanted[0]), (right, links.right, 76.0,
                                                                              wanted[1])):
            layout = made.nominal()
            got = bar_arm_angle(layout,
                                position(layout, np.full((1, 1), rise), np.float64(link.value)).bar_turn)
            assert np.degrees(got).item() == pytest.approx(angle, abs=1e-6)
        assert links.left_change.u < 3


def test_unstressed_links_beyond_the_dead_line_are_refused():
    sides = (corner(), TRAVEL), (_right(), TRAVEL)
    assert isinstance(unstressed_links(*sides, Angle(0.0, 0.1), Wanted(-60.0), sampling=Sampling(100)), Refusal)


def _sides(left, right, u=1.0):
    return sides_differ("front", *(Heights({k: (v, u) for k, v in h.items()}) for h in (left, right)))


def test_the_other_side_is_checked():
    assert not _sides({"set": 330}, {"set": 331})
    (found,) = _sides({"set": 330}, {"set": 341})
    assert "330 mm left and 341 mm right" in found.what and found.do


def test_two_ride_heights_are_not_to_be_made_equal():
    """A car that stands 11 mm lower on one side: each side is set to its own height."""
    (said,) = _sides({"ride": 330, "set": 331}, {"ride": 341, "set": 341})
    assert said.level == "note" and "each side has its own ride height" in said.what
    assert not any("same height" in f.do for f in (said,))
    # made equal against its own height on the wheels, the bar is twisted
    twisted = [f for f in _sides({"ride": 330, "set": 335}, {"ride": 341, "set": 335}) if f.level != "note"]
    assert len(twisted) == 1 and "its own hub to arch" in twisted[0].do


def test_misuse_raises():
    with pytest.raises(ValueError):
        preload("front", *_angles(0, 0, 0, 0), Bar(-200))
    with pytest.raises(ValueError):
        preload("front", *_angles(0, 0, 0, 0), Bar(200, rate_n_per_mm=0))
