"""Joints by motion on invented corners with exact truth."""

from dataclasses import replace

import numpy as np
import pytest

from calib.poses import Pose, rotation_from_vector
from photoangle.core.findings import Refusal
from photoangle.linkage.corner import Corner
from photoangle.linkage.kinematics.mechanism import angle_of
from photoangle.linkage.motion.observed import Hints, MotionState, PointOnMarker, Slack, TapedLength
from photoangle.linkage.motion.solve import solve_motion
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Travel, over_travel
from tests.linkage.invented import invented_motion

# Three markers on each part that moves
THREE_EACH = {
    i: body
    for body, ids in (("bar", (101, 115, 121)), ("link", (102, 116, 122)), ("arm", (105, 117, 123)),
                      ("knuckle", (106, 118, 124)))
    for i in ids
}
SHARED = ("bar_eye", "link_foot", "arm_ball_joint")
CORNERS = 20


def _solved(seed, **rest):
    states, bodies, truth, axes = invented_motion(np.random.default_rng([77, seed]), **rest)
    return solve_motion(states, bodies, rest.get("foot_on", "control arm"),
                        slack=Slack(flex_mm=0, flex_deg=0)), truth, axes


def _errors(motion, truth, state=0):
    names, at, covariance = motion.points(motion.states[state])
    return {n: (at[k] - truth[state][n], covariance[3 * k:3 * k + 3, 3 * k:3 * k + 3])
            for k, n in enumerate(names) if n in truth[state]}


def test_without_noise_everything_is_found_exactly():
    motion, truth, axes = _solved(0, turn_deg=1e-7, shift_mm=1e-7, rises_deg=(0, 7, 14))
    for state in range(3):
        for name in SHARED:
            assert np.linalg.norm(_errors(motion, truth, state)[name][0]) < 1e-3, name
    for body in ("bar", "arm"):
        assert np.degrees(np.linalg.norm(np.cross(motion.axis(body)[1], axes[body]))) < 1e-4
    assert motion.turn_deg["arm"] == pytest.approx([0, 7, 14], abs=1e-4)


def test_a_foot_on_the_knuckle_is_found_as_well():
    exact, truth, _ = _solved(0, turn_deg=1e-7, shift_mm=1e-7, foot_on="knuckle", markers=THREE_EACH)
    assert np.linalg.norm(_errors(exact, truth, 2)["link_foot"][0]) < 1e-3
    normed = []
    for seed in range(10):
        states, bodies, truth, _ = invented_motion(np.random.default_rng([78, seed]),
                                                   foot_on="knuckle",
                                                   markers=THREE_EACH)
        errors = _errors(solve_motion(states, bodies, "knuckle"), truth, 1)
        normed += [errors[n][0] @ np.linalg.solve(errors[n][1], errors[n][0]) for n in SHARED]
    assert abs(np.mean(normed) / 3 - 1) < 4 * np.sqrt(2 / (3 * len(normed)))


def test_three_states_without_any_stand_off_give_joints_to_a_millimetre_and_say_how_well():
    squares, normed, axis = [], [], []
    for seed in range(CORNERS):
        motion, truth, axes = _solved(seed, markers=THREE_EACH)
        assert not motion.moved and not motion.open
        errors = _errors(motion, truth)
        for name in SHARED:
            error, covariance = errors[name]
            squares.append(error @ error)
            normed.append(error @ np.linalg.solve(covariance, error))
        _, direction, turn = motion.axis("bar")
        off = np.cross(direction, axes["bar"])
        axis.append(off @ np.linalg.pinv(turn, rcond=1e-6) @ off)
    # noise of 0.1 mm and 0.05 deg an axis in every marker's pose
    assert np.sqrt(np.mean(squares)) < 1.0
    assert np.sqrt(np.max(squares)) < 2.0
    # squares over their covariance: three degrees of freedom each, the mean of 60 within four of its sigmas
    spread = 4 * np.sqrt(2 / (3 * len(normed)))
    assert abs(np.mean(normed) / 3 - 1) < spread
    assert abs(np.mean(axis) / 2 - 1) < 4 * np.sqrt(2 / (2 * CORNERS))


def test_residuals_are_as_large_as_the_noise_says():
    total = [(m.chi2, m.dof) for m in (_solved(seed)[0] for seed in range(CORNERS))]
    chi2, dof = np.sum(total, axis=0)
    assert abs(chi2 / dof - 1) < 4 * np.sqrt(2 / dof)


def test_a_link_that_was_never_turned_leaves_its_joints_weak_and_a_stand_off_closes_them():
    weak = closed = 0.0
    for seed in range(6):
        states, bodies, truth, _ = invented_motion(np.random.default_rng([5, seed]), twist_deg=0.0)
        plain = solve_motion(states, bodies)
        marker = states[0].markers[101]
        offset = marker.inverse().apply(truth[0]["bar_eye"])
        helped = solve_motion(states, bodies,
                              hints=Hints([PointOnMarker(101, "bar_eye", offset, (0.3, 0.3, 0.3))]))
        for motion, name in ((plain, "plain"), (helped, "helped")):
            if "bar_eye" not in motion.names:
                assert name == "plain" and any("bar eye" in f.what for f in motion.findings)
                continue
            _, covariance = _errors(motion, truth)["bar_eye"]
            u = np.sqrt(np.trace(covariance))
            weak, closed = (max(weak, u), closed) if name == "plain" else (weak, max(closed, u))
    assert weak > 5 and closed < 1


def test_what_the_motion_leaves_open_is_said_and_not_given():
    motion, _, _ = _solved(1, markers={101: "bar", 115: "bar", 105: "arm", 117: "arm"})
    for joint in SHARED:
        assert joint in motion.open and joint not in motion.names
        assert any(joint.replace("_", " ") in f.what and f.do for f in motion.findings)
    assert "bar_bush" in motion.names and "arm_pivot_front" in motion.names
    assert any("along the bar's axis never shows" in f.what for f in motion.findings)


def test_a_knuckle_that_was_never_steered_leaves_the_ball_joint_open():
    motion, _, _ = _solved(2, steer_deg=0.0)
    assert "arm_ball_joint" in motion.open


def test_two_states_give_the_axes_but_no_check():
    motion, _truth, axes = _solved(3, rises_deg=(0, 14))
    assert any("two states" in f.what for f in motion.findings)
    assert np.degrees(np.linalg.norm(np.cross(motion.axis("bar")[1], axes["bar"]))) < 2.0
    assert set(motion.open) >= {"bar_eye", "link_foot"}


@pytest.mark.parametrize("marker", [115, 122, 117, 106])
@pytest.mark.parametrize("from_state", [1, 2])
def test_a_restuck_marker_is_named_and_gets_a_place_of_its_own(marker, from_state):
    states, bodies, truth, _ = invented_motion(np.random.default_rng([9, marker]), markers=THREE_EACH)
    knock = Pose(rotation_from_vector(np.radians([2.0, -1.0, 1.0])), np.array([3.0, 2.0, -2.0]))
    changed = [
        s if k < from_state else MotionState(s.name, s.markers
                                             | {marker: s.markers[marker] @ knock}, s.covariance)
        for k, s in enumerate(states)
    ]
    motion = solve_motion(changed, bodies)
    assert motion.moved == ((marker, f"state {from_state}"),)
    assert any(f"marker {marker} sits elsewhere" in f.what for f in motion.findings)
    for name in SHARED:
        error, covariance = _errors(motion, truth)[name]
        assert error @ np.linalg.solve(covariance,
                                       error) < 21.1, name  # 1 in 10,000 with three degrees of freedom


def test_of_two_markers_on_a_part_both_are_named_when_either_could_have_moved():
    pair = {101: "bar", 115: "bar", 105: "arm", 117: "arm"}
    states, bodies, _, _ = invented_motion(np.random.default_rng(4), rises_deg=(0, 14), markers=pair)
    shift = Pose(np.eye(3), np.array([0, 0, 6.0]))
    changed = [
        states[0],
        MotionState(states[1].name, states[1].markers | {117: states[1].markers[117] @ shift},
                    states[1].covariance)
    ]
    motion = solve_motion(changed, bodies)
    said = [f.what for f in motion.findings if "sits elsewhere" in f.what]
    assert len(motion.moved) == 1 and motion.moved[0][0] in (105, 117)
    assert said and "105" in said[0] and "117" in said[0]


def test_a_link_of_another_length_is_another_part():
    squares = []
    for seed in range(6):
        states, bodies, truth, _ = invented_motion(np.random.default_rng([12, seed]),
                                                   rises_deg=(0, 7, 14, 14),
                                                   link_grows_mm={3: 20.0},
                                                   markers=THREE_EACH)
        motion = solve_motion(states, bodies, hints=Hints(new_link_from=("state 3",)))
        # the new link's markers are new, so that nothing there counts as knocked
        assert not motion.moved
        for state in (0, 3):
            at = dict(
                zip(
                    motion.points(motion.states[state])[0],
                    motion.points(motion.states[state])[1],
                    strict=False,
                )
            )
            length = np.linalg.norm(at["bar_eye"] - at["link_foot"])
            wanted = np.linalg.norm(truth[state]["bar_eye"] - truth[state]["link_foot"])
            squares.append((length - wanted) ** 2)
    # the noise of 0.1 mm and 0.05 deg at work: two joints within a millimetre each
    assert np.sqrt(np.mean(squares)) < 1.0


def test_taped_lengths_pull_the_joints_together():
    states, bodies, truth, _ = invented_motion(np.random.default_rng(8))
    link = np.linalg.norm(truth[0]["bar_eye"] - truth[0]["link_foot"])
    plain = solve_motion(states, bodies)
    taped = solve_motion(states, bodies,
                         hints=Hints(tapes=[TapedLength("bar_eye", "link_foot", link, 0.05)]))

    def spread(motion):
        names, at, covariance = motion.points()
        line = at[names.index("bar_eye")] - at[names.index("link_foot")]
        slope = np.zeros(len(covariance))
        slope[3 * names.index("bar_eye"):][:3] = line / np.linalg.norm(line)
        slope[3 * names.index("link_foot"):][:3] -= line / np.linalg.norm(line)
        return np.sqrt(slope @ covariance @ slope), np.linalg.norm(line)

    assert spread(taped)[0] < 0.0501 < spread(plain)[0]
    assert abs(spread(taped)[1] - link) < 0.2


def test_an_observed_bush_is_placed_along_the_axis():
    states, bodies, truth, _ = invented_motion(np.random.default_rng(10))
    offset = states[0].markers[119].inverse().apply(truth[0]["bar_bush"])
    motion = solve_motion(states, bodies,
                          hints=Hints([PointOnMarker(119, "bar_bush", offset, (0.3, 0.3, 0.3))]))
    error, covariance = _errors(motion, truth)["bar_bush"]
    assert np.linalg.norm(error) < 2.0 and error @ np.linalg.solve(covariance, error) < 21.1
    assert not any("never shows" in f.what for f in motion.findings)


def test_the_result_feeds_the_linkage():
    motion, truth, axes = _solved(6, markers=THREE_EACH)
    names, at, covariance = motion.points("state 0")
    made = Corner("front-left", "set", names, at, {"motion": covariance})
    result = over_travel(made, Travel(-20, 20, steps=5), sampling=Sampling(300))
    arm = truth[0]["bar_eye"] - truth[0]["bar_bush"]
    f = result.at_ride["bar_arm_angle"]
    assert abs(f.value - np.degrees(angle_of(arm, axes["bar"]))) < 4 * f.u
    assert f.u < 0.5


def test_too_little_is_refused():
    states, bodies, _, _ = invented_motion(np.random.default_rng(0),
                                           rises_deg=(0.0, 0.1),
                                           twist_deg=0,
                                           steer_deg=0)
    assert isinstance(solve_motion(states[:1], bodies), Refusal)
    refused = solve_motion(states, bodies)
    assert isinstance(refused, Refusal) and "turned" in refused.finding.what


def test_misuse_raises():
    states, bodies, _, _ = invented_motion(np.random.default_rng(0))
    with pytest.raises(ValueError, match="rides on"):
        solve_motion(states, bodies | {101: "wheel"})
    with pytest.raises(ValueError, match="not there"):
        solve_motion(states, bodies, hints=Hints(new_link_from=("fitted",)))
    with pytest.raises(ValueError, match="joints are"):
        solve_motion(states, bodies, hints=Hints([PointOnMarker(101, "eye", (0, 0, 0), (1, 1, 1))]))
    with pytest.raises(ValueError, match="covariance"):
        solve_motion([MotionState("a", states[0].markers, np.eye(6))] + states[1:], bodies)


def _given(states, truth, sigma=0.3):
    """Where the three joints lie on a marker of theirs."""
    on = {"bar_eye": 101, "link_foot": 105, "arm_ball_joint": 117}
    return [
        PointOnMarker(m, j, states[0].markers[m].inverse().apply(truth[0][j]), (sigma,) * 3)
        for j, m in on.items()
    ]


@pytest.mark.parametrize("wrong", range(3))
def test_a_stand_off_that_contradicts_the_motion_is_named_and_left_out(wrong):
    states, bodies, truth, _ = invented_motion(np.random.default_rng([14, wrong]), markers=THREE_EACH)
    points = _given(states, truth)
    # 25 mm of stand-off forgotten
    points[wrong] = replace(points[wrong], offset_mm=points[wrong].offset_mm + [0, 0, 25.0])
    motion = solve_motion(states, bodies, hints=Hints(points))
    said = [f for f in motion.findings if "does not fit how the parts moved" in f.what]
    assert len(said) == 1 and f"marker {points[wrong].marker} does" in said[0].what and said[
        0].do and not motion.moved
    for name in SHARED:
        error, covariance = _errors(motion, truth)[name]
        assert error @ np.linalg.solve(covariance, error) < 21.1, name


def test_an_inch_burnt_off_a_taped_link_is_named_and_left_out():
    states, bodies, truth, _ = invented_motion(np.random.default_rng(15), markers=THREE_EACH)
    link = np.linalg.norm(truth[0]["bar_eye"] - truth[0]["link_foot"])
    motion = solve_motion(states, bodies,
                          hints=Hints(tapes=[TapedLength("bar_eye", "link_foot", link + 25.4, 0.5)]))
    assert any("taped length from bar eye to link foot" in f.what
               for f in motion.findings) and not motion.moved
    good = solve_motion(states, bodies, hints=Hints(tapes=[TapedLength("bar_eye", "link_foot", link, 0.5)]))
    assert not any("taped length" in f.what for f in good.findings)


def test_one_sticking_error_seen_in_three_states_counts_once():
    states, bodies, truth, _ = invented_motion(np.random.default_rng(16), markers=THREE_EACH)
    once = solve_motion(states, bodies, hints=Hints(_given(states, truth)))
    each = solve_motion(states, bodies,
                        hints=Hints([replace(p, state=s.name) for s in states for p in _given(states, truth)]))
    assert np.allclose(once.points()[2], each.points()[2], rtol=1e-6)


def test_a_link_that_nobody_said_is_new_is_found_by_its_length():
    for seed in range(4):
        states, bodies, truth, _ = invented_motion(np.random.default_rng([17, seed]),
                                                   rises_deg=(0, 7, 14, 14),
                                                   link_grows_mm={3: 20.0},
                                                   markers=THREE_EACH)
        motion = solve_motion(states, bodies, hints=Hints(_given(states, truth)))
        assert motion.new_link_from == ("state 3",) and not motion.moved
        assert any("the link is another one" in f.what and f.where == "state 3" for f in motion.findings)
        at = dict(zip(*motion.points("state 3")[:2], strict=False))
        wanted = np.linalg.norm(truth[3]["bar_eye"] - truth[3]["link_foot"])
        assert abs(np.linalg.norm(at["bar_eye"] - at["link_foot"]) - wanted) < 2.0


def test_clean_corners_raise_no_alarm():
    """Moved markers, new links and misfits where there is none: none in 60 corners with stand-offs and a
    taped link."""
    alarms = 0
    for seed in range(60):
        rng = np.random.default_rng([18, seed])
        states, bodies, truth, _ = invented_motion(rng)
        points = [replace(p, offset_mm=p.offset_mm + rng.normal(0, 0.3, 3)) for p in _given(states, truth)]
        link = np.linalg.norm(truth[0]["bar_eye"] - truth[0]["link_foot"])
        motion = solve_motion(states, bodies,
                              hints=Hints(points, tapes=[TapedLength("bar_eye", "link_foot", rng.normal(link, 0.5), 0.5)]))
        alarms += bool(motion.moved or motion.new_link_from
                       or any("does not fit" in f.what for f in motion.findings))
    assert alarms == 0


def test_a_part_unseen_in_a_state_is_not_placed_there():
    states, bodies, truth, _ = invented_motion(np.random.default_rng(19),
                                               rises_deg=(0, 7, 14, 20),
                                               markers=THREE_EACH)
    kept = {i: p for i, p in states[3].markers.items() if bodies[i] not in ("bar", "link")}
    states[3] = MotionState(states[3].name, kept, states[0].covariance[:6 * len(kept), :6 * len(kept)])
    motion = solve_motion(states, bodies)
    # the link's length still holds the bar there; without any marker nothing does
    error, covariance = _errors(motion, truth, 3)["bar_eye"]
    assert error @ np.linalg.solve(covariance, error) < 21.1
    states[3] = MotionState(states[3].name, {}, np.zeros((0, 0)))
    motion = solve_motion(states, bodies)
    assert "bar_eye" in motion.points("state 0")[0]
    assert not set(SHARED) & set(motion.points("state 3")[0])
    assert np.isnan(motion.turn_deg["bar"][3]) and np.isfinite(motion.turn_deg["bar"][:3]).all()


def test_a_part_that_did_not_turn_has_no_axis():
    states, bodies, _, _ = invented_motion(np.random.default_rng(20), markers=THREE_EACH)
    held = {i: p for i, p in states[0].markers.items() if bodies[i] == "bar"}
    states = [MotionState(s.name, s.markers | held, s.covariance) for s in states]
    motion = solve_motion(states,
                          {i: b
                           for i, b in bodies.items()} | {102: "chassis", 116: "chassis", 122: "chassis"})
    assert motion.axis("bar") is None and motion.axis("arm") is not None
    assert not {"bar_bush", "bar_bush_far"} & set(motion.names)
    assert any("bar turned by only" in f.what for f in motion.findings)


@pytest.mark.parametrize("marker", [101, 122, 105, 118])
def test_a_marker_stuck_on_again_far_away_and_turned_is_no_harder(marker):
    states, bodies, truth, _ = invented_motion(np.random.default_rng([21, marker]), markers=THREE_EACH)
    knock = Pose(rotation_from_vector(np.radians([40.0, -70.0, 90.0])), np.array([60.0, 80.0, -40.0]))
    changed = [
        s if k < 1 else MotionState(s.name, s.markers | {marker: s.markers[marker] @ knock}, s.covariance)
        for k, s in enumerate(states)
    ]
    motion = solve_motion(changed, bodies)
    assert motion.moved == ((marker, "state 1"),)
    for name in SHARED:
        error, covariance = _errors(motion, truth)[name]
        assert error @ np.linalg.solve(covariance, error) < 21.1, name
