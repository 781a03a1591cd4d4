"""Real photos of still scenes with two views each: what one was pointed at, found in the other.

Board corners pointed at as if bare: the flat board, posed by all its corners, says where each tap's line of
sight meets it.  A plant's leaves, rectified, with the disparity that their makers measured by structured
light (D. Scharstein and C. Pal, "Learning conditional random fields for stereo", 2007).
"""

import cv2
import numpy as np
import pytest

from calib.lens import plain_lens, unproject
from calib.poses import Pose
from photoangle.detection.pointing.point import Tap, sightings
from photoangle.detection.pointing.view import View
from tests.bench.lines import BOARD, read_pairs, rig
from tests.conftest import _DEBIAN


def board_rows(folder, sigma_px=1.0, seed=1, each=6):
    """For taps at board corners: (why, miss px, u px) each of the place found in the right photo."""
    pairs, rng, out = read_pairs(folder), np.random.default_rng(seed), []
    lenses, right_from_left = rig(pairs).cameras()
    names = [p.name for p in sorted(folder.glob("left[0-9][0-9].jpg"))]
    for name, pair in zip(names, pairs, strict=False):
        found, turn, shift = cv2.solvePnP(BOARD, unproject(pair[0][0], lenses[0]), np.eye(3), None)
        left = Pose(cv2.Rodrigues(turn)[0], shift.ravel())
        views = [View(n, cv2.imread(str(folder / n), 0), camera, lens)
                 for n, camera, lens in ((name, left, lenses[0]),
                                         (name.replace("left", "right"), right_from_left @ left, lenses[1]))]
        deep = left.apply(BOARD)[:, 2]
        for k in rng.choice(54, each, replace=False):
            at = pair[0][0][k] + rng.normal(0, sigma_px, 2)
            shown = sightings(views, [Tap(0, at, sigma_px, "other")], (0.7 * deep.min(), 1.4 * deep.max()))
            if shown.aligned is None:
                out.append((shown.why, None, None))
                continue
            way, start = views[0].rays(at[None])[0], views[0].origin_mm
            place = start - way * start[2] / way[2]
            found = shown.aligned.found[0]
            miss = found.at - views[1].pixels(place[None])[0]
            out.append(("", miss, np.sqrt(found.covariance_px2.diagonal())))
    return out


def plant_rows(folder, count=120, seed=2):
    """For taps all over the leaves: (why, miss px along the rows, u px) of the place found in the right photo."""
    left, right = (cv2.imread(str(folder / f"aloe{s}.jpg"), 0) for s in "LR")
    truth = cv2.imread(str(folder / "aloeGT.png"), -1).astype(float)
    height, width = left.shape
    # focal length and baseline are not told and do not matter: disparity = focal * baseline / depth
    lens, base = plain_lens(3740.0, width / 2, height / 2), 160.0
    views = [View("left", left, Pose(np.eye(3), np.zeros(3)), lens),
             View("right", right, Pose(np.eye(3), np.array([-base, 0, 0])), lens)]
    rng, out = np.random.default_rng(seed), []
    while len(out) < count:
        at = rng.uniform([260, 60], [width - 60, height - 60])
        x, y = np.rint(at).astype(int)
        near = truth[y - 12:y + 13, x - 12:x + 13]
        # where the makers have a disparity, and one surface alone
        if near.min() == 0 or near.max() - near.min() > 8:
            continue
        shown = sightings(views, [Tap(0, at, 3.0, "other")], (3740 * base / 230, 3740 * base / 25))
        if shown.aligned is None:
            out.append((shown.why, None, None))
            continue
        found = shown.aligned.found[0]
        # their disparity is a whole number of pixels
        u = np.sqrt(found.covariance_px2.diagonal() + [1 / 12, 0])
        out.append(("", (found.at - at + [truth[y, x], 0]), u))
    return out


def told(rows, wrong_px=3.0):
    """Shares: found, wrong without a word; RMS px of those found right, share inside 1.96 u."""
    placed = [(m, u) for why, m, u in rows if not why]
    right = [(m, u) for m, u in placed if np.linalg.norm(m) < wrong_px]
    miss, u = (np.array([r[k] for r in right]) for k in (0, 1))
    return {"taps": len(rows), "found": len(placed) / len(rows), "wrong": len(placed) - len(right),
            "rms_px": float(np.sqrt((miss**2).mean())), "median_px": float(np.median(np.abs(miss))),
            "inside": float((np.abs(miss) < 1.96 * u).mean()),
            "why": {w: sum(r[0] == w for r in rows) for w in {r[0] for r in rows}}}


def test_board_corners_pointed_at_are_found_or_asked_for(stereo_photos):
    shown = told(board_rows(stereo_photos))
    # a board is full of places that look alike: what fits two of them is asked, and nothing is wrong
    assert shown["wrong"] == 0 and shown["found"] > 0.8
    assert set(shown["why"]) <= {"", "several", "nowhere"}
    assert shown["rms_px"] < 0.25 and shown["inside"] > 0.85


def test_leaves_pointed_at_are_found_where_their_makers_measured_them():
    folder = _DEBIAN / "examples" / "data"
    if not (folder / "aloeGT.png").exists():
        pytest.skip(f"no such photos here: apt install opencv-doc puts them below {_DEBIAN}")
    shown = told(plant_rows(folder))
    # most leaves hide behind others from one side or the other; with two photos no third one contradicts
    assert shown["found"] > 0.8 and shown["wrong"] <= 2
    assert shown["rms_px"] < 0.4 and shown["inside"] > 0.85
