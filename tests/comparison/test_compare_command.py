"""`photoangle compare` as a user runs it: words, JSON, the picture, what is refused and what is left
alone."""

import json
import shutil
from types import SimpleNamespace

import numpy as np
import pytest

from calib.lens import project
from photoangle.comparison.view import best_photos, looked_up, move_between, parts_plane
from photoangle.geometry.parts import photo_lens
from tests.comparison.test_compare import compared
from tests.whole.test_commands import fingerprint, run


@pytest.fixture(scope="module")
def car(car_copy, tmp_path_factory):
    """Droop and set of the demo car, one photo of ride, with its learnt lens."""
    root = tmp_path_factory.mktemp("compare") / "car"
    (root / "lens").mkdir(parents=True)
    shutil.copyfile(car_copy[0] / "lens" / "profile.json", root / "lens" / "profile.json")
    shutil.copyfile(car_copy[0] / "car.toml", root / "car.toml")
    for state, keep in (("droop", 2), ("set", 2), ("ride", 2)):
        (root / "front-left" / state).mkdir(parents=True)
        for photo in sorted((car_copy[0] / "front-left" / state).glob("*.jpg"))[:keep]:
            shutil.copyfile(photo, root / "front-left" / state / photo.name)
    return root


@pytest.fixture(scope="module")
def done(car):
    before = fingerprint(car)
    result = run("compare", car / "front-left" / "droop", car / "front-left" / "set", "--full")
    return SimpleNamespace(result=result, untouched=fingerprint(car) == before)


def test_a_comparison_in_words_and_as_a_picture(car, done):
    result = done.result
    assert result.exit_code in (0, 1), result.output
    lines = result.output.splitlines()
    assert lines[0] == "front-left/droop -> front-left/set" and lines[1].strip().startswith(
        "The bar's arm went up by 9.2° ±")
    row = next(line for line in lines if line.strip().startswith("bar arm angle"))
    assert row.endswith("real change") and "+9.2" in row
    assert next(line for line in lines if line.strip().startswith("link length")).endswith("no change seen")
    assert max(len(line) for line in result.output.split("before and after in one")[0].splitlines()) <= 80
    assert "so that it cancels" in result.output and done.untouched
    picture = car / "results" / "compare" / "front-left_droop_to_front-left_set.jpg"
    assert picture.stat().st_size > 50_000 and [p.name for p in picture.parent.iterdir()] == [picture.name]


def test_json_follows_the_contract(car):
    result = run("compare", car / "front-left" / "droop", car / "front-left" / "set", "--json",
                 "--no-pictures")
    content = json.loads(result.stdout)
    assert content["version"] == 1 and content["pictures"] == []
    figure = next(f for f in content["figures"]
                  if f["name"] == "change:bar_arm_angle" and f["datum"] == "chassis")
    assert (figure["corner"], figure["state"], figure["unit"]) == ("front-left", "set", "deg")
    assert figure["low95"] < 9.2 < figure["high95"]
    change = next(c for c in content["changes"][0]["figures"]
                  if c["name"] == figure["name"] and c["datum"] == "chassis")
    assert change["after"] - change["before"] == pytest.approx(change["change"], abs=2e-5)
    assert change["u"] < change["u_if_nothing_were_shared"] and change["verdict"] == "real change"


def test_two_single_photos(car):
    photos = [sorted((car / "front-left" / s).glob("*.jpg"))[0] for s in ("droop", "set")]
    result = run("compare", *photos, "--car", car, "--corner", "front-left", "--json")
    content = json.loads(result.stdout)
    figure = next(f for f in content["figures"] if f["name"] == "change:bar_arm_angle")
    assert figure["corner"] is None and figure["state"] is None and figure["low95"] < 9.2 < figure["high95"]
    assert len(content["pictures"]) == 1


def test_two_single_photos_with_plain_stickers(car, samples, tmp_path):
    for name in ("a.jpg", "b.jpg"):
        shutil.copyfile(samples / "single" / "IMG_3160.jpg", tmp_path / name)
    result = run("compare", tmp_path / "a.jpg", tmp_path / "b.jpg", "--car", car, "--dots",
                 "bar_bush,bar_eye,link_foot", "--level", "card", "--json")
    content = json.loads(result.stdout)
    assert {f["name"] for f in content["figures"]} >= {"change:bar_arm_length", "change:link_length"}
    assert all(f["value"] == 0 and f["u"] > 0 for f in content["figures"])
    assert {f["verdict"] for f in content["changes"][0]["figures"]} <= {"no change seen", "can't tell"}
    assert len(content["pictures"]) == 1


def test_two_car_folders(car, tmp_path):
    other = tmp_path / "later"
    shutil.copytree(car, other, ignore=shutil.ignore_patterns("results"))
    shutil.rmtree(other / "front-left" / "droop")
    result = run("compare", car, other, "--no-pictures", "--same-print", "--json")
    content = json.loads(result.stdout)
    # the very same photos of set and ride: what differs is nought
    assert [(c["before"], c["after"]) for c in content["changes"]] == [
        (f"car/front-left/{s}", f"later/front-left/{s}") for s in ("ride", "set")]
    # (the bar's axis is seen to turn in one of them alone)
    lengths = [f for f in content["figures"] if f["unit"] == "mm" and f["name"] != "change:bar_lever"]
    assert lengths and all(abs(f["value"]) < 0.01 for f in lengths)
    assert all(f["verdict"] != "real change" for c in content["changes"] for f in c["figures"])


@pytest.mark.parametrize("second, words", [
    ("front-left", "cannot be set side by side"), ("front-left/droop", "the same as the first"),
    ("front-left/bump", "no such file"), ("front-left/empty", "no state could be measured in both")])
def test_what_cannot_be_compared_is_explained(car, second, words):
    (car / "front-left" / "empty").mkdir(exist_ok=True)
    result = run("compare", car / "front-left" / "droop", car / second, "--no-pictures")
    assert result.exit_code == 2 and words in result.stderr and "Traceback" not in result.output
    result = run("compare", car / "front-left" / "droop", car / "front-left" / "set", "--restuck", "bar_ey")
    assert result.exit_code == 2 and "did you mean bar_eye" in result.stderr


@pytest.mark.parametrize("before, after, names", [
    (("front-left", "droop"), ("front-left", "set"), ("bar_bush", "bar_eye", "link_foot")),
    (("front-left", "set"), ("front-left", "fitted"), ("bar_bush", "bar_eye", "link_foot")),
    (("front-left", "set"), ("front-right", "set"), ("bar_bush", "bar_eye", "link_foot"))])
def test_the_before_photo_is_brought_to_where_the_parts_are_drawn(car_copy, before, after, names):
    """What the picture shows at a joint's drawn place is that joint in the before photo, but for what stands
    off the plane: within 2.5 % of the picture's width."""
    comparison = compared(car_copy, before, after)
    a, b = comparison.before.result, comparison.after.result
    move = move_between(a, b, comparison.places.tie if comparison.places else None)
    plane = parts_plane(a, b, move)
    ia, ib = best_photos(a, b, move, plane)
    s = b.sightings[0]
    x, y = looked_up(a, ia, b, ib, move, plane, (s.width_px, s.height_px), 1.0, 1.0)
    for name in names:
        at = move.apply(a.points[name])
        drawn = project(b.scene.cameras[ib].apply(at[None]), photo_lens(b.scene, ib))[0]
        u, v = np.rint(drawn).astype(int)
        own = project(a.scene.cameras[ia].apply(a.points[name][None]), photo_lens(a.scene, ia))[0]
        assert np.hypot(x[v, u] - own[0], y[v, u] - own[1]) < 0.025 * s.width_px, name


def test_points_in_the_plane_are_looked_up_to_the_pixel(car_copy):
    """On the plane itself the lookup is exact: 0.1 px, lens distortion and coarse grid included."""
    comparison = compared(car_copy, ("front-left", "droop"), ("front-left", "set"))
    a, b = comparison.before.result, comparison.after.result
    move = move_between(a, b, comparison.places.tie)
    middle, normal = plane = parts_plane(a, b, move)
    s = b.sightings[0]
    x, y = looked_up(a, 0, b, 0, move, plane, (s.width_px, s.height_px), 1.0, 1.0)
    across = np.linalg.svd(normal[None])[2][1:]
    checked = 0
    for p in [middle + 60 * (i * across[0] + j * across[1]) for i in (-1, 0, 1) for j in (-1, 0, 1)]:
        drawn = project(b.scene.cameras[0].apply(p[None]), photo_lens(b.scene, 0))[0]
        (u, v), part = np.floor(drawn).astype(int), drawn % 1
        if not (0 <= u < s.width_px - 1 and 0 <= v < s.height_px - 1):
            continue
        w = np.outer([1 - part[1], part[1]], [1 - part[0], part[0]])
        found = [(m[v:v + 2, u:u + 2] * w).sum() for m in (x, y)]
        own = project(a.scene.cameras[0].apply(move.back(p)[None]), photo_lens(a.scene, 0))[0]
        assert np.abs(np.array(found) - own).max() < 0.1
        checked += 1
    assert checked >= 6
