"""What car.toml and the photos leave open, on the demo car: allowed for, said, and narrower once it is told."""

from dataclasses import replace

import numpy as np
import pytest

from photoangle.carfile.lengths import Reading
from photoangle.core.options import LinkRequest
from photoangle.droplink.answer import link_answers
from photoangle.droplink.from_scene import corner_of
from photoangle.geometry.joints import coordinates

CORNER = "front-left"


def _answer(measurement, samples=400, **notes):
    """The answer from set with other notes of the corner."""
    car = measurement.car
    corner = replace(car.corner(CORNER), **notes)
    states = [replace(s, notes=corner) if s.corner == CORNER else s for s in measurement.states]
    told = replace(measurement, states=states, car=replace(car, corners=dict(car.corners) | {CORNER: corner}))
    return next(a for a in link_answers(told, LinkRequest(state="set"), samples) if a.corner == CORNER)


@pytest.fixture(scope="module")
def whole(car_copy):
    return _answer(car_copy[1])


def _u(answer, name):
    return answer.present.nearest[name].figure.u


@pytest.mark.parametrize("left_out, widens", [
    ({"radius_mm": {}}, "gap_min_a"), ("plates", "joint_tilt_max_foot")])
def test_what_is_left_out_widens_and_gives_no_verdict_that_was_not_there(car_copy, whole, left_out, widens):
    measurement = car_copy[1]
    if left_out == "plates":
        measurement, left_out = _unplated(measurement), {}
    bare = _answer(measurement, **left_out)
    assert _u(bare, widens) > 1.5 * _u(whole, widens)
    for name, near in whole.present.nearest.items():
        assert bare.present.nearest[name].verdict in (near.verdict, "cannot tell"), name


def _without(measurement, state, *names):
    """A measurement in which some points do not show in one state."""
    def cut(s):
        if (s.corner, s.state) != (CORNER, state):
            return s
        keep = [n for n in s.points.names if n not in names]
        return replace(s, points=replace(s.points, names=tuple(keep),
                                         estimate=s.points.estimate.pick(coordinates(keep))))
    return replace(measurement, states=[cut(s) for s in measurement.states])


def test_a_hose_marker_hidden_here_is_taken_from_where_it_shows(car_copy, whole):
    hidden = _answer(_without(car_copy[1], "set", "hose_b"))
    said = [f for f in hidden.findings if "hose b is hidden" in f.what]
    assert said and "set" in said[0].what
    for name in ("gap_min_eye", "gap_min_link"):
        seen, unseen = whole.present.nearest[name].figure, hidden.present.nearest[name].figure
        # the hose does not end where a marker is out of sight: the gap may not grow beyond its interval
        assert unseen.low95 < seen.value + 1 and unseen.value < seen.high95 + 3, name


def test_a_point_of_the_knuckle_holds_only_in_the_state_it_was_taped_in(car_copy):
    measurement = car_copy[1]
    reading = tuple(Reading(v, 1.0, str(v)) for v in (-30.0, 230.0, -150.0))
    notes = replace(measurement.car.corner(CORNER), from_bush={"upper_ball_joint": reading, "strut_top": reading})
    for said, state, alone, used in ((None, "set", False, False), ("droop", "set", False, False),
                                     ("set", "set", False, True), (None, "set", True, True)):
        car = replace(measurement.car, corners=dict(measurement.car.corners) | {
            CORNER: replace(notes, from_bush_state=said)})
        result = next(s for s in measurement.states if (s.corner, s.state) == (CORNER, state))
        result = replace(result, notes=car.corner(CORNER))
        made = corner_of(result, None, [], car, measurement.kit, alone)
        assert ("upper_ball_joint" in made.corner.names) == used
        assert "strut_top" in made.corner.names  # the chassis's points stay where they are
        assert any("moves with the wheel" in f.what for f in made.findings) != used


def _unplated(measurement):
    """A measurement as if the plates over the link's studs were plain markers."""
    def cut(s):
        markers = {i: p for i, p in s.scene.markers.items() if measurement.kit.slot(i).form != "plate"}
        return replace(s, scene=replace(s.scene, markers=markers))
    return replace(measurement, states=[cut(s) for s in measurement.states])


def test_studs_by_plates_and_as_said(car_copy, whole):
    bare = _answer(_unplated(car_copy[1]), samples=200)
    assert not bare.base.stud
    told = _answer(_unplated(car_copy[1]), samples=200, stud={"bar_eye": "across", "link_foot": "across"})
    for joint in ("bar_eye", "link_foot"):
        by_plate = whole.base.stud[joint].vector / np.linalg.norm(whole.base.stud[joint].vector)
        # the demo's studs stand 8 to 12 deg off square to the car
        assert abs(by_plate @ told.base.stud[joint].vector) > np.cos(np.radians(15)), joint
