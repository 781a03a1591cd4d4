"""The car's roll on its stands: read, carried from state to state, or an unknown; against an invented car's
truth."""

from functools import lru_cache

import numpy as np
import pytest

from photoangle.figures.measure import label
from photoangle.geometry.angles import angle_about
from photoangle.geometry.datums import ROLL_UNKNOWN
from tests.invented_car import InventedCar

TILT = {"droop": (5.0, 1.5), "set": (5.2, 1.3)}
ANGLE = label(("control_arm_angle", "chassis"))
SLOPE = {"ride": {"sill_slope_deg": 0.1}}


@lru_cache(maxsize=1)
def car():
    """Stands as they are: 1.5 deg of roll at droop, 1.3 at set."""
    made = InventedCar(4, tilt_deg=TILT)
    made.sightings = lru_cache(made.sightings)  # the same photos whatever is told
    return made


def measured_with(roll=None, slope=True, states=("droop", "set")):
    attitude = {s: dict(row) for s, row in (SLOPE if slope else {}).items()}
    for state, deg in (roll or {}).items():
        attitude.setdefault(state, {})["roll_deg"] = deg
    return car().measure(states=states, attitude=attitude)


@lru_cache(maxsize=32)
def estimates(roll=(), states=("droop", "set")):
    run = measured_with(dict(roll), states=states)
    return {s.state: s.measured.estimate for s in run.states}, run


def true_angle(state):
    at = car().places[state]
    axis = at["arm_pivot_front"] - at["arm_pivot_rear"]
    middle = (at["arm_pivot_front"] + at["arm_pivot_rear"]) / 2
    return angle_about(at["arm_ball_joint"] - middle, axis, np.array([0, 0, 1.0]))


def value(estimate, name=ANGLE):
    return float(estimate.values[estimate.names.index(name)])


@pytest.mark.parametrize("state", ["droop", "set"])
def test_a_roll_that_nobody_read_is_in_the_control_arms_interval_and_asked_for(state):
    """Before: +-0.6 deg for stands that roll the car by 1.5: z of 1.9 to 2.3."""
    of, run = estimates()
    assert abs(value(of[state]) - true_angle(state)) < 1.96 * of[state].u(ANGLE)
    assert of[state].budget(ANGLE)[ROLL_UNKNOWN] > 0.5
    asked = [f for f in run.findings if "roll on its stands" in f.what]
    assert len(asked) == 1 and "roll_deg under [front-left.tape." in asked[0].do


def test_what_two_states_do_not_know_of_the_roll_is_the_same_in_both():
    """The photos know how the roll differs: a change between the states is not wide by it."""
    of, _ = estimates()
    both = [of[s].pick((ANGLE,)) for s in ("set", "droop")]
    change = both[0].minus(both[1])
    assert change.u(ANGLE) < 0.25 * min(e.u(ANGLE) for e in both)
    true = true_angle("set") - true_angle("droop")
    assert abs(change.values[0] - true) < 2 * change.u(ANGLE)


@pytest.mark.parametrize("where", ["droop", "set"])
def test_a_roll_read_in_one_state_serves_the_other(where):
    of, run = estimates(((where, TILT[where][1]),))
    for state in ("droop", "set"):
        assert of[state].u(ANGLE) < 0.5 * estimates()[0][state].u(ANGLE)
        assert abs(value(of[state]) - true_angle(state)) < 1.96 * of[state].u(ANGLE)
        assert ROLL_UNKNOWN not in of[state].budget(ANGLE)
    assert not any("roll on its stands" in f.what for f in run.findings)


def test_without_a_level_on_the_wheels_the_roll_read_here_still_counts():
    """Against gravity alone: the bar's axis, straight across the car, rolls with it."""
    told, blind = (measured_with({"droop": 1.5} if t else None, slope=False) for t in (True, False))
    for one, other in zip(told.states, blind.states, strict=True):
        assert one.roll.u("roll") < 0.4 * other.roll.u("roll")
        assert np.degrees(one.roll.values[0]) == pytest.approx(TILT[one.state][1], abs=0.1)
        name = label(("bar_arm_angle", "gravity"))
        assert one.measured.estimate.u(name) <= other.measured.estimate.u(name)


def test_leaving_a_reading_of_the_roll_out_never_narrows_a_figure():
    read = {"droop": 1.5, "set": 1.3, "ride": 0.0}
    full = estimates(tuple(read.items()))[0]
    for gone in ({"droop"}, {"set"}, {"ride"}, {"droop", "set"}, {"droop", "set", "ride"}):
        less = estimates(tuple((k, v) for k, v in read.items() if k not in gone))[0]
        for state, estimate in full.items():
            for name in estimate.names:
                assert less[state].u(name) > 0.98 * estimate.u(name), (gone, state, name)


def test_ride_photos_that_do_not_show_the_sill_still_tell_the_chassis_level():
    """The floor's normal is in the ride photos, which way the car points in the others."""
    made = InventedCar(4, tilt_deg=TILT)
    whole = made.sightings

    def without_front_sill(state, photos=4):
        seen = whole(state, photos)
        for s in seen:
            if state == "ride":
                s.tags.pop(108, None)
        return seen

    made.sightings = without_front_sill
    run = made.measure()
    of = {s.state: s for s in run.states}
    assert "sill_front" not in of["ride"].points and not any("which way the car points" in f.what for f in run.findings)
    for state in ("droop", "set"):
        estimate = of[state].measured.estimate
        assert abs(value(estimate) - true_angle(state)) < 2 * estimate.u(ANGLE) < 2 * 0.6
