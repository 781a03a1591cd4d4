"""Up from a plumb that swings, without pictures: its stated error against drawn swings."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import t

import photoangle.geometry.plumb.swing as swing
from calib.poses import rotation_from_vector
from photoangle.core.estimate import Estimate, Source
from photoangle.core.origin import Origin

TURN = ("turn x", "turn y", "turn z")


@pytest.fixture
def hung(monkeypatch):
    """hung(ups (k, 3), seen to so many rad) -> swung's answer for photos that show these directions exactly
    so well."""
    def answer(ups, sigma):
        n = 3 * len(ups)
        spans = [(200 * up, np.eye(n)[3 * k:3 * k + 3]) for k, up in enumerate(ups)]
        pixels = Source(("pixels",), "pixels", np.eye(n) * (200 * sigma) ** 2)
        scene = SimpleNamespace(errors=Estimate.stated([f"x {k}" for k in range(n)], np.zeros(n), pixels),
                                origin=Origin())
        monkeypatch.setattr(swing, "_spans", lambda *_: spans)
        return swing.swung(np.array([0, 0, 1.0]), Estimate.stated(TURN, np.zeros(3)), None, scene, 0.0)
    return answer


@pytest.mark.parametrize("photos", [2, 3, 4, 8])
def test_swings_of_any_size_are_in_the_stated_error(hung, photos):
    """300 draws of swings of 0.1 to 3 deg: RMS of error over u 0.4 to 1.1, 94 % inside their 95 % interval."""
    rng, z, inside = np.random.default_rng(photos), [], []
    for _ in range(300):
        size = np.radians(0.1 * 30 ** rng.random())
        leans = rng.normal(0, size, (photos, 2)) + rng.normal(0, 2e-4, (photos, 2))
        ups = np.array([rotation_from_vector([*lean, 0]) @ [0, 0, 1.0] for lean in leans])
        up, errors, _ = hung(ups, 2e-4)
        u = np.sqrt(errors.covariance().diagonal()[:2])
        z += list(np.cross(up, [0, 0, 1.0])[:2] / u)
        inside += [abs(z[k]) < t.ppf(0.975, errors.dof(TURN[2 + k])) for k in (-2, -1)]
    assert 0.4 < np.sqrt(np.mean(np.square(z))) < 1.1
    assert np.mean(inside) > 0.94


def test_one_photo_of_both_markers_tells_nothing_of_the_swing(hung):
    _, errors, told = hung(np.array([[0, 0, 1.0]]), 2e-4)
    assert np.degrees(np.sqrt(errors.covariance()[0, 0])) > 0.5
    assert "swung" in told.what
