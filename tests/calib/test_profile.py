"""Lens profiles: kept, read back, matched."""

import json
from dataclasses import replace

import numpy as np
import pytest

from calib.images.photo import CameraIdentity
from calib.profile import CameraProfile, ProfileError, load_profiles, save_profiles

CAMERA = CameraIdentity("Plover", "P9", "main", 5.9, 27.0, 1.0, 4000, 3000)
PROFILE = CameraProfile(CAMERA, np.r_[3100.0, 0, 2000, 1500, np.zeros(5)],
                        np.eye(9) * 0.01, np.array([1e-3, 4, 4.0]), 0.01, 10, 0.02, 1.1, 0.05, 0.2,
                        "2031-05-04")


def test_saved_and_loaded_alike(tmp_path):
    save_profiles(tmp_path / "p.json", [PROFILE, replace(PROFILE, shift_sigma=None)])
    first, second = load_profiles(tmp_path / "p.json")
    assert first.camera == CAMERA and np.array_equal(first.lens, PROFILE.lens)
    assert np.array_equal(first.covariance, PROFILE.covariance) and second.shift_sigma is None


@pytest.mark.parametrize("change, words",
                         [({"model": "P10"}, "from Plover P10"),
                          ({"focal_mm": 2.2, "focal35_mm": 13.0}, "another of the phone's lenses"),
                          ({"zoom": 2.0}, "digital zoom 2"),
                          ({"width_px": 1600, "height_px": 1200, "make": "", "model": ""}, "messaging app"),
                          ({"width_px": 3000, "height_px": 4000}, "on its side"),
                          ({"make": "", "model": ""}, "no camera name")])
def test_a_mismatch_is_said(change, words):
    assert PROFILE.match(CAMERA) is None
    assert words in PROFILE.match(replace(CAMERA, **change))


@pytest.mark.parametrize("damage", [
    lambda c: "not json", lambda c: "[]", lambda c: json.dumps({**c, "version": 99}),
    lambda c: json.dumps({"version": 1, "profiles": [{**c["profiles"][0], "lens": [1, 2]}]}),
    lambda c: json.dumps({"version": 1, "profiles": [{**c["profiles"][0], "lens": [float("nan")] * 9}]}),
    lambda c: json.dumps({"version": 1, "profiles": [{**c["profiles"][0], "covariance": 3}]}),
    lambda c: json.dumps({"version": 1, "profiles": [{**c["profiles"][0], "camera": {"make": 1, "x": 2}}]})])
def test_damaged_profiles_are_refused_with_a_remedy(tmp_path, damage):
    path = tmp_path / "p.json"
    save_profiles(path, [PROFILE])
    path.write_text(damage(json.loads(path.read_text())))
    with pytest.raises(ProfileError) as error:
        load_profiles(path)
    assert "photoangle lens" in error.value.do
