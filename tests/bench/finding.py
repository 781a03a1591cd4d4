"""Finding tags: how many, how fast, against decoding the photo, OpenCV and the AprilTag library."""

from __future__ import annotations

import time

import cv2
import numpy as np

from calib.lens import unproject
from calib.poses import Pose
from photoangle.detection.alignment.align import align_tag
from photoangle.detection.saddles import find_saddles
from photoangle.detection.tags import find_tags
from tests.scenes import FAMILY, KIT, Camera, card_flat, facing, scaled_lens, shoot, tag_flat, true_corners

WIDTH, HEIGHT = 4032, 3024
_DETECTORS = {}  # never freed: the library does not survive it


def _median_s(function, times=3):
    function()
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        result = function()
        spent.append(time.perf_counter() - start)
    return float(np.median(spent)), result


def hard_set(seed):
    """28 tags of 24 to 60 px, tilted up to 68 deg from the line of sight, as a phone takes them: (jpeg bytes,
    true corners by id)."""
    rng = np.random.default_rng(seed)
    lens = scaled_lens(WIDTH)
    tags = {}
    for k in range(28):
        tilt, turn = np.radians(rng.uniform(0, 68)), rng.uniform(0, 2 * np.pi)
        px = np.array(
            [300 + (k % 7) * 570 + rng.uniform(-120, 120), 350 + (k // 7) * 750 + rng.uniform(-150, 150)])
        z = lens[0] * 30 / rng.uniform(24, 60)
        sight = np.r_[unproject(px[None], lens)[0], 1]
        aside = facing(-sight, turn)
        normal = aside @ [np.sin(tilt), 0, -np.cos(tilt)]
        tags[100 + k] = Pose(facing(normal, rng.uniform(0, 6.28)), sight * z)
    grey = shoot([tag_flat(i, 30.0, p, rng=rng) for i, p in tags.items()], Pose.identity(), lens, WIDTH,
                 HEIGHT, Camera("phone", 0.7, noise=0.012), rng, 6)
    return _jpeg(grey), {i: true_corners(p, 30.0, Pose.identity(), lens) for i, p in tags.items()}


def ordinary(seed=0):
    """Twelve tags of 60 to 120 px and the card: jpeg bytes."""
    rng = np.random.default_rng(seed)
    lens = scaled_lens(WIDTH)
    flats = []
    for k in range(12):
        normal = [rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5), -1]
        px = np.array([400 + (k % 6) * 620, 400 + (k // 6) * 2200])
        flats.append(tag_flat(100 + k, 30.0, Pose(facing(normal), np.r_[unproject(px[None], lens)[0], 1]
                                                  * lens[0] * 30 / rng.uniform(60, 120)), rng=rng))
    pose = Pose(facing([0.2, 0.1, -1]), np.zeros(3))
    flats.append(card_flat(Pose(pose.rotation, np.array([0, 0, 620.0]) - pose.rotation @ [126, 84, 0])))
    return _jpeg(shoot(flats, Pose.identity(), lens, WIDTH, HEIGHT, Camera("phone"), rng, 4))


def _jpeg(grey):
    return cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, 92])[1]


def _right(found, true):
    """(tags at their true place, false ones) of (id, corners) pairs."""
    good = {i for i, q in found if i in true and np.abs(q.mean(0) - true[i].mean(0)).max() < 4}
    return len(good), len([i for i, q in found if i not in true
                           or np.abs(q.mean(0) - true[i].mean(0)).max() >= 4])


def run(pictures=4):
    """Print the speed tables, in decodes of the same picture."""
    cv2.setNumThreads(1)
    # before other libraries have left the process's memory in pieces, which slows small arrays by a fifth
    _to_corners()
    print()
    rows = {}
    for seed in range(pictures):
        data, true = hard_set(seed)
        decode, grey = _median_s(lambda data=data: cv2.imdecode(data, cv2.IMREAD_GRAYSCALE))
        for name, function in _finders(grey).items():
            spent, found = _median_s(function, 1 if name != "ours" else 3)
            rows.setdefault(name, []).append((*_right(found, true), spent / decode))
    print("hard set, 28 tags of 24 to 60 px      found         false   decodes")
    for name, row in rows.items():
        found, false, cost = np.array(row).T
        print(
            f"  {name:34s} {'/'.join(str(int(f)) for f in found):15s} {int(false.sum()):3d}  "
            f" {np.median(cost):6.1f}"
        )


def _to_corners():
    data = ordinary()
    decode, grey = _median_s(lambda: cv2.imdecode(data, cv2.IMREAD_GRAYSCALE), 5)
    find, found = _median_s(lambda: find_tags(grey, FAMILY))
    free = [t for t in found if t.tag_id >= 100]

    def align():
        blur = None
        for tag in free:
            aligned = align_tag(grey, FAMILY, tag.tag_id, tag.corners_px, scaled_lens(WIDTH), blur)
            blur = aligned.blur_px2 if blur is None else blur

    aligning, _ = _median_s(align)
    card, _ = _median_s(lambda: find_saddles(grey, KIT.card, [t for t in found if t.tag_id < 27]))
    total = decode + find + aligning + card
    print(f"photo to refined corners, {len(free)} tags and the card (decode {1e3 * decode:.0f} ms here):")
    print(
        f"  decode 1.0, find {find / decode:.1f}, align {aligning / decode:.1f}"
        f" ({1e3 * aligning / len(free):.1f} ms a"
        f" tag), card {card / decode:.1f}: {total / decode:.1f} decodes"
    )


def _finders(grey):
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, FAMILY))
    finders = {"ours": lambda: [(t.tag_id, t.corners_px) for t in find_tags(grey, FAMILY)]}

    def opencv():
        corners, ids, _ = cv2.aruco.ArucoDetector(book, cv2.aruco.DetectorParameters()).detectMarkers(grey)
        return (
            []
            if ids is None
            else [(int(i), q.reshape(4, 2)) for i, q in zip(np.ravel(ids), corners, strict=False)]
        )

    finders["OpenCV, full picture"] = opencv
    try:
        from pupil_apriltags import Detector
    except ImportError:
        return finders
    for reduction in (1, 2):
        if reduction not in _DETECTORS:
            _DETECTORS[reduction] = Detector(families="tag36h11", nthreads=1, quad_decimate=float(reduction))
        detector = _DETECTORS[reduction]
        finders[f"AprilTag library, 1/{reduction}"] = lambda d=detector: [
            (t.tag_id, np.array(t.corners)) for t in d.detect(grey) if t.hamming <= 1]
    return finders
