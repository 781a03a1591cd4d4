"""The package as Python sees it: light to import, the commands' own figures, plain words for misuse."""

import json
import subprocess
import sys

import numpy as np
import pytest

import photoangle
from calib.images.photo import read_photo
from tests.conftest import ROOT


def test_importing_it_costs_nothing_and_names_are_there():
    code = (
        "import sys, photoangle\n"
        "heavy = {'numpy', 'cv2', 'scipy', 'PIL', 'click'} & set(sys.modules)\n"
        "assert not heavy and 'measure' in dir(photoangle), heavy\n"
        "for name in photoangle.__all__: getattr(photoangle, name)\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
    with pytest.raises(AttributeError, match="weigh"):
        getattr(photoangle, "weigh")  # noqa: B009


def test_it_runs_as_a_module():
    done = subprocess.run(
        [sys.executable, "-m", "photoangle", "--version"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    assert done.stdout.strip() == f"photoangle, version {photoangle.__version__}"


def test_types_are_told():
    assert (ROOT / "photoangle" / "py.typed").exists() and (ROOT / "calib" / "py.typed").exists()
    # what type checkers read and what is loaded are the same names
    source = (
        (ROOT / "photoangle" / "__init__.py")
        .read_text()
        .partition("if TYPE_CHECKING:")[2]
        .partition("__version__")[0]
    )
    assert all(name in source for name in photoangle.__all__)


def test_file_and_pixels_show_the_same(samples):
    path = sorted((samples / "front-left" / "set").glob("*.jpg"))[0]
    grey = read_photo(path).grey
    by_file, by_pixels = photoangle.detect(path), photoangle.detect(grey)
    assert by_file.tags.keys() == by_pixels.tags.keys() and len(by_file.tags) > 10
    for tag_id, tag in by_file.tags.items():
        assert np.array_equal(tag.corners_px, by_pixels.tags[tag_id].corners_px)
    assert np.array_equal(by_file.card.pixels, by_pixels.card.pixels)


@pytest.mark.parametrize(
    "pixels",
    [
        np.zeros((300, 300)),
        np.zeros((300, 300, 4), np.uint8),
        np.zeros(9, np.uint8),
        np.zeros((0, 5), np.uint8),
    ],
)
def test_arrays_that_are_no_photo(pixels):
    with pytest.raises(photoangle.InputError, match="uint8"):
        photoangle.detect(pixels)


def test_a_states_figures_have_one_covariance(car_copy):
    state = car_copy[1]["front-left/set"]
    keys = [("bar_arm_angle", "chassis"), ("bar_arm_angle", "gravity"), ("link_length", None)]
    c = state.covariance(keys)
    assert np.allclose(np.sqrt(c.diagonal()), [state.figure(*k).u for k in keys], rtol=1e-12)
    # one arm against two levels: most of the error is the same; a length has next to nothing to do with it
    assert c[0, 1] / np.sqrt(c[0, 0] * c[1, 1]) > 0.7 and abs(c[0, 2]) < 0.5 * np.sqrt(c[0, 0] * c[2, 2])
    with pytest.raises(KeyError):
        state.covariance([("bar_arm_weight", None)])


def test_states_have_their_figures_and_cameras(car_copy):
    car = car_copy[1]
    assert next(f"{f.corner}/{f.state}" for f in car.figures if f.name == "hub_to_arch") == car.states[0].name
    for state in car.states:
        assert car[state.name] is state and list(state.cameras) == list(state.scene.photos)
        assert all(f in car.figures for f in state.figures)
    figure = car["front-left/set"].figure("bar_arm_angle", "chassis")
    low, high = figure.interval
    assert low < figure.value < high and sum(figure.budget.values()) == pytest.approx(1, abs=0.01)
    with pytest.raises(KeyError, match="front-left/set"):
        car["front-left/sett"]
    with pytest.raises(KeyError, match="bar_arm_angle against chassis"):
        car["front-left/set"].figure("bar_arm_angel")


def test_link_and_comparison_of_what_is_measured(car_copy):
    car = car_copy[1]
    linked = photoangle.link(car, only="front-left")
    assert [a.corner for a in linked.answers] == ["front-left"]
    assert linked["front-left"].figure("link_length").value == pytest.approx(123, abs=2)
    with pytest.raises(KeyError, match="front-left"):
        linked["rear-left"]
    result = photoangle.compare((car, "front-left/set"), (car, "front-left/fitted"))
    change = result.change("bar_arm_angle", "chassis")
    assert change.verdict == "real change" and change.figure in result.report.figures
    with pytest.raises(KeyError, match="bar_arm_angle"):
        result.change("bar_arm_angel")
    with pytest.raises(KeyError):
        photoangle.compare((car, "front-left/set"), (car, "front-left/none"))
    with pytest.raises(photoangle.InputError, match="two paths"):
        photoangle.compare("a", (car, "front-left/set"))


def test_a_measurement_in_python_is_the_commands(car_copy, tmp_path):
    from click.testing import CliRunner

    from photoangle.cli import main

    photo = sorted((car_copy[0] / "front-left" / "set").glob("*.jpg"))[0]
    options = photoangle.PhotoOptions(car_root=car_copy[0], corner="front-left")
    alone = photoangle.measure(photo, options=options)
    assert alone.states == [alone["photos"]]
    out = CliRunner().invoke(
        main,
        [
            "measure",
            str(photo),
            "--json",
            "--no-pictures",
            "--car",
            str(car_copy[0]),
            "--corner",
            "front-left",
        ],
    )
    assert json.loads(out.output) == json.loads(alone.report.to_json())


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: photoangle.measure("no-such-car"), "there is no such file"),
        (lambda: photoangle.measure([]), "there are none"),
        (lambda: photoangle.link("no-such-car"), "neither photos nor tape"),
        (lambda: photoangle.compare("no-such-car", "another"), "there is no such file"),
        (lambda: photoangle.detect("no-such.jpg"), "cannot be read"),
        (lambda: photoangle.learn_lens([]), "no photos of the card"),
    ],
)
def test_misuse_is_told(call, words):
    with pytest.raises(photoangle.InputError, match=words):
        call()


def test_photos_without_a_card_teach_no_lens():
    with pytest.raises(photoangle.InputError, match="neither the card nor another board"):
        photoangle.learn_lens([np.full((400, 400), 200, np.uint8)])
