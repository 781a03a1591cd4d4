"""Corners: their samples, frames and refusals."""

from dataclasses import replace

import numpy as np
import pytest

from calib.poses import rotation_from_vector
from photoangle.linkage.corner import Corner, KnownDirection, Taped
from photoangle.linkage.kinematics.mechanism import bar_arm_angle, turn_for_angle
from photoangle.linkage.not_given import KNUCKLE
from photoangle.linkage.sampled import FigureLabel, figure, shares
from tests.linkage.corners import POINTS, corner
from tests.linkage.reference.frames import from_world


def test_samples_have_the_covariance_that_was_given():
    rng = np.random.default_rng(1)
    names = ("bar_bush", "bar_eye", "link_foot", "arm_ball_joint", "arm_pivot_front")
    root = rng.normal(size=(15, 15))
    made = Corner("c", "droop", names, np.array([POINTS[n] for n in names], float),
                  {"a": root @ root.T, "b": np.eye(15)})
    drawn = made.sample(40_000, seed=3)
    stacked = np.concatenate([drawn.at[n][:, 0] for n in names], 1)
    wanted = root @ root.T + np.eye(15)
    # along the principal axes, where a wrong scale or a lost correlation shows
    values, vectors = np.linalg.eigh(wanted)
    spread = np.var(stacked @ vectors, axis=0) / values
    assert np.abs(spread - 1).max() < 5 * np.sqrt(2 / 40_000)


def test_one_source_alone_moves_only_what_it_touches_and_the_seed_repeats():
    made = corner(hub_to_arch_mm={"droop": Taped(400, 2.0)})
    tape = made.sample(500, seed=1, only="hub to arch")
    assert np.ptp(tape.at["bar_eye"], axis=0).max() == 0
    assert abs(np.std(tape.hub_to_arch_mm["droop"]) - 2.0) < 5 * 2.0 / np.sqrt(1000)
    again = made.sample(500, seed=1)
    assert np.array_equal(again.hub_to_arch_mm["droop"], tape.hub_to_arch_mm["droop"])


def test_few_degrees_of_freedom_widen_the_tails():
    made = corner(u_mm=1.0)
    few = Corner(**{**made.__dict__, "dof": {"pixels": 5}})
    def tail(c):
        return np.mean(np.abs(c.sample(20_000, 2).at["hub"][:, 0, 0] - POINTS["hub"][0]) > 2.571)

    assert tail(few) == pytest.approx(0.05,
                                      abs=5 * np.sqrt(0.05 / 20_000))  # Student's t, 5 degrees of freedom
    assert tail(made) < 0.02


def test_two_bush_points_give_the_bars_axis_pointing_left():
    far = corner(change={"bar_bush_far": (250, -330, 150)})
    assert np.allclose(far.nominal().bar_axis, [[[0, 1, 0]]])
    assert "bar axis" not in far.source_names and "bar axis" in corner().source_names
    leaning = corner(bar_axis=KnownDirection.within([0.1, 1, 0], 0.2))
    assert np.allclose(leaning.nominal().bar_axis[0, 0], np.array([0.1, 1, 0]) / np.hypot(1, 0.1))


def test_points_of_another_frame_arrive_with_the_frames_uncertainty():
    names, points = tuple(POINTS), np.array(list(POINTS.values()), float)
    turn = rotation_from_vector(np.array([0.3, -0.2, 1.1]))
    world = points @ turn.T + [5000, -200, 70]
    sigma = np.radians(0.1)
    size = 3 * len(names)
    seen, sources = from_world(names, world, {"pixels": np.eye(size)}, turn,
                               {"chassis": np.eye(3) * sigma**2})
    assert np.allclose(seen, points - points[names.index("bar_bush")], atol=1e-9)
    assert np.allclose(sources["pixels"], np.eye(size))
    # the eye against the bush, 60 mm lower: turned about y by sigma it moves forward by 60 sigma
    eye = slice(3 * names.index("bar_eye"), 3 * names.index("bar_eye") + 3)
    reach = seen[names.index("bar_eye")]
    wanted = sigma**2 * (reach @ reach * np.eye(3) - np.outer(reach, reach))
    assert np.allclose(sources["chassis"][eye, eye], wanted)


def test_pitch_of_the_frame_turns_the_bar_arms_angle_by_itself():
    names, points = tuple(POINTS), np.array(list(POINTS.values()), float)
    sigma = np.radians(0.4)
    seen, sources = from_world(names, points, {}, np.eye(3), {"chassis": np.diag([0, sigma**2, 0])})
    made = Corner("c", "ride", names, seen, sources, bar_axis=KnownDirection.within([0, 1, 0], 0.0))
    zero = np.zeros((1, 1))
    drawn = np.degrees(bar_arm_angle(made.sample(20_000, 1), zero))
    assert np.std(drawn) == pytest.approx(0.4, rel=5 / np.sqrt(40_000))


def test_turn_for_an_angle_gives_that_angle_on_either_side():
    for ahead in (1, -1):
        layout = corner(change={"bar_eye": (250 + ahead * 230, 400, 90)}).nominal()
        for degrees in (-25.0, 0.0, 40.0):
            turn = turn_for_angle(layout, np.radians(degrees))
            assert np.degrees(bar_arm_angle(layout, turn)).item() == pytest.approx(degrees, abs=1e-9)


def test_shares_sum_to_one_and_name_the_larger_source_first():
    made = corner(u_mm=0.1, hub_differs_within=0.05)
    got = shares(made, lambda layout: layout.at["bar_eye"][..., 0] + 10 * layout.knuckle_turn.rate[..., 0] * 50)
    assert sum(got.values()) == pytest.approx(1.0)
    assert next(iter(got)) == KNUCKLE
    # variance of a rectangle of half-width 0.05 over the hub's 50 mm, 500 times, against 0.01 mm^2
    assert got[KNUCKLE] == pytest.approx((25 / 300) / (25 / 300 + 0.01), abs=0.02)


def test_interval_of_a_rectangle():
    # JCGM 101: the 95 % interval of a rectangular distribution is 95 % of its width
    drawn = np.random.default_rng(0).uniform(-1, 1, 200_000)
    of = FigureLabel("c", "s", "x", None, "mm")
    f = figure(of, 0.0, drawn)
    assert (f.low95, f.high95) == pytest.approx((-0.95, 0.95), abs=0.005)
    assert f.u == pytest.approx(1 / np.sqrt(3), rel=0.005)
    drawn[: 6000] = np.nan
    assert figure(of, 0.0, drawn) is None
    assert figure(of, np.nan, drawn[6000:]) is None


@pytest.mark.parametrize("wrong", [
    {"drop": ("bar_eye",)}, {"drop": ("arm_pivot_front", "arm_pivot_rear")}, {"link_foot_on": "chassis"},
    {"hose_on": {"hose_a": "wheel"}}])
def test_misuse_raises(wrong):
    with pytest.raises(ValueError):
        corner(**wrong)


@pytest.mark.parametrize("change, words", [
    ({"names": "misspelt"}, "no such point"), ({"names": "twice"}, "no such point"),
    ({"sources": "asymmetric"}, "no covariance"), ({"sources": "negative"}, "no covariance"),
    ({"sources": "not a number"}, "no covariance"), ({"radius_mm": {"eyes": 14.0}}, "radius_mm: no such key: eyes"),
    ({"stud": {"hub": KnownDirection.within([0, 1, 0], 5.0)}}, "stud: no such key: hub"),
    ({"hose_on": {"hose_d": "mid"}}, "hose_on: no such key: hose_d")])
def test_every_part_is_checked_by_name(change, words):
    good = corner()
    size = 3 * len(good.names)
    skew = np.eye(size)
    skew[0, 1] = 0.5
    wrong = {"misspelt": (*good.names[:-1], "bar_eyee"), "twice": (*good.names[:-1], good.names[0]),
             "asymmetric": {"x": skew}, "negative": {"x": -np.eye(size)}, "not a number": {"x": np.full((size, size), np.nan)}}
    change = {k: wrong.get(v, v) if isinstance(v, str) else v for k, v in change.items()}
    with pytest.raises(ValueError, match=words):
        replace(good, **change)
