"""What is not told is in the plus-or-minus: stand-offs and radii left out, all at once and one by one, on the demo car."""

import json
from dataclasses import replace

import pytest

from photoangle.carfile.print_check import print_scale
from photoangle.commands.demo import RADII_MM
from photoangle.core.figure import says_nothing
from photoangle.core.roles import BAR_EYE, HOSES, HUB, JOINTS, PIVOTS
from photoangle.figures.measure import label, measured
from photoangle.geometry.datums import gravity, level_axes
from photoangle.geometry.joints import NOT_GIVEN, coordinates, joint_points, marker_offset

STATES = ("front-left/droop", "front-left/set", "front-left/fitted", "front-right/set")


def told(car, name, notes):
    """A state of the demo car as it would have been measured with other notes."""
    state = car[name]
    points, findings = joint_points(state.scene, car.kit, notes, car.car.level, *print_scale(car.car.print_check)[:2])
    points = replace(points, places=state.points.places)
    up, _ = gravity(points, state.scene, car.car.level)
    return replace(state, notes=notes, points=points, up=up, lateral=level_axes(points, up)), findings


def truth_of(truth, name, row):
    table = truth["states"][name]["figures"].get(row.name)
    if table is None:
        return None
    value = table.get(row.datum) if row.datum else table.get("value", table.get("chassis"))
    return value - RADII_MM if value is not None and row.name.startswith("hose_gap") else value


@pytest.fixture(scope="module")
def truth(samples):
    return json.loads((samples / "truth.json").read_text())


def test_without_any_stand_off_or_radius_the_truth_lies_inside(car_copy, truth):
    """Before: the marker's centre stood for the joint, and 8 of 60 figures held the truth."""
    car, inside, wide = car_copy[1], [], 0
    for name in STATES:
        state, findings = told(car, name, replace(car[name].notes, standoff={}, radius_mm={}))
        assert any("no stand-off is given for" in f.what and "bar eye" in f.what for f in findings)
        done = measured(state)
        for row, figure in zip(done.rows, done.figures(state.corner, state.state), strict=True):
            real = truth_of(truth, name, row)
            if real is None:
                continue
            assert abs(figure.value - real) < 3 * figure.u, (name, row.key)
            inside.append(figure.low95 <= real <= figure.high95)
            wide += says_nothing(figure)
    assert len(inside) > 60 and sum(inside) >= 0.92 * len(inside)
    assert wide >= 4  # such as the short link's slope: not told rather than told with nothing behind it


@pytest.mark.parametrize("name", STATES)
def test_leaving_one_thing_out_never_narrows_anything(car_copy, name):
    car = car_copy[1]
    notes = car[name].notes
    full = measured(told(car, name, notes)[0]).estimate
    left_out = [(role, replace(notes, standoff={k: v for k, v in notes.standoff.items() if k != role})) for role in notes.standoff]
    left_out += [(f"radius {k}", replace(notes, radius_mm={n: v for n, v in notes.radius_mm.items() if n != k})) for k in notes.radius_mm]
    for what, less in left_out:
        got = measured(told(car, name, less)[0]).estimate
        for figure in full.names:
            if figure in got.names:
                # a value that moves takes its slopes with it: the two are taken at different places
                assert got.u(figure) > full.u(figure) * 0.97, (what, figure)
        if what in (*JOINTS[:2],):
            assert got.budget(label(("bar_arm_angle", "chassis")))[NOT_GIVEN] > 0.3
        if what == f"radius {BAR_EYE}" and any(h in car[name].points for h in HOSES):
            gap = next(n for n in full.names if n.startswith("hose_gap"))
            assert got.budget(gap)["radius not given"] > 0.1


def test_a_plate_does_not_say_how_deep_its_joint_lies(car_copy):
    car = car_copy[1]
    state, _ = told(car, "front-left/set", replace(car["front-left/set"].notes, standoff={}))
    plates = [n for n, i in state.points.marker.items() if i is not None and car.kit.slot(i).form == "plate" and n in (*JOINTS, HUB)]
    assert plates and set(plates) <= set(state.points.unstated)


@pytest.mark.parametrize("unseen", PIVOTS)
@pytest.mark.parametrize("name", ["front-left/droop", "front-left/set"])
def test_one_pivot_alone_is_not_the_middle_of_both(car_copy, truth, name, unseen):
    """The control arm silently became the other pivot's line: its length 391 +- 2.3 mm for 328."""
    car = car_copy[1]
    state = car[name]
    kept = tuple(n for n in state.points.names if n != unseen)
    less = replace(state, points=replace(state.points, names=kept, estimate=state.points.estimate.pick(coordinates(kept))))
    full, got = measured(state), measured(less)
    checked = 0
    for row, figure in zip(got.rows, got.figures(state.corner, state.state), strict=True):
        real = truth_of(truth, name, row)
        if row.name.startswith("control_arm") and real is not None:
            assert figure.low95 <= real <= figure.high95, (row.key, figure)
            assert figure.u > full.estimate.u(label(row.key))
            assert row.name == "control_arm_angle" or "other pivot not seen" in figure.budget
            checked += 1
    assert checked >= 3


def test_a_spare_marker_that_stands_for_a_joint_does_not_say_how_deep_it_lies(car_copy):
    car = car_copy[1]
    notes = replace(car["front-left/set"].notes, stands_for={"spare_0": "strut_top"})
    marker = car.kit.ids_of_role("spare_0")[0]
    placed, plain = (marker_offset(car.kit, marker, "spare_0", n) for n in (notes, replace(notes, stands_for={})))
    assert not placed.stated and placed.along_mm > 10 and plain.stated
