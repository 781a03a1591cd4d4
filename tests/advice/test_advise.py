"""What to do next: slips found and explained, sound work left alone, photos judged, the next photo and
reading."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from calib.images.photo import CameraIdentity, Photo
from photoangle.advice.advise import next_steps
from photoangle.advice.next_photo import WORTH, next_photo, wanted_figure
from photoangle.advice.next_reading import next_reading
from photoangle.cli import main
from photoangle.core.findings import NOTE
from photoangle.core.options import LinkRequest
from photoangle.detection.detect_photo import detect_photo
from photoangle.detection.photo_quality import PhotoQuality, photo_quality, quality_findings
from photoangle.droplink.by_tape import tape_answers
from tests.advice.slips import KINDS, false_alarms, look
from tests.coverage import corner as invented_scene
from tests.invented_car import InventedCar
from tests.scenes import KIT, Camera, look_at, scaled_lens, shoot, tag_flat

BY_NAME = {k.name: k for k in KINDS}


@pytest.mark.parametrize("name", [
    "an inch too long", "inches for millimetres", "a fraction misread by four sixteenths",
    "hub taped to its edge", "droop and set exchanged", "the car moved at set", "steering not straight",
    "bush and eye exchanged", "sills exchanged", "photos of the other side", "eye off its stand-off by 15 mm",
    "arch lip marker stuck again"
])
def test_a_slip_is_found_and_explained(name):
    found, explained, findings = look(BY_NAME[name], 77)
    assert found and explained, findings


def test_sound_work_is_left_alone():
    assert false_alarms(range(900, 904)) == []


def test_the_demo_cars_inch_is_explained_and_nothing_else_is_blamed(car_copy, samples):
    slip = json.loads((samples / "truth.json").read_text())["tape_slip"]
    said = [f for f in car_copy[1].report.findings if f.where.startswith("car.toml")]
    assert [f.where for f in said] == [f"car.toml, {slip['corner']}.tape.{slip['state']}"]
    assert slip["name"] in said[0].what and "inch too long" in said[0].what


def _photo(blur=0.7, noise=0.008, distance=1000, dim=1.0, bright=1.0, tags=True):
    rng = np.random.default_rng(3)
    markers, _ = invented_scene(rng)
    target = np.array([-120.0, 60, 360])
    camera = look_at(target + distance * np.array([0.2, -1, 0.1]), target)
    flats = [tag_flat(i, 30.0, p) for i, p in markers.items()] if tags else []
    grey = shoot(flats, camera, scaled_lens(2016), 2016, 1512, Camera("srgb", blur, noise=noise), rng, 3)
    grey = np.clip(grey * dim * bright, 0, 255).astype(np.uint8)
    photo = Photo("front-left/droop/p.jpg", grey, 1,
                  CameraIdentity("Plover", "P9", "", None, 26.0, 1.0, 2016, 1512), "")
    sighting, _ = detect_photo(photo, KIT, None, photo.path)
    return photo_quality(grey, sighting)


@pytest.mark.parametrize("made, words", [(dict(blur=3.2), "soft"), (dict(dim=0.1), "too dark"),
                                         (dict(bright=2.2), "glare"), (dict(distance=2600), "far away"),
                                         (dict(tags=False, dim=0.05), "too dark to see")])
def test_a_bad_photo_is_named_with_its_remedy(made, words):
    found = quality_findings(_photo(**made))
    assert any(words in f.what for f in found) and all(f.do for f in found)


def test_the_blurred_photo_of_the_demo_is_named(samples):
    from calib.images.photo import read_photo

    photo = read_photo(samples / "trouble" / "IMG_3127_blurred.jpg")
    sighting, _ = detect_photo(photo, KIT, None, "p.jpg")
    assert "edges are blurred" in quality_findings(photo_quality(photo.grey, sighting))[0].what


def test_a_good_photo_is_not_blamed():
    assert quality_findings(_photo()) == []


def test_the_solvers_residuals_go_before_the_looks_of_a_photo():
    soft = PhotoQuality("p", 9, 0.8, 120.0, 0.0, 6.0, 40, 90.0, float("nan"), squares=0.9)
    assert all(f.level == NOTE and "fits the other photos" in f.what for f in quality_findings(soft))
    sharp = PhotoQuality("p", 9, 0.1, 120.0, 0.0, 6.0, 40, 90.0, float("nan"), squares=9.0)
    assert "fit the other photos badly" in quality_findings(sharp)[0].what


def test_the_next_photo_narrows_as_promised_where_photos_are_what_is_missing():
    from tests.advice.photo import trial

    # `python -m tests.advice.photo` tries dozens
    before, promised, came_out = trial(3014, others=False)[:3]
    assert promised < (1 - WORTH) * before
    assert 0.8 < came_out / promised < 1.25


def test_where_sticking_dominates_no_photo_is_worth_it(car_copy):
    measurement = car_copy[1]
    steps = next_steps(measurement, "front-left/set")
    assert len(steps) == 1 and not steps[0].photo.worth
    assert "not worth it" in steps[0].words and "sticking" in steps[0].words


def test_the_promise_is_never_worse_than_what_there_is():
    measurement = InventedCar(5).measure()
    state = next(s for s in measurement.states if s.state == "droop")
    figure = wanted_figure(measurement.report.figures, "front-left", "droop")
    sharper = replace(figure, budget={"pixels": 1.0})
    advice = next_photo(state, sharper, measurement.car, KIT)
    assert advice.u_then <= figure.u * 1.0001


def test_the_next_reading_is_the_one_that_counts():
    import tomllib

    from photoangle.carfile.reader import parse_carfile
    from tests.droplink.test_link import TAPED

    car = parse_carfile(tomllib.loads(TAPED.format(droop="", ride="")))
    answer = tape_answers(car, LinkRequest(within_deg=5.0))[0]
    reading = next_reading(answer)
    assert reading.source == "pitch" and "sill" in reading.words
    known = tape_answers(
        parse_carfile(tomllib.loads(TAPED.format(droop="sill_slope_deg = 5.5", ride="sill_slope_deg = 0.3"))),
        LinkRequest(within_deg=5.0))[0].advice.figures["bar_arm_angle"]
    # the promise against what the reading then brings
    assert reading.u_then == pytest.approx(known.u, rel=0.3)


def test_the_command(car_copy):
    result = CliRunner().invoke(main, ["next", str(car_copy[0]), "--only", "front-left/set", "--no-pictures"])
    assert result.exit_code in (0, 1), result.output
    assert result.output.startswith("What to do next")
    assert max(len(line) for line in result.output.splitlines() if str(car_copy[0]) not in line) <= 80
    printed = json.loads(CliRunner().invoke(
        main, ["next", str(car_copy[0]), "--only", "front-left/set", "--json"]).output)
    assert any(f["where"] == "front-left/set" and "not worth it" in f["do"] for f in printed["findings"])


def test_a_marker_behind_another_is_not_counted_on():
    from photoangle.reconstruction.predicted_covariance import view_from

    measurement = InventedCar(5).measure()
    state = next(s for s in measurement.states if s.state == "set")
    scene = state.scene
    middle = np.mean([p.translation_mm for p in scene.markers.values()], axis=0)
    eyes = np.mean([-c.rotation.T @ c.translation_mm for c in scene.cameras], axis=0)
    free = view_from(scene, KIT, scene.cameras[1], (3400, 2550))
    marker = free.markers[0]
    # the same marker's paper once more, half way to the camera and four times as large
    place = scene.markers[marker].translation_mm
    eye = -scene.cameras[1].rotation.T @ scene.cameras[1].translation_mm
    between = replace(scene.markers[marker], translation_mm=(place + eye) / 2)
    other = next(i for i in free.markers if i != marker)
    screened = replace(scene,
                       markers=scene.markers | {other: between},
                       sizes_mm=scene.sizes_mm | {other: 120.0})
    assert marker not in view_from(screened, KIT, scene.cameras[1], (3400, 2550)).markers
    assert np.linalg.norm(eyes - middle) > 500  # the photos stand off from the corner
