"""One lens in all states of a job: what other states' photos showed of it serves, and nothing counts twice."""

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from calib.images.photo import CameraIdentity
from photoangle.core.origin import Origin
from photoangle.reconstruction.intrinsics_prior import lens_knowledge
from photoangle.reconstruction.lens.kept import NAME, keep_shown, kept_shown, made_of, named
from photoangle.reconstruction.lens.shown import others_of, prior_with
from photoangle.reconstruction.solve import SceneOptions, solve_scene
from tests.phones.coverage import EXACT, run
from tests.phones.sightings import phone, photographed
from tests.scenes import KIT


def solved(sightings, used, state, shown=()):
    knowledge, findings = lens_knowledge(used.identity, [], sightings, KIT, EXACT, state, shown)
    return solve_scene(sightings, KIT, knowledge, "", options=SceneOptions(origin=Origin(state))), findings


@pytest.fixture(scope="module")
def two_states():
    """(phone, sightings of each, scenes solved alone, shares) of two states of three photos."""
    rng = np.random.default_rng(12)
    used = phone(rng)
    sightings = [photographed(rng, used, 3)[0] for _ in range(2)]
    alone = [solved(s, used, state)[0] for s, state in zip(sightings, "ab", strict=True)]
    shares = [named(scene.lens_shown, scene.origin.state, [f"{scene.origin.state}{k}" for k in range(3)])
              for scene in alone]
    return used, sightings, alone, shares


@pytest.fixture(scope="module")
def by_lens():
    return run(5, seed=21, photos=(3,), profiles=(False, "job"))


def test_intervals_hold_with_the_jobs_own_lens_and_are_narrower(by_lens):
    alone, job = by_lens[3, "no lens"], by_lens[3, "job"]
    # five scenes of some 11 markers, whose errors go together by scene
    assert np.mean(np.array(job["pose"]) <= chi2.ppf(0.95, 6)) > 0.86
    assert np.mean(np.abs(job["line"]) <= 1.96) > 0.85
    assert np.median(job["line u"]) < 0.95 * np.median(alone["line u"])


def test_states_one_by_one_are_the_joint_estimate(two_states):
    """Each state with the other's share ends at the lens that both shares together make, and as sure: focal
    length and middle within a twentieth of a standard uncertainty, the curve, which bends, within a quarter."""
    used, sightings, alone, shares = two_states
    at_large = alone[0].solution.bundle.priors
    joint = prior_with(at_large, shares)
    u = np.sqrt(np.linalg.inv(joint.lens_information).diagonal())
    for k in (0, 1):
        scene, _ = solved(sightings[k], used, "ab"[k], (shares[1 - k],))
        n = scene.solution.bundle.lens_size
        off = np.abs(scene.solution.values.lens - joint.lens_mean) / u
        assert (off[[0, 2, 3]] < 0.05).all() and off.max() < 0.25
        assert np.sqrt(scene.covariance[:n, :n].diagonal()) == pytest.approx(u, rel=0.15)


def test_what_two_states_share_of_their_lens_cancels_in_their_difference(two_states):
    used, sightings, _, shares = two_states
    a, b = (solved(sightings[k], used, "ab"[k], (shares[1 - k],))[0] for k in (0, 1))
    lens = [e.errors.pick([f"unknown {k}" for k in (0, 2, 3)]) for e in (a, b)]
    whole = np.sqrt(lens[0].covariance().diagonal())
    # one phone has one lens: both states say the same of it, with the same error
    assert (np.sqrt(np.abs(lens[0].minus(lens[1]).covariance().diagonal())) < 0.3 * whole).all()


def test_no_photo_serves_itself_and_no_phone_another(two_states):
    used, _, _, shares = two_states
    assert others_of(shares, used.identity, "a", ["a0"]) == (shares[1],)
    assert others_of(shares, used.identity, "c", ["x"]) == tuple(shares)
    # a copy of one of its photos in another state's folder
    assert others_of(shares, used.identity, "c", ["b1"]) == (shares[0],)
    doubled = replace(shares[1], photos=("a0", "b1"))
    assert others_of([shares[0], doubled], used.identity, "c", []) == (shares[0],)
    for other in (replace(used.identity, model="P10"), replace(used.identity, width_px=1600, height_px=1200),
                  replace(used.identity, focal35_mm=13.0), CameraIdentity(width_px=4032, height_px=3024)):
        assert others_of(shares, other, "c", []) == ()
    nameless = [replace(s, camera=replace(s.camera, make="", model="")) for s in shares]
    assert others_of(nameless, nameless[0].camera, "c", []) == ()


def test_the_text_says_of_how_many_photos_the_lens_is(two_states):
    used, sightings, _, shares = two_states
    scene, findings = solved(sightings[0], used, "a", (shares[1],))
    assert scene.taken.lens_source == "6 photos of this phone"
    assert findings[0].what.startswith("lens learnt from 6 photos of this phone")


def test_shares_are_kept_and_read_back_alike(two_states, tmp_path):
    shares = two_states[3]
    keep_shown(tmp_path / "results", {"front-left/set": (made_of("x"), shares[0])})
    made, back = kept_shown(tmp_path / "results")["front-left/set"]
    assert made == made_of("x") and made != made_of("y")
    assert back.camera == shares[0].camera and back.photos == shares[0].photos
    for name in ("lens", "pull", "information", "spread"):
        assert np.array_equal(getattr(back, name), getattr(shares[0], name))


@pytest.mark.parametrize("damage", [
    lambda c: "{", lambda c: "[]", lambda c: json.dumps({**c, "version": 99}),
    lambda c: json.dumps(c).replace('"lens": [', '"lens": [1e400, '),
    lambda c: json.dumps(c).replace('"dof": ', '"dof": -'),
    lambda c: json.dumps(c).replace('"spread": [[', '"spread": [[-'),
    lambda c: json.dumps(c).replace('"make": "Plover"', '"make": 3')])
def test_a_damaged_file_is_as_if_it_was_not_there(two_states, tmp_path, damage):
    keep_shown(tmp_path, {"front-left/set": ("x", two_states[3][0])})
    path = tmp_path / NAME
    path.write_text(damage(json.loads(path.read_text())))
    assert kept_shown(tmp_path) == {}
