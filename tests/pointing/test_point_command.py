"""`photoangle point`: one pixel of one photo, kept whole beside the photos, and measured like a marker."""

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from calib.images.photo import read_photo, sensor_points, turn_points
from photoangle.carfile.car import CarFile
from photoangle.carfile.corrections import (
    NAME,
    Corrections,
    CorrectionsError,
    read_corrections,
    save_corrections,
)
from photoangle.carfile.store import Store
from photoangle.cli import main
from photoangle.core.kit import default_kit
from photoangle.detection.pointing.view import View
from photoangle.geometry.parts import photo_lens
from photoangle.pipeline import measure_folder
from photoangle.pipeline.kept import looks_for
from photoangle.pipeline.one_state import StateJob
from tests.conftest import quiet

ROLE = "arm_ball_joint"


@pytest.fixture(scope="module")
def car(samples, tmp_path_factory):
    """(car folder of one state, whose ball joint's marker is dismissed; where each photo shows its middle, upright
    px; its place in the scene)."""
    root = tmp_path_factory.mktemp("pointed") / "car"
    shutil.copytree(samples / "front-left" / "set", root / "front-left" / "set")
    shutil.copytree(samples / "lens", root / "lens")
    shutil.copyfile(samples / "car.toml", root / "car.toml")
    state = measure_folder(root, quiet, looks=looks_for(root))["front-left/set"]
    marker = state.points.marker[ROLE]
    place, at = state.scene.markers[marker].translation_mm, {}
    for k, name in enumerate(state.scene.photos):
        photo = read_photo(state.paths[name])
        view = View(name, photo.grey, state.scene.cameras[k], photo_lens(state.scene, k))
        px = view.pixels(place[None])
        if view.inside(px, 40)[0]:
            at[name] = turn_points(px, *photo.grey.shape[::-1], photo.orientation)[0]
    save_corrections(root, Corrections(photos={n: ((marker,), {}) for n in state.scene.photos}))
    return root, at, place


def run(*words):
    return CliRunner().invoke(main, [str(w) for w in words])


def test_one_pixel_is_found_in_the_other_photos_and_measured(car):
    root, at, place = car
    name = sorted(at)[0]
    x, y = at[name]
    done = run("point", root / name, ROLE, f"{x:.1f},{y:.1f}", "--what", "other", "--json")
    told = json.loads(done.output)
    assert done.exit_code == 0 and set(told["place"]["found"]) > {name}, done.output
    state = measure_folder(root, quiet, looks=looks_for(root))["front-left/set"]
    assert state.pointed[0].role == ROLE and ROLE in state.points
    # the face is the marker's, within the half of a pixel that the middle was given to
    depth = np.linalg.norm(state.points[ROLE] - place) - 25.5
    assert abs(depth) < 0.5  # mm: behind its face by the stand-off that car.toml has
    budget = state.points.estimate.budget(f"{ROLE} x")
    assert {"tap", "bolt's axis"} & set(budget)
    assert "found in" in run("point", root / name, ROLE, f"{x:.1f},{y:.1f}", "--what", "other").output
    gone = run("point", root / name, ROLE, "--remove")
    assert gone.exit_code == 0 and not read_corrections(root).pointed
    assert ROLE not in measure_folder(root, quiet, looks=looks_for(root))["front-left/set"].points


@pytest.mark.parametrize("words, said", [
    (("{photo}", "bar_ey", "5,5"), "did you mean bar_eye"),
    (("{photo}", "plumb_top", "5,5"), "cannot be pointed at"),
    (("{photo}", ROLE), "no place was given"),
    (("{photo}", ROLE, "5"), "is no place"),
    (("{photo}", ROLE, "nan,5"), "is no place"),
    (("{photo}", ROLE, "99999,5"), "lies outside"),
    (("{photo}", ROLE, "5,5", "--what", "nail"), "use one of bolt"),
    (("{photo}", ROLE, "5,5", "--sigma", "0"), "no slip of a finger"),
    (("{photo}", ROLE, "--remove"), "was not pointed at here"),
    (("{root}/car.toml", ROLE, "5,5"), "no photo of a car folder's state"),
    (("{root}/front-left/set/none.jpg", ROLE, "5,5"), "no such photo")])
def test_what_cannot_be_is_told_and_nothing_is_written(car, words, said):
    root, at, _ = car
    before = (root / NAME).read_bytes()
    done = run("point", *(w.format(photo=root / sorted(at)[0], root=root) for w in words))
    assert done.exit_code == 2 and said in done.output and "Traceback" not in done.output, done.output
    assert (root / NAME).read_bytes() == before


def test_what_was_pointed_at_is_kept_beside_dots_and_nonsense_is_told(tmp_path):
    pointed = {"front-left/set/a.jpg": {"bar_eye": (10.5, 20.25, 3.0, "bolt")}}
    both = Corrections(dots={"front-left/set/a.jpg": {"hub": (1.0, 2.0, 0.5)}}, pointed=pointed)
    save_corrections(tmp_path, both)
    assert read_corrections(tmp_path) == replace(both, photos={"front-left/set/a.jpg": ((), {})})
    for bad in ({"x": [1, 2, 3, "bolt"]}, {"bar_eye": [1, 2, 3]}, {"bar_eye": [1, 2, 3, "nail"]},
                {"bar_eye": [1, 2, 0, "bolt"]}, []):
        (tmp_path / NAME).write_text(json.dumps({"version": 1, "photos": {"a": {"pointed": bad}}}))
        with pytest.raises(CorrectionsError):
            read_corrections(tmp_path)


def test_a_state_is_measured_anew_where_its_own_photos_were_pointed_at(tmp_path):
    photo = tmp_path / "a.jpg"
    photo.write_bytes(b"1")
    store = Store(tmp_path / "kept", tmp_path)
    job = StateJob({"front-left/set/a.jpg": photo}, "front-left/set", default_kit(), CarFile(), (),
                   "front-left", "set")

    def key(name, what="bolt"):
        pointed = {name: {"bar_eye": (1.0, 2.0, 3.0, what)}}
        return replace(job, corrections=Corrections(pointed=pointed)).key(store)

    assert key("front-left/droop/a.jpg") == job.key(store)
    assert len({job.key(store), key("front-left/set/a.jpg"), key("front-left/set/a.jpg", "stud")}) == 3


@pytest.mark.parametrize("orientation", range(1, 9))
def test_upright_pixels_come_back_to_the_sensors(orientation):
    points = np.array([[3.0, 5.0], [90.0, 40.0]])
    assert np.allclose(sensor_points(turn_points(points, 100, 60, orientation), 100, 60, orientation), points)
