"""Nothing is worked out twice: the next command takes no photo in hand, and says the same to the last bit."""

import json
import shutil

import pytest

import photoangle
from photoangle.carfile import store as stores
from photoangle.pipeline.kept import FOLDER, looks_for
from tests.whole.test_commands import run

_READS = ("photoangle.detection.cache.read_photo", "photoangle.pipeline.one_state.read_photo",
          "photoangle.reconstruction.lens.folder_lens.read_photo", "photoangle.api.read_photo")


@pytest.fixture
def car(car_copy, tmp_path):
    """The demo car's front-left at set and fitted, measured before."""
    root = tmp_path / "car"
    for part in ("lens", "front-left/set", "front-left/fitted"):
        shutil.copytree(car_copy[0] / part, root / part)
    shutil.copyfile(car_copy[0] / "car.toml", root / "car.toml")
    shutil.copytree(car_copy[0] / FOLDER, root / FOLDER)
    assert run("measure", root, "--no-pictures").exit_code in (0, 1)
    return root


@pytest.fixture
def shut_photos(monkeypatch):
    """No photo's pixels can be read."""
    def refuse(*_, **__):
        raise AssertionError("a photo was taken in hand again")

    for name in _READS:
        monkeypatch.setattr(name, refuse)


@pytest.mark.parametrize("command", [
    ("measure", "--no-pictures"), ("link", "--no-pictures"), ("next", "--no-pictures"),
    ("link", "--no-pictures", "--length", "120 mm")])
def test_no_photo_is_taken_in_hand_again(car, shut_photos, command):
    result = run(command[0], car, *command[1:])
    assert result.exit_code in (0, 1) and "front-left" in result.output


def test_nor_for_a_comparison(car, shut_photos):
    result = run("compare", car / "front-left" / "set", car / "front-left" / "fitted", "--no-pictures")
    assert "The bar's arm went down by" in result.output


def test_the_same_to_the_last_bit(car):
    kept = [run(c, car, "--json", "--no-pictures").stdout for c in ("measure", "link")]
    shutil.rmtree(car / FOLDER)
    anew = [run(c, car, "--json", "--no-pictures").stdout for c in ("measure", "link")]
    assert kept == anew


def test_a_taped_reading_is_answered_without_the_photos(car, shut_photos):
    notes = (car / "car.toml").read_text()
    before = json.loads(run("measure", car, "--json", "--no-pictures").stdout)
    assert "hub_to_arch" in notes
    (car / "car.toml").write_text(notes.replace('hub_to_arch = "', 'hub_to_arch = "1'))
    after = json.loads(run("measure", car, "--json", "--no-pictures").stdout)
    assert before["figures"] != after["figures"]


def test_a_photo_that_differs_is_looked_at(car, shut_photos):
    photo = sorted((car / "front-left" / "set").glob("*.jpg"))[0]
    time_ns = photo.stat().st_mtime_ns
    photo.write_bytes(photo.read_bytes()[:-2] + b"\0\0")
    stores.os.utime(photo, ns=(time_ns, time_ns))
    with pytest.raises(AssertionError, match="taken in hand"):
        run("measure", car, "--no-pictures")


@pytest.mark.parametrize("change", ["program", "standoff", "entry"])
def test_what_differs_is_worked_out_anew(car, shut_photos, monkeypatch, change):
    if change == "program":
        monkeypatch.setattr(stores, "_program", lambda: "another")
    elif change == "standoff":
        notes = (car / "car.toml").read_text()
        (car / "car.toml").write_text(notes.replace("stuck_within", "# stuck_within").replace(
            "[front-left]", '[front-left]\nstuck_within = "7 mm"', 1))
    else:
        for path in (car / FOLDER).iterdir():
            path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(AssertionError, match="taken in hand"):
        run("measure", car, "--no-pictures")


def test_python_keeps_nothing_unless_asked(car):
    shutil.rmtree(car / "results")
    photoangle.measure(car, "front-left/set")
    assert not (car / "results").exists()
    photoangle.measure(car, "front-left/set", looks=looks_for(car))
    assert (car / FOLDER).is_dir()
