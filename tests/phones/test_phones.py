"""Phones as they are: nothing good is thrown out, and what is stated holds, without lens photos too."""

import numpy as np
import pytest
from scipy.stats import chi2

from tests.phones.coverage import run
from tests.phones.profiles import run as learnt


@pytest.fixture(scope="module")
def without_lens():
    return run(6, seed=15, photos=(1, 2, 3), profiles=(False,))


def test_clean_photos_without_a_lens_profile_raise_nothing(without_lens):
    # half of these phones move their principal point by 8 to 18 px from photo to photo
    for rows in without_lens.values():
        assert sum(rows["left out"]) == 0 and sum(rows["said"]) == 0
        assert "refused" not in rows


def test_poses_without_a_lens_profile_lie_inside_their_ellipsoids(without_lens):
    # 18 scenes of some 11 markers, whose errors go together by scene: about 18 counts, sigma 5 of 100
    poses = np.concatenate([rows["pose"] for rows in without_lens.values()])
    assert np.mean(poses <= chi2.ppf(0.95, 6)) > 0.84


def test_a_learnt_lens_is_as_good_as_it_says():
    errors, stated = learnt(6, seed=4)
    z = np.sqrt(((errors / stated)**2).mean((1, 2)))
    assert np.sqrt(np.mean(z**2)) < 1.35 and np.median(z) > 0.2
