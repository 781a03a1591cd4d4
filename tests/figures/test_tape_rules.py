"""Right readings agree and wrong ones do not, whatever a tape cannot see: each angle and height against exact
geometry."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calib.poses import rotation_from_vector
from photoangle.carfile.car import CarFile
from photoangle.carfile.corner import CornerNotes
from photoangle.carfile.lengths import Reading
from photoangle.core.estimate import Estimate, Source
from photoangle.core.origin import Origin
from photoangle.figures.measure import measured
from photoangle.figures.tape_check import tape_figures
from photoangle.geometry.datums import TURN, Axes, Direction, level_axes, still
from photoangle.geometry.joints import Points, coordinates
from photoangle.geometry.states import StateResult

# A front-left corner hanging: x forward, y left, z up, mm.
HANGING = {
    "bar_bush": (-40, 480, 330), "bar_eye": (-245, 495, 305), "link_foot": (-230, 590, 165),
    "arm_pivot_front": (110, 400, 245), "arm_pivot_rear": (-190, 405, 245), "arm_ball_joint": (-10, 715, 170),
    "hub": (0, 760, 300), "arch_lip": (0, 770, 675), "sill_front": (-500, 780, 250),
    "sill_rear": (-1500, 780, 250)
}
U_READ = 0.3


def state_with(places, pitch_deg=0.0, chassis=True):
    """A measured state whose points are known to 0.1 mm, the car's nose up by pitch_deg."""
    names = tuple(sorted(places))
    turn = rotation_from_vector(np.radians([0, -pitch_deg, 0]))
    at = np.array([places[n] for n in names], float) @ turn.T
    points = Points(
        names,
        Estimate.stated(coordinates(names), at.ravel(),
                        Source("pixels", "pixels",
                               np.eye(3 * len(names)) * 0.01)), {n: 100 + k
                                                                 for k, n in enumerate(names)})
    up = Direction(np.array([0, 0, 1.0]), still(), "strip")
    small = Estimate.stated(TURN, np.zeros(3), Source("axes", "chassis", np.eye(3) * math.radians(0.05) ** 2))
    scene = SimpleNamespace(origin=Origin())
    return StateResult("front-left",
                       "droop",
                       None,
                       scene,
                       points,
                       up,
                       axes=Axes(turn, small, "ride") if chassis else None,
                       lateral=level_axes(points, up))


def heights(state, *names):
    return {f"{n}_height": Reading(float(state.points[n][2]), U_READ, "") for n in names}


def compared(state, readings, name):
    car = CarFile(corners={"front-left": CornerNotes(taped={"droop": readings})})
    _, comparisons = tape_figures(car, {("front-left", "droop"): measured(state)})
    return next(c for c in comparisons if c.tape.name == f"tape:{name}")


def lengths(state, **ends):
    return {
        name: Reading(float(np.linalg.norm(state.points[b] - state.points[a])), U_READ, "")
        for name, (a, b) in ends.items()
    }


def control_arm(state):
    pivot = (state.points["arm_pivot_front"] + state.points["arm_pivot_rear"]) / 2
    return {
        "control_arm_length": Reading(float(np.linalg.norm(state.points["arm_ball_joint"] - pivot)), U_READ,
                                      "")
    }


@pytest.mark.parametrize("pitch_deg", [0.0, 5.0])
@pytest.mark.parametrize("change", [
    {}, {"arm_pivot_front": (110, 400, 260)}, {"arm_ball_joint": (70, 715, 170)},
    {"arm_pivot_front": (110, 400, 260), "arm_ball_joint": (40, 715, 170)}])
def test_a_right_control_arm_agrees_although_the_tape_sees_one_pivot(change, pitch_deg):
    state = state_with(HANGING | change, pitch_deg)
    readings = heights(state, "arm_pivot_front", "arm_ball_joint") | control_arm(state)
    found = compared(state, readings, "control_arm_angle")
    assert abs(found.e_n) < 0.05, found.e_n  # exact readings: what is left is rounding
    assert found.tape.value == pytest.approx(found.photo.value, abs=1e-6)
    # the check still tells a slip: an inch on the ball joint's height
    off = readings | {
        "arm_ball_joint_height": Reading(float(state.points["arm_ball_joint"][2]) - 25.4, U_READ, "")
    }
    assert not compared(state, off, "control_arm_angle").agrees


@pytest.mark.parametrize("pitch_deg", [0.0, 5.0])
@pytest.mark.parametrize("along_mm", [0, 35])
def test_a_right_bar_arm_agrees_although_the_bush_sits_along_its_axis(along_mm, pitch_deg):
    state = state_with(HANGING | {"bar_bush": (-40, 480 - along_mm, 330)}, pitch_deg)
    readings = heights(state, "bar_bush", "bar_eye") | lengths(state, bar_arm_length=("bar_bush", "bar_eye"))
    found = compared(state, readings, "bar_arm_angle")
    assert abs(found.e_n) < 0.05 and found.tape.value == pytest.approx(found.photo.value, abs=1e-6)


@pytest.mark.parametrize("chassis", [True, False])
@pytest.mark.parametrize("lean", [0, 40])
@pytest.mark.parametrize("held", ["straight", "gravity", "chassis"])
def test_hub_to_arch_agrees_however_the_tape_was_held(held, lean, chassis):
    """Nose up by 6 deg, and the arch lip not straight above the hub: the straight line, and the vertical by
    either datum."""
    state = state_with(HANGING | {"arch_lip": (lean, 790, 675)}, 6.0, chassis)
    line = state.points["arch_lip"] - state.points["hub"]
    up = state_with(HANGING, 6.0).axes.axes[:, 2]
    # without ride photos nobody knows the chassis's vertical: a person holds the tape along the car or along
    # gravity
    value = {"straight": np.linalg.norm(line), "gravity": line[2], "chassis": line @ up}[held]
    found = compared(state, {"hub_to_arch": Reading(float(value), U_READ, "")}, "hub_to_arch")
    assert found.agrees, found.e_n
    off = compared(state, {"hub_to_arch": Reading(float(value) + 25.4, U_READ, "")}, "hub_to_arch")
    assert not off.agrees and off.tape.value == pytest.approx(value + 25.4)


def test_the_two_answers_of_one_rule_agree_where_no_photo_helps():
    """By tape alone the unknowns are in the plus-or-minus: the true angle lies inside for an arm that is
    anything usual."""
    for change in ({}, {"arm_pivot_front": (110, 400, 255)}, {"arm_ball_joint": (50, 715, 170)}):
        state = state_with(HANGING | change)
        car = CarFile(corners={"front-left": CornerNotes(taped={"droop": heights(
            state, "arm_pivot_front", "arm_ball_joint") | control_arm(state)})})
        figures, comparisons = tape_figures(car, {})
        tape = next(f for f in figures if f.name == "tape:control_arm_angle")
        true = next(f for f in measured(state).figures("c", "s")
                    if (f.name, f.datum) == ("control_arm_angle", "gravity"))
        assert comparisons == [] and tape.low95 < true.value < tape.high95
        assert tape.budget["not taped"] > 0.5


def test_readings_that_cannot_be_give_no_angle():
    state = state_with(HANGING)
    readings = heights(state, "link_foot", "bar_eye") | {"link_length": Reading(30.0, U_READ, "")}
    figures, _ = tape_figures(CarFile(corners={"front-left": CornerNotes(taped={"droop": readings})}), {})
    assert [f.name for f in figures] == ["tape:link_length"]


def test_the_angle_of_a_line_by_tape_is_the_handbooks_right_triangle():
    """asin(60 / 210) = 16.6015 deg (right-triangle tables); its u by JCGM 100, 5.1."""
    readings = {
        "link_foot_height": Reading(100.0, 0.6, ""), "bar_eye_height": Reading(160.0, 0.7, ""),
        "link_length": Reading(210.0, 0.9, "")
    }
    figures, _ = tape_figures(CarFile(corners={"front-left": CornerNotes(taped={"droop": readings})}), {})
    f = next(f for f in figures if f.name == "tape:link_elevation")
    sine = 60 / 210
    u = math.degrees(math.hypot(math.hypot(0.6, 0.7) / 210, sine * 0.9 / 210) / math.sqrt(1 - sine**2))
    assert f.value == pytest.approx(16.6015, abs=1e-4) and f.u == pytest.approx(u, rel=1e-5)


def test_one_photo_rule_serves_every_table():
    state = state_with(HANGING)
    names = {m.name for m in measured(state).rows}
    assert {"bar_arm_angle", "control_arm_angle", "link_elevation", "hub_to_arch", "sill_slope"} <= names
    low = replace(state,
                  points=replace(state.points,
                                 names=("bar_bush",),
                                 estimate=state.points.estimate.pick(coordinates(("bar_bush",)))))
    assert measured(low).rows == ()
