"""Plain dots tapped in the photos of a state: refined under the tap, placed in space with an honest spread,
alike for page and commands."""

import json
import shutil

import cv2
import numpy as np
import pytest

from calib.lens import project
from photoangle.carfile.corner import CornerNotes
from photoangle.carfile.corrections import (
    NAME,
    Corrections,
    CorrectionsError,
    read_corrections,
    save_corrections,
)
from photoangle.core.roles import ROLES
from photoangle.detection.dots import dot_under
from photoangle.geometry.parts import photo_lens
from photoangle.geometry.place_dots import EDGE, with_dots
from photoangle.page.app import make_app
from photoangle.page.sessions import Sessions
from photoangle.page.work import Work
from photoangle.pipeline import measure_folder
from tests.conftest import quiet
from tests.page.conftest import HOST, Caller


@pytest.mark.parametrize("axes, turn, colour", [((9, 9), 0, (40, 40, 210)), ((30, 18), 25, (30, 200, 230)),
                                                ((14, 6), -50, (15, 15, 15))])
def test_a_dot_is_found_under_a_tap_beside_its_middle(axes, turn, colour):
    rng = np.random.default_rng(3)
    for _ in range(4):
        centre = np.array([150.0, 110.0]) + rng.uniform(0, 1, 2)
        big = np.full((8 * 220, 8 * 300, 3), (150, 160, 150), np.uint8)
        at = tuple(round(v) for v in ((centre + 0.5) * 8 - 0.5))
        cv2.ellipse(big, at, tuple(8 * a for a in axes), turn, 0, 360, colour, -1)
        seen = cv2.GaussianBlur(cv2.resize(big, (300, 220), interpolation=cv2.INTER_AREA), (0, 0), 1.0)
        seen = np.clip(seen + rng.normal(0, 2.5, seen.shape), 0, 255).astype(np.uint8)
        found, sigma = dot_under(seen, centre + rng.uniform(-0.4, 0.4, 2) * min(axes))
        assert np.linalg.norm(found - (np.array(at) + 0.5) / 8 + 0.5) < sigma  # px
    assert dot_under(np.full((220, 300, 3), 150, np.uint8), centre) is None


def taps(state, place_mm, noise_px=0.0, rng=None):
    """Where a state's photos show a place: photo name -> (x, y) px."""
    scene = state.scene
    return {
        name: project(scene.cameras[k].apply(place_mm[None]), photo_lens(scene, k))[0] +
        (rng.normal(0, noise_px, 2) if rng else 0)
        for k, name in enumerate(scene.photos)
    }


def test_a_dot_is_placed_as_truly_as_it_says(page_car):
    state = next(s for s in page_car[1].answer.measurement.states if s.state == "set")
    place, free = state.points["bar_eye"], next(r.key for r in ROLES if r.key not in state.points)
    rng, sigma, misfits = np.random.default_rng(5), 0.4, []
    for _ in range(60):
        dots = {n: {free: (*p, sigma)} for n, p in taps(state, place, sigma, rng).items()}
        points, findings = with_dots(state.points, state.scene, dots, CornerNotes())
        at = 3 * points.index(free) + np.arange(3)
        parts = points.estimate.covariances()
        edge, whole = (c[np.ix_(at, at)] for c in (parts[EDGE], sum(parts.values())))
        assert ["joint's own middle" in f.what for f in findings] == [True]
        miss = points[free] - place
        misfits.append(miss @ np.linalg.solve(edge, miss))
        # the photos' poses, the lens and how well it was put there (a millimetre's half-width) count on top
        assert np.linalg.eigvalsh(whole - edge).min() > 0.999 / 3  # mm^2
    # a squared misfit of three degrees of freedom: mean 3, and sqrt(6 / 60) = 0.32 of that mean over 60 draws
    assert abs(np.mean(misfits) - 3) < 3 * 0.32


def test_a_slip_of_the_finger_is_named_and_one_view_is_not_enough(page_car):
    state = next(s for s in page_car[1].answer.measurement.states if s.state == "set")
    points = state.points
    names = taps(state, points["bar_eye"] + [0, 0, 40.0])
    wrong = next(iter(names))
    made, findings = with_dots(points, state.scene, {n: {"bar_eye": (*p, 0.3)}
                                                     for n, p in names.items()}, CornerNotes())
    assert made is points and "a marker stands for it" in findings[0].what
    free = next(r.key for r in ROLES if r.key not in points)
    dots = {n: {free: (*(p + 60 * (n == wrong)), 0.3)} for n, p in names.items()}
    made, findings = with_dots(points, state.scene, dots, CornerNotes(), where="front-left/set")
    assert [f.where for f in findings] == [wrong, "front-left/set"] and "tap it again" in findings[0].do
    assert np.linalg.norm(made[free] - points["bar_eye"] - [0, 0, 40.0]) < 0.01  # mm
    assert np.allclose([made[n] for n in points.names], points.positions_mm)
    old = np.concatenate([3 * made.index(n) + np.arange(3) for n in points.names])
    assert np.allclose(made.estimate.covariance()[np.ix_(old, old)],
                       points.estimate.covariance(),
                       rtol=1e-6,
                       atol=1e-9)
    for few in (list(dots)[:1], []):
        made, findings = with_dots(points, state.scene, {n: dots[n] for n in few}, CornerNotes())
        assert made is points and len(findings) == len(few)


def test_dots_give_the_bars_angle_for_page_and_command_alike(page_car, tmp_path):
    root = tmp_path / "car"
    for part in ("front-left/set", "front-left/ride", "lens"):
        shutil.copytree(page_car[0] / part, root / part)
    shutil.copyfile(page_car[0] / "car.toml", root / "car.toml")
    state = next(s for s in page_car[1].answer.measurement.states if s.state == "set")
    eye = next(i for i in state.scene.markers if state.points.marker["bar_eye"] == i)
    work = Work(root, auto=False)
    sessions = Sessions(root)
    caller = Caller(make_app(work, [HOST], sessions), sessions)
    work.jobs.start()
    work.jobs.wait(60)
    before = {(f.name, f.datum): f
              for f in work.answer.measurement.report.figures
              if f.state == "set"}[("bar_arm_angle", "chassis")]
    own = next(s for s in work.answer.measurement.states if s.state == "set")
    for name, at in taps(own, own.points["bar_eye"]).items():
        photo = name.rpartition("/")[2]
        url = f"front-left/set/{photo}"
        assert caller.post(f"/api/markers/{url}", json={"id": eye, "what": "dismiss"}).status_code == 200
        look = work.look("front-left/set", root / name)
        from photoangle.page.markers import shown

        tapped = shown(look, at[None])[0].tolist()
        under = caller.post(f"/api/under/{url}", json={"role": "bar_eye", "dot": True, "at": tapped}).json
        assert set(under) == {"at", "sigma", "refined"}
        told = caller.post(f"/api/markers/{url}",
                           json={"what": "dot", "role": "bar_eye", "at": tapped, "sigma": 0.5}).json
        dot = told["dots"][0]
        assert dot["role"] == "bar_eye" and np.abs(np.array(dot["at"]) - tapped).max() < 0.01  # px
    work.jobs.start()
    work.jobs.wait(60)
    report = work.answer.measurement.report
    after = {(f.name, f.datum): f for f in report.figures if f.state == "set"}[("bar_arm_angle", "chassis")]
    assert abs(after.value - before.value) < 0.02  # deg: the dots stand where the joint is
    # put on its joint within as much as a square is, the dot's place counts alike
    assert 0.9 * before.u < after.u < 2 * before.u
    assert json.loads(measure_folder(root, quiet).report.to_json()) == json.loads(report.to_json())
    # and taken out again
    caller.post(f"/api/markers/{url}", json={"what": "no-dot", "role": "bar_eye"})
    assert "bar_eye" not in read_corrections(root).dots.get(name, {})
    for bad in ({"what": "dot", "role": "bar_eye",
                 "at": [1]}, {"what": "dot", "role": "x",
                              "at": [1, 2]}, {"what": "dot", "role": "bar_eye", "at": [1, 2], "sigma": 0}):
        assert caller.post(f"/api/markers/{url}", json=bad).status_code in (400, 422)


def test_dots_are_kept_in_the_file_and_nonsense_is_told(tmp_path):
    dots = {"front-left/set/a.jpg": {"bar_eye": (10.5, 20.25, 0.25)}}
    save_corrections(tmp_path, Corrections(dots=dots))
    assert read_corrections(tmp_path).dots == dots
    for bad in ({"x": [1, 2, 3]}, {"bar_eye": [1, 2]}, {"bar_eye": [1, 2, 0]}, {"bar_eye": ["1", 2, 3]}, []):
        (tmp_path / NAME).write_text(json.dumps({"version": 1, "photos": {"a": {"dots": bad}}}))
        with pytest.raises(CorrectionsError):
            read_corrections(tmp_path)
