"""Markers whose paper is not flat: noticed, named, counted for less; flat ones never accused."""

import numpy as np
import pytest

from calib.kit import tag_corners_mm
from calib.lens import plain_lens
from calib.poses import Pose
from photoangle.core.findings import ATTENTION
from photoangle.detection.alignment.align import align_tag
from photoangle.detection.codes import square_homography
from photoangle.detection.detect_photo import detect_photo
from photoangle.detection.tags import find_tags
from photoangle.reconstruction.solve import solve_scene
from tests.scenes import FAMILY, KIT, Camera, develop, facing, paint, tag_flat
from tests.small_scene import LENS as SCENE_LENS
from tests.small_scene import knowledge_of, photo_of, small_scene

LENS = plain_lens(1034.7, 671.5, 503.5)


def aligned_tags(curl_mm, camera, seed, dirt=0.0, sizes=(28, 120)):
    """Twelve tags of one curl, tilted up to 50 deg: list of AlignedTag."""
    rng = np.random.default_rng(seed)
    scene = np.full((1008, 1344), 0.2, np.float32)
    for k in range(12):
        tilt, turn = np.radians(rng.uniform(0, 50)), rng.uniform(0, 2 * np.pi)
        normal = np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), -np.cos(tilt)])
        px = np.array([170 + 330 * (k % 4), 170 + 330 * (k // 4)])
        at = np.r_[(px - LENS[2:4]) / LENS[0], 1] * LENS[0] * 30 / rng.uniform(*sizes)
        paint(scene,
              tag_flat(100 + k, 30.0, Pose(facing(normal, rng.uniform(0, 6.28)), at), rng, dirt, curl_mm),
              Pose.identity(), LENS, 4)
    grey = develop(scene, camera, rng)
    aligned = [align_tag(grey, FAMILY, t.tag_id, t.corners_px, LENS) for t in find_tags(grey, FAMILY)]
    return [a for a in aligned if a is not None]


@pytest.mark.parametrize("camera, dirt", [(Camera("linear"), 0), (Camera("phone", noise=0.015), 0),
                                          (Camera("srgb", motion_px=5.0), 0), (Camera("srgb"), 0.08)])
def test_flat_tags_are_never_called_bent(camera, dirt):
    tags = aligned_tags(None, camera, 1, dirt)
    assert len(tags) >= 10
    assert not any(t.bent for t in tags)


def test_half_a_millimetre_of_curl_is_noticed():
    """Round a tube of 200 mm radius a 30 mm tag stands 0.56 mm proud in its middle."""
    tags = aligned_tags(200.0, Camera("phone"), 2, sizes=(60, 120))
    assert len(tags) == 12 and all(t.bent for t in tags)


def test_the_bend_is_the_sagitta_seen_from_the_side():
    """45 deg from the normal, across the curl: the shown depth's spread about the best square, to 25 %."""
    radius, side, tilt = 150.0, 100.0, np.radians(45)
    pose = Pose(facing([np.sin(tilt), 0, -np.cos(tilt)]), np.array([0, 0, LENS[0] * 30 / side]))
    scene = np.full((1008, 1344), 0.2, np.float32)
    paint(scene, tag_flat(100, 30.0, pose, curl_mm=radius), Pose.identity(), LENS, 6)
    grey = develop(scene, Camera("linear"), np.random.default_rng(0))
    tag = next(t for t in find_tags(grey, FAMILY) if t.tag_id == 100)
    aligned = align_tag(grey, FAMILY, 100, tag.corners_px, LENS)
    t = np.linspace(-15, 15, 41)
    x, y = (a.ravel() for a in np.meshgrid(t, t))
    curled = np.stack([radius * np.sin(x / radius), y, radius * (1 - np.cos(x / radius))], 1)
    flat = np.stack([x, y], 1) / 30 * 8 + 4

    def seen(points):
        at = pose.apply(points)
        return at[:, :2] / at[:, 2:] * LENS[0] + LENS[2:4]

    shown = seen(curled)
    # the square that explains the curled points best, by Gauss-Newton on its corners
    corners = seen(tag_corners_mm(30.0))

    def miss(q):
        h = square_homography(q.reshape(4, 2), 8)
        p = np.c_[flat, np.ones(len(flat))] @ h.T
        return (p[:, :2] / p[:, 2:] - shown).ravel()

    q = corners.ravel()
    for _ in range(4):
        j = np.stack([(miss(q + 1e-4 * e) - miss(q - 1e-4 * e)) / 2e-4 for e in np.eye(8)], 1)
        q = q - np.linalg.lstsq(j, miss(q), rcond=None)[0]
    expected = np.sqrt((miss(q) ** 2).sum() / len(flat))
    assert abs(aligned.bend_px - expected) < 0.25 * expected


def test_a_marker_round_a_tube_is_named_and_left_out():
    photos, _, _ = small_scene(3, curl={103: 22.0}, count=1)
    sighting, findings = detect_photo(photo_of(photos[0]), KIT, SCENE_LENS)
    assert 103 not in sighting.tags and len(sighting.tags) >= 5
    told = [f for f in findings if "marker 103" in f.what]
    assert len(told) == 1 and ("bent" in told[0].what)


def test_a_curled_marker_is_named_and_its_interval_widened():
    results = {}
    for name, curl in (("flat", {}), ("curled", {103: 150.0})):
        photos, _views, tags = small_scene(4, curl=curl, count=3)
        sightings = [detect_photo(photo_of(p, k), KIT, SCENE_LENS)[0] for k, p in enumerate(photos)]
        scene = solve_scene(sightings, KIT, knowledge_of(), "front-left/set")
        k = scene.order.index(103)
        u = np.sqrt(scene.covariance.diagonal()[scene.solution.bundle.body_slice_of(k)][3:])
        others = [scene.order.index(i) for i in scene.markers if i != 103]
        u_others = np.array([np.sqrt(scene.covariance.diagonal()[scene.solution.bundle.body_slice_of(o)][3:])
                             for o in others])
        error = scene.markers[103].translation_mm - tags[103].translation_mm
        told = [f for f in scene.findings if "not flat" in f.what]
        results[name] = u, u_others, error, told
    assert not results["flat"][3]
    assert len(results["curled"][3]) == 1 and results["curled"][3][0].level == ATTENTION
    assert "marker 103 (arm pivot, front)" in results["curled"][3][0].what and results["curled"][3][0].do
    # its own place is widened, honestly; the others' stay what they are
    assert np.linalg.norm(results["curled"][0]) > 4 * np.linalg.norm(results["flat"][0])
    assert (np.abs(results["curled"][2]) < 3 * results["curled"][0]).all()
    assert np.linalg.norm(results["curled"][1]) < 1.3 * np.linalg.norm(results["flat"][1])
