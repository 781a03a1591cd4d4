"""What goes wrong with markers in a garage: each is named, and none is averaged in."""

import cv2
import numpy as np
import pytest

from calib.poses import Pose
from photoangle.core.findings import ATTENTION, NOTE
from photoangle.detection.detect_photo import detect_photo
from photoangle.detection.tags import find_tags
from photoangle.reconstruction.guided_search import cut_by_the_frame
from photoangle.reconstruction.solve import solve_scene
from tests.scenes import FAMILY, KIT, facing, paint, tag_flat, true_corners
from tests.small_scene import CARD, LENS, knowledge_of, photo_of, small_scene


def solved(pictures):
    both = [detect_photo(photo_of(p, k), KIT, LENS) for k, p in enumerate(pictures)]
    sightings = [s for s, _ in both]
    return solve_scene(sightings, KIT, knowledge_of(),
                       "front-left/set"), sightings, [f for _, fs in both for f in fs]


def worst_mm(scene, tags):
    return max(
        np.linalg.norm(scene.markers[i].translation_mm - tags[i].translation_mm) for i in scene.markers)


def test_a_marker_that_moved_between_photos_is_left_out_where_it_moved():
    pictures, _, tags = small_scene(5, count=4, move=(2, 102, np.array([1.5, 0, 0.5])))
    scene, _, _ = solved(pictures)
    assert scene.left_out == (("p2", 102),)
    told = [f for f in scene.findings if f.level == ATTENTION]
    assert len(
        told) == 1 and told[0].where == "p2" and "marker 102 (link foot)" in told[0].what and told[0].do
    assert "moved" in told[0].what
    assert worst_mm(scene, tags) < 0.3  # its place is that of the other three photos


def test_an_id_printed_twice_is_named_and_not_used():
    pictures, _, tags = small_scene(6, count=2, again=(101, np.array([120.0, 0, 60.0])))
    scene, sightings, findings = solved(pictures)
    told = [f for f in findings if "marker 101" in f.what]
    assert [f.where for f in told] == ["p0", "p1"] and all("seen 2 times" in f.what and f.do for f in told)
    assert all(101 not in s.tags for s in sightings) and 101 not in scene.markers
    assert worst_mm(scene, tags) < 0.3


def test_the_second_print_alone_in_one_photo_does_not_belong():
    """The true one is hidden there, so that the photo shows one of that id, elsewhere."""
    pictures, _, tags = small_scene(7, count=4, move=(3, 104, np.array([-40.0, 0, 90.0])))
    scene, _, _ = solved(pictures)
    assert scene.left_out == (("p3", 104),)
    told = [f for f in scene.findings if "marker 104" in f.what]
    assert len(told) == 1 and "printed twice" in told[0].what
    assert worst_mm(scene, tags) < 0.3


def mirror_image(scene_light, tag_id, at, lens):
    """A tag as a brake disc shows it: flipped left for right, dimmer."""
    flat = tag_flat(tag_id, 30.0, Pose(facing([0.1, 0.1, -1]), np.array(at)))
    flipped = type(flat)(flat.pose, flat.low_mm, flat.high_mm, 0.7 * flat.pattern[:, ::-1], flat.per_mm)
    paint(scene_light, flipped, Pose.identity(), lens, 3)


def test_a_mirror_image_is_named_and_not_taken_for_the_marker():
    light = np.full((1008, 1344), 0.2, np.float32)
    for k in range(4):
        paint(light, tag_flat(100 + k, 30.0, Pose(facing([0, 0.2,
                                                          -1]), np.array([-150.0 + 90 * k, -60, 500]))),
              Pose.identity(), LENS, 3)
    mirror_image(light, 102, [60.0, 80, 560], LENS)
    grey = np.clip(250 * cv2.GaussianBlur(light, (0, 0), 0.7), 0, 255).astype(np.uint8)
    sighting, findings = detect_photo(photo_of(grey), KIT, LENS)
    assert sorted(sighting.tags) == [100, 101, 102, 103]
    assert sighting.tags[102].corners_px.mean(0)[1] < 504  # the real one, above
    assert [(f.level, f.what)
            for f in findings] == [(NOTE, "a mirror image of marker 102 is seen, and was left out")]


def test_a_mirrored_photo_is_recognised_as_such():
    pictures, _, _ = small_scene(8, count=1)
    sighting, findings = detect_photo(photo_of(np.ascontiguousarray(pictures[0][:, ::-1])), KIT, LENS)
    assert not sighting.tags and sighting.card is None
    assert len(findings
               ) == 1 and findings[0].level == ATTENTION and "mirrored" in findings[0].what and findings[0].do


def test_tags_of_another_kit_are_named_and_left_out():
    stranger = next(i for i in range(300, 587) if KIT.slot(i) is None)
    light = np.full((1008, 1344), 0.2, np.float32)
    for i, x in ((100, -80.0), (stranger, 60.0)):
        paint(light, tag_flat(i, 30.0, Pose(facing([0, 0.2, -1]), np.array([x, 0, 500]))), Pose.identity(),
              LENS, 3)
    grey = np.clip(250 * cv2.GaussianBlur(light, (0, 0), 0.7), 0, 255).astype(np.uint8)
    sighting, findings = detect_photo(photo_of(grey), KIT, LENS)
    assert list(sighting.tags) == [100]
    assert [(f.level, f.what)
            for f in findings] == [(NOTE, f"marker {stranger} is not of this kit, and left out")]


def test_a_tag_cut_by_the_frame_is_named_and_does_not_bias():
    pictures, views, tags = small_scene(9, count=3)
    # crop the first photo through marker 105; the frame's origin stays, so that the lens fits
    corners = true_corners(CARD @ tags[105], 30.0, views[0], LENS)
    cut = int(corners[:, 0].mean())
    pictures[0] = np.ascontiguousarray(pictures[0][:, :cut])
    scene, sightings, _ = solved(pictures)
    assert 105 not in sightings[0].tags
    told = cut_by_the_frame(scene, sightings, KIT)
    assert [(f.where, f.level) for f in told] == [("p0", NOTE)]
    assert told[0].what == "marker 105 (arm ball joint) is cut off by the edge of the photo"
    assert worst_mm(scene, tags) < 0.3


@pytest.mark.parametrize("seed", range(3))
def test_clean_scenes_raise_nothing(seed):
    pictures, _, tags = small_scene(20 + seed, count=2)
    scene, sightings, findings = solved(pictures)
    assert not findings and not scene.findings and not scene.left_out
    assert not cut_by_the_frame(scene, sightings, KIT)
    assert len(scene.markers) == 6 and worst_mm(scene, tags) < 0.4


def test_mirror_images_are_asked_for():
    pictures, _, _ = small_scene(8, count=1)
    flipped = np.ascontiguousarray(pictures[0][:, ::-1])
    assert find_tags(flipped, FAMILY) == []
    assert len(find_tags(flipped, FAMILY, mirrored=True)) > 10
