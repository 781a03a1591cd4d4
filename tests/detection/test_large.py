"""Tags that fill much of a photo, on paper that is not quite flat."""

import numpy as np
import pytest

from calib.images.photo import CameraIdentity, Photo
from calib.lens import plain_lens
from calib.poses import Pose
from photoangle.detection.detect_photo import detect_photo
from tests.scenes import KIT, Camera, develop, facing, paint, tag_flat, true_corners

WIDTH, HEIGHT = 1344, 1344
LENS = plain_lens(1500.0, 671.5, 671.5)


def seen(side_px, curl_mm):
    """A tag of 60 mm, tilted by 20 deg, as a phone takes it: (Detections, findings, true corners of a flat one)."""
    pose = Pose(facing([0.35, 0.1, -1], 1.6), np.array([0, 0, LENS[0] * 60 / side_px]))
    scene = np.full((HEIGHT, WIDTH), 0.3, np.float32)
    paint(scene, tag_flat(105, 60.0, pose, curl_mm=curl_mm), Pose.identity(), LENS, 2)
    grey = develop(scene, Camera("phone", 1.2, noise=0.01), np.random.default_rng(1))
    photo = Photo("p", grey, 1, CameraIdentity(width_px=WIDTH, height_px=HEIGHT), "")
    return *detect_photo(photo, KIT, LENS), true_corners(pose, 60.0, Pose.identity(), LENS)


def test_a_large_flat_tag_is_measured_to_its_covariance():
    sighting, findings, true = seen(870, None)
    assert not findings
    tag = sighting.tags[105]
    e = (tag.corners_px - true).ravel()
    assert np.sqrt(np.mean(e**2)) < 0.1 and e @ np.linalg.solve(tag.covariance_px2, e) / 8 < 2
    assert not tag.bent


@pytest.mark.parametrize("radius_mm", [400.0, 150.0])
def test_a_large_tag_slightly_bent_settles_and_is_used(radius_mm):
    """Round 150 mm a tag of 60 mm stands 3 mm proud in its middle."""
    sighting, findings, _ = seen(870, radius_mm)
    assert 105 in sighting.tags and not findings
