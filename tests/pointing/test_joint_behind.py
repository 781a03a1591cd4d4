"""The joint behind what was pointed at: along its bolt by the stand-off, each unknown with its own source."""

from dataclasses import replace

import numpy as np
import pytest

from photoangle.carfile.corner import CornerNotes
from photoangle.carfile.lengths import Reading
from photoangle.detection.pointing.point import Tap
from photoangle.geometry.joints import NOT_GIVEN
from photoangle.geometry.place_points import AXIS, TAP, with_pointed
from tests.pointing.bolted import JOINTS, made, measured_once, truths


@pytest.fixture(scope="module")
def corner():
    return made(3000)


def pointed(corner, role, notes, view=1, what="bolt", **more):
    taps = {role: [Tap(view, corner.seen_at(role, view), 3.0, what)]}
    return with_pointed(corner.points, corner.scene, corner.views, taps, notes, corner.up, **more)


def covariance(points, role, *titles):
    """(3, 3) of a point, of the named lines of its budget or of all."""
    at, parts = 3 * points.index(role) + np.arange(3), points.estimate.covariances()
    return sum(c[np.ix_(at, at)] for t, c in parts.items() if not titles or t in titles)


def test_joints_lie_where_they_are_as_truly_as_they_say(corner):
    """Three joints, two draws of taps, stand-offs read within 1 mm: squared misfit of 3 degrees of freedom."""
    rng, misfits = np.random.default_rng(2), []
    for _ in range(2):
        places, _, figures, points = measured_once(corner, 3.0, True, rng)
        assert set(places) == set(JOINTS)
        for role in JOINTS:
            miss = points[role] - corner.to_scene.apply(corner.joint(role))
            misfits.append(miss @ np.linalg.solve(covariance(points, role), miss))
        for name, value in truths(corner).items():
            assert figures[name].low95 <= value <= figures[name].high95, name
    assert np.max(misfits) < 16  # 99.9 %


def test_a_stand_off_nobody_gave_lies_along_the_bolt_and_hardly_turns_the_bar(corner):
    given, _, _ = pointed(corner, "bar_eye", CornerNotes(standoff={"bar_eye": Reading(30.0, 0.5)}))
    loose, _, (place,) = pointed(corner, "bar_eye", CornerNotes())
    depth = covariance(loose, "bar_eye", NOT_GIVEN)
    values, ways = np.linalg.eigh(depth)
    # anything from 0 to 60 mm, rectangular, and along one line alone
    assert np.allclose(values, [0, 0, 60**2 / 12], atol=1e-6)
    axis = corner.to_scene.rotation @ corner.faces["bar_eye"].rotation[:, 2]
    assert np.degrees(np.arccos(abs(ways[:, 2] @ axis))) < 5.0
    # square to the bolt, where the bar's angle lives, it adds what the axis is not known by
    flat = np.eye(3) - np.outer(ways[:, 2], ways[:, 2])
    added = flat @ (covariance(loose, "bar_eye") - covariance(given, "bar_eye")) @ flat
    assert np.sqrt(np.linalg.eigvalsh(added)[-1]) < 0.1 * np.sqrt(values[2])
    assert place.outline and {"p0", "p1", "p2"} == set(place.found)
    assert np.linalg.eigvalsh(covariance(given, "bar_eye", TAP))[-1] > 0.01  # mm^2: the tap's slip is in it


def test_what_is_no_bolt_lies_across_the_car_within_ten_degrees(corner):
    notes = CornerNotes(standoff={"bar_eye": Reading(30.0, 0.0)})
    points, _, _ = pointed(corner, "bar_eye", notes, what="other")
    spread = covariance(points, "bar_eye", AXIS)
    assert np.allclose(np.sqrt(np.linalg.eigvalsh(spread)[1:]), 30.0 * np.radians(10.0), rtol=1e-3)  # mm


def test_a_marker_stands_for_its_joint_and_one_view_is_not_enough(corner):
    taps = {"arch_lip": [Tap(0, np.array([500.0, 500.0]))]}
    made_of, findings, places = with_pointed(corner.points, corner.scene, corner.views, taps, CornerNotes(),
                                             corner.up)
    assert made_of is corner.points and not places and "a marker stands for it" in findings[0].what
    blind = [replace(v, grey=v.grey if k == 1 else np.full_like(v.grey, 90))
             for k, v in enumerate(corner.views)]
    alone = replace(corner, views=blind)
    made_of, findings, places = pointed(alone, "bar_eye", CornerNotes())
    assert made_of is corner.points and not places
    assert "one photo does not tell how far" in findings[0].what and "one more photo" in findings[0].do
