"""Paper that is not perfect and a lens that breathes, in whole rendered pictures: the bar's angle within 0.05
deg."""

from dataclasses import replace

import numpy as np
import pytest

from calib.calibrate import View, calibrate
from calib.images.photo import CameraIdentity, Photo
from calib.kit import card_saddles_mm
from calib.lens import project
from calib.poses import Pose, rotation_from_vector
from calib.profile import CameraProfile
from photoangle.carfile.car import PrintCheck
from photoangle.core.findings import Refusal
from photoangle.detection.detect_photo import detect_photo
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.solve import solve_scene
from tests.coverage import corner
from tests.scenes import KIT, Camera, card_flat, facing, look_at, scaled_lens, shoot, tag_flat

WIDTH, HEIGHT = 2016, 1512
BOW_MM, TAG_SCALE, BREATHING, SHIFT_PX = 1.0, 1.005, 0.005, 10.0 * WIDTH / 4032


def breathing(rng):
    """The phone's lens, its focal length off by up to 0.5 % and its principal point by 10 px of 4032."""
    lens = scaled_lens(WIDTH)
    lens[0] *= 1 + BREATHING * rng.choice([-1, 1]) * rng.uniform(0.5, 1)
    turn = rng.uniform(0, 2 * np.pi)
    lens[2:4] += SHIFT_PX * np.array([np.cos(turn), np.sin(turn)])
    return lens


def learnt_profile(rng, identity):
    """From ten views of a flat card by the same breathing phone."""
    saddles, views = card_saddles_mm(KIT.card), []
    while len(views) < 10:
        r = rotation_from_vector(np.r_[rng.uniform(-0.7, 0.7, 2), rng.uniform(-1.5, 1.5)])
        pose = Pose(
            r,
            np.r_[rng.uniform(-120, 120), rng.uniform(-90, 90),
                  rng.uniform(350, 600)] - r @ [126, 84, 0])
        seen = project(pose.apply(saddles), breathing(rng))
        if ((seen > 10) & (seen < [WIDTH - 10, HEIGHT - 10])).all():
            views.append(View(f"v{len(views)}", saddles, seen + rng.normal(0, 0.02, seen.shape),
                              np.tile(np.eye(2) * 0.02**2, (len(seen), 1, 1))))
    found = calibrate(views, WIDTH, HEIGHT, scaled_lens(WIDTH)[0])
    return CameraProfile(identity, found.lens, found.covariance, found.shift_sigma, found.floor_px,
                         len(views), found.rms_px, found.variance_factor, 0.1, 0.1, "")


@pytest.fixture(scope="module")
def garage():
    rng = np.random.default_rng(4)
    identity = CameraIdentity("Plover", "P9", "", None, None, 1.0, WIDTH, HEIGHT)
    profile = learnt_profile(rng, identity)
    tags, card = corner(rng)
    spin = facing([0.1, -1, 0.0])
    tags[111] = Pose(spin, tags[110].translation_mm + [0, 0, -200.0])  # a strip that hangs true
    tags[110] = Pose(spin, tags[110].translation_mm)
    sightings = []
    for k, angle in enumerate(np.linspace(-0.6, 0.6, 4)):
        target = np.array([-120, 60, 360.0]) + rng.uniform(-40, 40, 3)
        view = look_at(
            target + rng.uniform(950, 1250) *
            np.array([np.sin(angle), -np.cos(angle), rng.uniform(-0.2, 0.3)]), target, rng.normal(0, 0.06))
        flats = [card_flat(card, (BOW_MM, 0, 0))
                 ] + [tag_flat(i, 30.0 * TAG_SCALE, p, rng) for i, p in tags.items()]
        grey = shoot(flats, view, breathing(rng), WIDTH, HEIGHT, Camera("phone", jpeg=93), rng, 3)
        sightings.append(detect_photo(Photo(f"p{k}", grey, 1, identity, ""), KIT, profile.lens)[0])
    return sightings, profile, tags


def angle_errors(scene, tags):
    """Bar arm, control arm and sill against the plumb, deg, and the bar arm against the link."""
    at = {i: p.translation_mm for i, p in scene.markers.items()}
    true = {i: p.translation_mm for i, p in tags.items()}

    def angles(at):
        up = at[110] - at[111]
        lines = [at[101] - at[100], at[105] - (at[103] + at[104]) / 2, at[108] - at[109]]
        return np.degrees([np.arcsin(v @ up / np.linalg.norm(v) / np.linalg.norm(up)) for v in lines] + [
            np.arccos((at[101] - at[100]) @ (at[101] - at[102]) / np.linalg.norm(at[101] - at[100])
                      / np.linalg.norm(at[101] - at[102]))])
    return angles(at) - angles(true)


def test_the_bar_angle_is_within_005_deg(garage):
    sightings, profile, tags = garage
    knowledge, _ = lens_knowledge(profile.camera, [profile], sightings, KIT, PrintCheck(200.0, 150.0, 0.1),
                                  "")
    scene = solve_scene(sightings, KIT, knowledge)
    assert profile.shift_sigma is not None and scene.moving_lens
    errors = np.abs(angle_errors(scene, tags))
    assert errors[0] < 0.05 and errors.max() < 0.1
    paper = scene.solution.values.paper
    assert abs(paper[0] - (TAG_SCALE - 1)) < 0.0005
    assert abs(paper[1] - BOW_MM) < 0.1 and np.abs(paper[2:4]).max() < 0.1
    # in mm, against the card's nominal size
    assert abs(np.linalg.norm(scene.markers[101].translation_mm - scene.markers[100].translation_mm)
               - np.linalg.norm(tags[101].translation_mm - tags[100].translation_mm)) < 0.3


def test_without_those_unknowns_it_would_not_be(garage):
    """What the shared unknowns are worth: the same photos, believing in perfect paper and one lens."""
    sightings, profile, _ = garage
    knowledge, _ = lens_knowledge(profile.camera, [profile], sightings, KIT, PrintCheck(200.0, 150.0, 0.1),
                                  "")
    rigid = replace(knowledge, can_move=False, priors=replace(
        knowledge.priors, paper_sigma=np.zeros(5), paper_mean=np.zeros(5), shift_sigma=None))
    scene = solve_scene(sightings[:2], KIT, rigid)
    # with the wrong model nothing fits, and that is said in place of figures
    assert isinstance(scene, Refusal)
