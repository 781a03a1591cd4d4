"""Over the travel: continuity, independent values at single steps, verdicts that respect the interval."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from photoangle.core.assumed import STUD_TILT_DEG
from photoangle.core.findings import Refusal
from photoangle.linkage.corner import KnownDirection, Taped
from photoangle.linkage.kinematics.mechanism import joint_tilt, motion_ratio, position
from photoangle.linkage.sampled import Sampling
from photoangle.linkage.travel import Limits, Travel, over_travel
from tests.linkage.corners import POINTS, STRUT, corner

TRAVEL = Travel(-70, 60, steps=27)
SAMPLES = 400


def _by_hand(rise, link=None):
    """Eye and foot with the hub risen by ``rise``, by SciPy's root finder and rotations, hub and ball joint
    rising alike."""
    at = {k: np.array(v, float) for k, v in POINTS.items()}
    axis = at["arm_pivot_front"] - at["arm_pivot_rear"]
    axis /= np.linalg.norm(axis)
    pivot = at["arm_pivot_front"]

    def with_arm(name, angle):
        return pivot + Rotation.from_rotvec(axis * angle).apply(at[name] - pivot)

    angle = brentq(lambda a: with_arm("arm_ball_joint", a)[2] - at["arm_ball_joint"][2] - rise,
                   -0.5,
                   0.5,
                   xtol=1e-14)
    foot = with_arm("link_foot", angle)
    link = link or np.linalg.norm(at["bar_eye"] - at["link_foot"])

    def eye(b):
        return at["bar_bush"] + Rotation.from_rotvec([0, b, 0]).apply(at["bar_eye"] - at["bar_bush"])

    turn = brentq(lambda b: np.linalg.norm(eye(b) - foot) - link, -0.3, 0.5, xtol=1e-14)
    return eye(turn), foot, angle


def test_values_against_a_step_by_step_solution():
    still = corner(change={"hose_a_second": POINTS["hose_a"]}, second_state={"hose_a": "ride"})
    result = over_travel(still, TRAVEL, sampling=Sampling(SAMPLES))
    for k in (0, 9, 26):
        eye, foot, _ = _by_hand(70 + TRAVEL.steps_mm[k])
        arm, link = eye - np.array(POINTS["bar_bush"]), eye - foot
        wanted = {
            "bar_arm_angle": np.degrees(np.arctan2(arm[2], -arm[0])),
            "link_lean_side": np.degrees(np.arctan2(link[0], link[2])),
            "link_lean_front": np.degrees(np.arctan2(link[1], link[2])),
            "bar_to_link_angle": np.degrees(np.arccos(arm @ link / np.linalg.norm(arm) /
                                                      np.linalg.norm(link))),
            # from the lever's end the link's part along the eye's path
            "line_up": np.degrees(
                np.arcsin(
                    abs(link @ np.cross([0, 1, 0], arm)) / np.linalg.norm(link) / np.hypot(arm[0], arm[2])))
        }
        for name, degrees in wanted.items():
            assert result.courses[name].value[k] == pytest.approx(degrees, abs=1e-7), (name, k)
        gap = np.linalg.norm(eye - np.array(POINTS["hose_a"])) - 18
        assert result.courses["gap_a"].value[k] <= gap + 1e-9


def test_motion_ratio_is_the_slope_of_eye_over_wheel():
    layout = corner(change=STRUT).nominal()
    rise = np.linspace(0, 120, 241)
    place = position(layout, rise)
    slope = np.gradient(place.eye[0, :, 2], rise)[1:-1]
    ratio = motion_ratio(layout, place.arm_turn)[0, 1:-1]
    assert np.abs(ratio - slope).max() < 2e-5  # of the half-millimetre steps themselves


def test_courses_are_smooth_so_that_the_branch_never_jumps():
    result = over_travel(corner(change=STRUT), Travel(-70, 60, steps=131), sampling=Sampling(100))
    for course in result.courses.values():
        step = np.abs(np.diff(course.value))
        assert step.max() < 1.5, course.name  # degrees or millimetres for each millimetre of travel


def test_hose_points_ride_on_what_they_are_said_to():
    # a hose point far out on the wheel side: kept on the chassis the hub's rise leaves it where it was
    change = {"hose_a": POINTS["hub"], "hose_b": POINTS["hub"], "hose_c": POINTS["hub"]}
    on = {"hose_a": "chassis", "hose_b": "mid", "hose_c": "knuckle"}
    thin = {"eye": 0.0, "link": 0.0, "hose": 0.0, "bar": 0.0}
    result = over_travel(corner(change=change, hose_on=on, radius_mm=thin), TRAVEL, sampling=Sampling(SAMPLES))
    hub = np.array(POINTS["hub"], float)
    eye, foot, _ = _by_hand(130)
    ball = np.array(POINTS["arm_ball_joint"], float)
    moved = hub + Rotation.from_rotvec(0 * hub).apply(_ball_at(130) - ball)
    # in the middle of what each may do
    for letter, share in (("a", 0.1), ("b", 0.5), ("c", 0.9)):
        point = hub + share * (moved - hub)
        share = np.clip((point - eye) @ (foot - eye) / ((foot - eye) @ (foot - eye)), 0, 1)
        wanted = np.linalg.norm(point - eye - share * (foot - eye))
        assert result.courses[f"gap_{letter}"].value[-1] == pytest.approx(wanted, abs=1e-6), letter


def _ball_at(rise):
    _, _, angle = _by_hand(rise)
    pivot = np.array(POINTS["arm_pivot_front"], float)
    axis = pivot - np.array(POINTS["arm_pivot_rear"], float)
    return pivot + Rotation.from_rotvec(axis / np.linalg.norm(axis) * angle).apply(
        np.array(POINTS["arm_ball_joint"], float) - pivot)


def _hose_at(gap_mm, u_mm):
    """A corner whose hose is ``gap_mm`` behind the eye at its rearmost, radii taken off."""
    rearmost = min((_by_hand(r)[0] for r in 70 + TRAVEL.steps_mm), key=lambda e: e[0])
    point = rearmost - np.array([18 + gap_mm, 0, 0])
    return corner(u_mm,
                  change={"hose_a": tuple(point), "hose_a_second": tuple(point)},
                  drop=("hose_b", "hose_c"),
                  hub_to_arch_mm={"droop": Taped(400, 0.01), "ride": Taped(330, 0.01)},
                  second_state={"hose_a": "ride"})


@pytest.mark.parametrize("gap_mm, u_mm, verdict", [(6, 0.3, "clear"), (2, 1.0, "cannot tell"),
                                                   (0.0, 0.1, "cannot tell"), (-5, 0.3, "not clear")])
def test_a_gap_whose_interval_reaches_zero_is_never_clear(gap_mm, u_mm, verdict):
    near = over_travel(_hose_at(gap_mm, u_mm), TRAVEL, sampling=Sampling(SAMPLES))
    assert near.nearest["gap_min_eye"].verdict == verdict
    said = [f for f in near.findings if "hose" in f.what]
    assert bool(said) == (verdict != "clear")
    assert all(f.do for f in said)


def test_a_joint_past_its_limit_is_said_and_one_of_unknown_stud_is_not_judged_bad():
    stud = {"bar_eye": KnownDirection.within([0, 1, 0], 0.5), "link_foot": KnownDirection.within([1, 0, 0], 0.5)}
    tight = {"eye": 4.0, "foot": 60.0}
    known = over_travel(corner(stud=stud), TRAVEL, sampling=Sampling(SAMPLES), limits=Limits(tight))
    assert known.nearest["joint_tilt_max_eye"].verdict == "not clear"
    assert known.nearest["joint_tilt_max_foot"].verdict == "clear"
    assert any("tilts by" in f.what and "4 deg" in f.what for f in known.findings)
    bare = over_travel(corner(), TRAVEL, sampling=Sampling(SAMPLES), limits=Limits(tight))
    assert bare.nearest["joint_tilt_max_eye"].verdict == "cannot tell"


def test_tilt_with_a_stud_across_the_car_is_the_links_lean_from_the_front():
    stud = {"bar_eye": KnownDirection.within([0, 1, 0], 0.0)}
    result = over_travel(corner(stud=stud), TRAVEL, sampling=Sampling(50))
    eye, foot, _ = _by_hand(130)
    link = (eye - foot) / np.linalg.norm(eye - foot)
    # the bar turns about y, so that the stud stays where it was
    assert result.courses["joint_tilt_eye"].value[-1] == pytest.approx(np.degrees(np.arcsin(abs(link[1]))),
                                                                       abs=1e-7)


def test_tilt_without_a_stud_is_as_much_as_joints_have():
    made = corner()
    layout = made.sample(4000)
    place = position(layout, np.zeros((1, 1)))
    for joint in ("bar_eye", "link_foot"):
        # evenly either way of square to the link where it was measured
        tilt = np.degrees(joint_tilt(layout, place, joint))
        assert tilt.max() <= STUD_TILT_DEG and tilt.mean() == pytest.approx(STUD_TILT_DEG / 2, rel=0.05)


def test_beyond_the_measured_travel_it_says_so():
    inside = over_travel(corner(), Travel(-70, 0, measured_mm=(-70, 0)), sampling=Sampling(50))
    outside = over_travel(corner(), Travel(-70, 60, measured_mm=(-70, 0)), sampling=Sampling(50))
    assert not any("extrapolates" in f.what for f in inside.findings)
    assert any("extrapolates" in f.what for f in outside.findings)
    assert outside.nearest["joint_tilt_max_foot"].extrapolated


def test_a_foot_on_an_unmodelled_strut_is_said():
    bare = over_travel(corner(link_foot_on="strut"), TRAVEL, sampling=Sampling(50))
    assert any("tilt over the travel is not known" in f.what for f in bare.findings)
    known = over_travel(corner(link_foot_on="strut", change=STRUT), TRAVEL, sampling=Sampling(50))
    assert not any("tilt over the travel" in f.what for f in known.findings)
    shift = known.courses["bar_arm_angle"].value - bare.courses["bar_arm_angle"].value
    assert np.abs(shift).max() > 0.1


def test_missing_radii_are_said():
    result = over_travel(corner(radius_mm={"eye": 12.0}), TRAVEL, sampling=Sampling(50))
    assert any("how thick the hose, the link, the bar's arm are" in f.what.replace(" and ", ", ")
               for f in result.findings)
    assert result.nearest["gap_min_eye"].figure.u > over_travel(corner(), TRAVEL, sampling=Sampling(
        50)).nearest["gap_min_eye"].figure.u


def test_lowered_stands_the_car_lower_and_keeps_its_stops():
    lower = TRAVEL.lowered(15)
    assert (lower.droop_mm, lower.bump_mm) == (-85, 45)
    now, then = (over_travel(corner(), t, sampling=Sampling(50)) for t in (TRAVEL, lower))
    assert np.allclose(now.courses["bar_arm_angle"].value, then.courses["bar_arm_angle"].value, atol=1e-9)
    assert then.at_ride["bar_arm_angle"].value > now.at_ride["bar_arm_angle"].value + 1


def test_a_set_state_needs_no_hub_to_arch_and_droop_does():
    at_set = over_travel(corner(state="set", hub_to_arch_mm={}), TRAVEL, sampling=Sampling(50))
    assert at_set.at_ride["bar_arm_angle"].value == pytest.approx(np.degrees(np.arctan2(-60, 230)), abs=1e-9)
    refused = over_travel(corner(hub_to_arch_mm={}), TRAVEL, sampling=Sampling(50))
    assert isinstance(refused, Refusal) and "hub to arch" in refused.finding.what


@pytest.mark.parametrize("wrong", [(10, 60, 5), (-70, -10, 5), (0, 0, 5), (-70, 60, 1)])
def test_travel_that_is_none_raises(wrong):
    with pytest.raises(ValueError):
        Travel(*wrong)
