"""Joints by motion on the demo car's own geometry: what three states of it show, and what they cannot."""

import json

import numpy as np
import pytest

from calib.poses import Pose, rotation_from_vector
from photoangle.linkage.motion.observed import Hints, MotionState, PointOnMarker
from photoangle.linkage.motion.solve import solve_motion
from tests.conftest import SAMPLES

BODIES = {
    115: "bar", 301: "bar", 302: "arm", 105: "arm", 117: "arm", 216: "link", 106: "knuckle", 118: "knuckle"
}
STATES = ("droop", "set", "fitted")
JOINTS = ("bar_eye", "link_foot", "arm_ball_joint")
TURN_DEG, SHIFT_MM, SEEDS = 0.05, 0.05, 6
# The plates' cross is 45 mm from their print, held to half of the 1 mm that a marker is centred within; how
# far the joint lies behind the print is not given.
HALF, WHOLE, UNKNOWN = 0.5 / np.sqrt(3), 1 / np.sqrt(3), 30.0
CROSSES = (PointOnMarker(301, "bar_eye", (0, 45, 30), (HALF, HALF, UNKNOWN)),
           PointOnMarker(302, "link_foot", (0, 45, 30), (HALF, HALF, UNKNOWN)),
           PointOnMarker(105, "arm_ball_joint", (0, 0, 30), (WHOLE, WHOLE, UNKNOWN)))


def _states(seed):
    """MotionStates with noise, and the true joints of each state in the chassis."""
    truth = json.loads((SAMPLES / "truth.json").read_text())
    rng = np.random.default_rng([31, seed])
    states, joints = [], []
    for name in STATES:
        of = truth["states"][f"front-left/{name}"]
        axes = np.array([of["chassis_axes_world"][k] for k in ("x_forward", "y_left", "z_up")])
        origin = np.array(of["chassis_origin_world"])
        seen = {}
        for tag in of["tags"]:
            if tag["id"] in BODIES:
                turn = rotation_from_vector(rng.normal(0, np.radians(TURN_DEG), 3))
                seen[tag["id"]] = Pose(turn @ axes @ np.array(tag["R_tag_to_world"]),
                                       axes @ (np.array(tag["centre"]) - origin) + rng.normal(0, SHIFT_MM, 3))
        sigma = np.r_[np.full(3, np.radians(TURN_DEG)), np.full(3, SHIFT_MM)]
        states.append(MotionState(name, seen, np.diag(np.tile(sigma**2, len(seen)))))
        joints.append({k: axes @ (np.array(v) - origin) for k, v in of["joints"].items()})
    return states, joints, truth["linkage"]["front-left"]


def _errors(motion, joints):
    """joint -> (states, 2, 3): errors along the principal axes of its covariance, the weakest last, and their
    u, mm."""
    out = {}
    for state, true in zip(STATES, joints, strict=False):
        names, at, covariance = motion.points(state)
        for name in JOINTS:
            k = names.index(name)
            values, vectors = np.linalg.eigh(covariance[3 * k:3 * k + 3, 3 * k:3 * k + 3])
            out.setdefault(name, []).append(((at[k] - true[name]) @ vectors, np.sqrt(values)))
    return {name: np.array(v) for name, v in out.items()}


def test_axes_and_restuck_marker_without_anything_else_given_and_the_rest_is_said_to_be_open():
    for seed in range(SEEDS):
        states, _, linkage = _states(seed)
        motion = solve_motion(states, BODIES, hints=Hints(new_link_from=("fitted",)))
        assert motion.moved == ((301, "fitted"),)
        point, direction, _ = motion.axis("bar")
        true = np.array(linkage["bar_axis"]["direction"])
        assert np.degrees(np.linalg.norm(np.cross(direction,
                                                  true))) < 0.7  # 9 deg of turn, noise 0.05 deg in each pose
        away = np.array(linkage["bar_axis"]["point"]) - point
        assert np.linalg.norm(away - true * (away @ true)) < 3.0
        # one turn of the link leaves its joints open along a line each, and nothing is made up for it
        for joint, way in (("bar_eye", "across the car"), ("link_foot", "along the car"), ("arm_ball_joint",
                                                                                           "along the car")):
            assert joint not in motion.names and len(motion.open[joint]) == 1
            assert any(joint.replace("_", " ") in f.what and way in f.what and f.do for f in motion.findings)


def test_crosses_without_any_stand_off_give_foot_and_ball_joint_to_a_millimetre_and_say_what_they_do_not():
    errors = []
    for seed in range(SEEDS):
        states, joints, _ = _states(seed)
        motion = solve_motion(states, BODIES, hints=Hints(CROSSES, new_link_from=("fitted",)))
        errors.append(_errors(motion, joints))
        assert any("bar eye is known only to within" in f.what and "across the car" in f.what
                   for f in motion.findings)
        assert not any("foot is known only" in f.what or "ball joint is known only" in f.what
                       for f in motion.findings)
    for name in JOINTS:
        value = np.array([e[name] for e in errors])  # (seeds, states, error and u, 3)
        rms = np.sqrt(np.mean(value[:, :, 0] ** 2, axis=(0, 1)))
        # bar and link turn against each other about a line across the car, along which the plate's normal
        # lies as well: where the eye is along it cannot be had from these photos without a stand-off
        assert rms[:2 if name == "bar_eye" else 3].max() < 1.0, name
        assert np.abs(value[:, :, 0] / value[:, :, 1]).max() < 4


@pytest.mark.parametrize("announced", [("fitted",), ()])
def test_with_stand_offs_the_fitted_links_length_is_found_even_where_nobody_said_that_it_is_new(announced):
    points = [
        PointOnMarker(marker, joint, (0, 45, offset), (HALF, HALF, 0.5), state)
        for marker, joint, offset in ((301, "bar_eye", 16.0), (302, "link_foot", 16.0)) for state in STATES
    ]
    off = []
    for seed in range(SEEDS):
        states, _, linkage = _states(seed)
        motion = solve_motion(states, BODIES, hints=Hints([*points, CROSSES[2]], new_link_from=announced))
        assert motion.new_link_from == ("fitted",) and (301, "fitted") in motion.moved
        assert any("the link is another one" in f.what for f in motion.findings) == (announced == ())
        for state, true in (("set", linkage["link_length_mm"]), ("fitted", linkage["new_link_length_mm"])):
            at = dict(zip(*motion.points(state)[:2], strict=False))
            off.append(np.linalg.norm(at["bar_eye"] - at["link_foot"]) - true)
    assert np.sqrt(np.mean(np.square(off))) < 0.5
