"""The budget of an angle, by derivatives, against sampling of the same inputs (JCGM 101), source by source.

Tolerances: a standard deviation from n samples is itself uncertain by 1 / sqrt(2 n): 1.4 % at 2500, 5 % at
200.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from calib.bundle import Bundle
from calib.poses import Pose, rotation_from_vector
from photoangle.carfile.car import Level
from photoangle.carfile.corner import CornerNotes
from photoangle.carfile.lengths import Reading
from photoangle.core.figure import figure_of
from photoangle.figures.frame import FrameEstimate
from photoangle.figures.measurands import measurands
from photoangle.figures.measure import label, measured
from photoangle.geometry.datums import gravity, level_axes
from photoangle.geometry.joints import joint_points
from photoangle.geometry.states import StateResult
from photoangle.reconstruction.solve import solve_scene
from tests.scenes import KIT, scaled_lens
from tests.small_scene import knowledge_of, projected_sightings

ANGLES = ("bar_arm_elevation", "bar_arm_angle", "control_arm_elevation", "control_arm_angle",
          "link_elevation", "bar_to_link_angle", "sill_slope")
JOINTS = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_pivot_rear", "arm_ball_joint")
CORNER = CornerNotes(standoff={n: Reading(30.0, 0.5, "") for n in JOINTS})


@pytest.fixture(scope="module")
def solved():
    sightings, _ = projected_sightings(3)
    scene = solve_scene(sightings, KIT, knowledge_of(scaled_lens(2016)))
    return scene, state_of(scene)


def state_of(scene):
    points, _ = joint_points(scene, KIT, CORNER, Level(), 1.0, 0.0007)
    up, _ = gravity(points, scene, Level())
    return StateResult(None, None, None, scene, points, up, lateral=level_axes(points, up), notes=CORNER)


def drawn(rng, source, count):
    """Samples (count, k) of a source; rectangular along its axes where it is a tolerance."""
    values, vectors = np.linalg.eigh(source.covariance)
    spread = vectors * np.sqrt(np.maximum(values, 0))
    wide = math.sqrt(3)
    standard = rng.uniform(-wide, wide,
                           (count, len(values))) if source.title in ("sticking", "stand-off") else rng.normal(
                               size=(count, len(values)))
    return standard @ spread.T


def of_angles(state):
    frame = FrameEstimate.of(state).nominal
    return np.array(
        [m.value(frame) for m in measurands() if m.name in ANGLES and m.datum in (None, "gravity")])


def test_every_source_of_every_angle_by_sampling(solved):
    state = solved[1]
    done = measured(state)
    rows = [m for m in done.rows if m.name in ANGLES]
    rng = np.random.default_rng(1)
    count, checked = 2500, 0
    total = np.zeros((count, len(rows)))
    by_title = {}
    for source, effect in done.frame.estimate.effects.items():
        by_title.setdefault(source.title, np.zeros((count, effect.shape[0])))
        by_title[source.title] += drawn(rng, source, count) @ effect.T
    for title, samples in by_title.items():
        frames = [done.frame.frame(done.frame.estimate.values + s) for s in samples]
        for k, row in enumerate(rows):
            f = figure_of(done.estimate, label(row.key), None, None, row)
            values = np.array([row.value(frame) for frame in frames])
            total[:, k] += values - f.value
            stated = math.sqrt(f.budget.get(title, 0.0)) * f.u
            if stated < 0.1 * f.u:
                assert values.std() < 0.12 * f.u, (row.name, title)
                continue
            assert abs(values.std() / stated - 1) < 0.05, (row.name, title)
            assert abs(values.mean() - f.value) < 0.1 * f.u, (row.name, title)
            checked += 1
    assert checked >= 18
    for k, row in enumerate(rows):
        # sources are independent: their sampled deviations add; JCGM 101's interval against the stated one.
        # A quantile of 2500 samples is uncertain by 0.054 u, and rectangular inputs make the true interval up
        # to 5 % (0.1 u) narrower
        f = figure_of(done.estimate, label(row.key), None, None, row)
        low, high = np.quantile(total[:, k], [0.025, 0.975])
        assert abs(low - (f.low95 - f.value)) < 0.2 * f.u and abs(high -
                                                                  (f.high95 - f.value)) < 0.2 * f.u, row.name


def test_what_the_photos_get_wrong_is_carried_whole_from_poses_to_angles(solved):
    """Poses drawn as the scene's pixels, lens and print allow, and everything after them worked out anew:
    joints, plumb, level axes, angles.  The plumb and the joints go wrong together, which the stated u must
    know: a standard deviation of 400 draws is uncertain by 3.5 %."""
    scene, state = solved
    done, rng = measured(state), np.random.default_rng(5)
    rows = [m for m in done.rows if m.name in ANGLES and m.datum in (None, "gravity")]
    count, size = 400, scene.solution.bundle.size
    change = np.zeros((count, size))
    for source, effect in scene.errors.effects.items():
        change += drawn(rng, source, count) @ effect.T
    values = []
    for c in change:
        markers = {}
        for i, pose in scene.markers.items():
            d = c[scene.rows_of(i)]
            markers[i] = Pose(rotation_from_vector(d[:3]) @ pose.rotation, pose.translation_mm +
                              d[3:]) if len(d) else pose
        values.append(of_angles(state_of(replace(scene, markers=markers))))
    sampled = np.std(values, axis=0)
    for k, row in enumerate(rows):
        parts = done.estimate.variances(label(row.key))
        stated = math.sqrt(sum(v for s, v in parts.items() if s in scene.errors.effects))
        assert abs(sampled[k] / stated - 1) < 4 * 0.035, (row.name, sampled[k], stated)


def test_the_prints_scale_stretches_the_markers_and_not_the_stand_offs(solved):
    scene, state = solved
    more, less = (joint_points(scene, KIT, CORNER, Level(), 1 + d, 0.0007)[0] for d in (1e-4, -1e-4))
    slope = (more.positions_mm - less.positions_mm) / 2e-4
    slope -= slope.mean(0)
    source = next(s for s in state.points.estimate.effects if s.key[0] == "scale")
    stated = state.points.estimate.effects[source].reshape(-1, 3)
    assert np.allclose(slope, stated - stated.mean(0), atol=1e-6)


def resolved(scene, rng, source):
    """The bundle solved again from observations (or prior means) moved as their stated covariance says."""
    bundle, values = scene.solution.bundle, scene.solution.values
    # what the solution predicts, and then noise: the observations' own noise must not count twice
    priors = replace(bundle.priors, lens_mean=values.lens, paper_mean=values.paper)
    tag_r, _, card_r, _ = bundle.whitened(values, False)
    noise = math.sqrt(scene.solution.variance_factor()) if source == "pixels" else 0.0
    tags = [
        replace(r, corners_px=r.corners_px + np.linalg.solve(w,
                                                             noise * rng.normal(size=8) + e).reshape(4, 2))
        for r, w, e in zip(bundle.tags, bundle.tag_white, tag_r, strict=False)
    ]
    cards = [
        replace(r,
                pixels=r.pixels + np.linalg.solve(w,
                                                  (noise * rng.normal(size=e.shape) + e)[..., None])[..., 0])
        for r, w, e in zip(bundle.cards, bundle.card_white, card_r, strict=False)
    ]
    if source == "lens":
        move = rng.multivariate_normal(np.zeros(bundle.lens_size), np.linalg.inv(priors.lens_information))
        priors = replace(priors, lens_mean=priors.lens_mean + move)
    elif source == "print":
        priors = replace(priors, paper_mean=priors.paper_mean + rng.normal(size=5) * priors.paper_sigma)
    return Bundle(bundle.cameras, bundle.bodies, tags, cards, priors, bundle.ties, 2 * bundle.half_card,
                  bundle.nu).solve(values)


@pytest.mark.parametrize("source, count", [("pixels", 200), ("lens", 150), ("print", 150)])
def test_what_the_solution_rests_on_by_solving_again(solved, source, count):
    """The part of each marker's place that comes from pixels, lens and print: 5 to 6 % by sampling, within 20
    %.

    Robust weights spend some of the pixels' information, which the stated covariance counts.
    """
    scene = solved[0]
    rng = np.random.default_rng(2)
    stated = scene.errors.covariances()[source]
    base = scene.solution.values.body_mm
    moved = np.array([resolved(scene, rng, source).values.body_mm - base for _ in range(count)])
    sampled = moved.reshape(count, -1).T @ moved.reshape(count, -1) / count
    pick = np.concatenate([[scene.order.index(i)] * 3 for i in (100, 101, 105, 109)])
    at_body = (3 * pick.reshape(-1, 3) + np.arange(3)).ravel()
    at_unknown = np.concatenate([np.arange(*scene.solution.bundle.body_slice_of(k).indices(10**6))[3:]
                                 for k in pick.reshape(-1, 3)[:, 0]])
    c, s = stated[np.ix_(at_unknown, at_unknown)], sampled[np.ix_(at_body, at_body)]
    # principal axes rather than elements: along the stated one's, where nearly all of the variance lies
    values, vectors = np.linalg.eigh(c)
    for value, vector in zip(values, vectors.T, strict=False):
        if value < 0.03 * values[-1]:
            continue
        assert abs(math.sqrt(vector @ s @ vector / value) - 1) < 0.2, source
    assert abs(math.sqrt(np.trace(s) / np.trace(c)) - 1) < 0.2
