"""The commands as a user runs them: output, exit codes, files written and files left alone."""

import hashlib
import json
import shutil
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from photoangle.cli import main
from tests.conftest import ROOT


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)


def fingerprint(folder):
    return {p.relative_to(folder): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(Path(folder).rglob("*")) if p.is_file() and "results" not in p.parts}


@pytest.fixture
def small_car(car_copy, tmp_path):
    """One state of the demo car with its learnt lens."""
    root = tmp_path / "car"
    (root / "lens").mkdir(parents=True)
    shutil.copyfile(car_copy[0] / "lens" / "profile.json", root / "lens" / "profile.json")
    shutil.copyfile(car_copy[0] / "car.toml", root / "car.toml")
    shutil.copytree(car_copy[0] / "front-left" / "set", root / "front-left" / "set")
    return root


def test_measure_prints_a_table_and_leaves_the_photos_alone(small_car):
    before = fingerprint(small_car)
    result = run("measure", small_car, "--full")
    assert result.exit_code in (0, 1)
    assert "bar arm angle" in result.output and "the tape read" in result.output
    assert max(len(line) for line in result.output.split("annotated photos")[0].splitlines()) <= 80
    assert fingerprint(small_car) == before
    pictures = sorted((small_car / "results" / "front-left" / "set").glob("*.jpg"))
    assert len(pictures) == 4 and all(p.stat().st_size > 50_000 for p in pictures)
    saved = json.loads((small_car / "results" / "measure.json").read_text())
    assert saved["version"] == 1 and saved["figures"]
    assert len(list((small_car / "results" / "history").glob("*.json"))) == 1


def test_json_is_the_only_thing_on_standard_output(small_car):
    result = run("measure", small_car, "--json", "--no-pictures", "--between", "100-115", "--between",
                 "100-115-301")
    content = json.loads(result.stdout)
    figure = next(f for f in content["figures"] if f["name"] == "bar_arm_length")
    assert set(figure) >= {"corner", "state", "name", "datum", "unit", "value", "u", "dof", "low95", "high95"}
    assert (figure["corner"], figure["state"], figure["unit"]) == ("front-left", "set", "mm")
    assert figure["low95"] < figure["value"] < figure["high95"]
    names = {f["name"] for f in content["figures"]}
    assert {"distance:100-115", "elevation:100-115", "angle:100-115-301", "tape:hub_to_arch"} <= names
    assert {f["level"] for f in content["findings"]} <= {"note", "attention", "unusable"}


def test_bad_photos_are_skipped_with_a_reason_and_the_rest_measured(small_car):
    folder = small_car / "front-left" / "set"
    (folder / "words.jpg").write_text("not a picture")
    (folder / "empty.jpg").write_bytes(b"")
    from PIL import Image

    Image.new("L", (3400, 2550), 90).save(folder / "blank.jpg")
    other = folder / "other_phone.jpg"
    with Image.open(sorted(folder.glob("IMG*"))[0]) as image:
        image.resize((1700, 1275)).save(other, quality=90)
    result = run("measure", small_car, "--full", "--no-pictures")
    assert result.exit_code == 1
    text = " ".join(result.output.split())
    for words in ("words.jpg: this is not a picture", "empty.jpg: the file is empty",
                  "blank.jpg: no marker was found", "other_phone.jpg: it is from a camera that left no name"):
        assert words in text, words
    assert "4 photos" in text


@pytest.mark.parametrize("text, words", [
    ("[car]\nunits = \"mm\"\nwheelbas = 3\n", "did you mean 'wheelbase'"), ("[car\n", "cannot be understood"),
    ("[front-left.tape.set]\nhub_to_arch = \"325 furlong\"\n", "unit")])
def test_a_broken_car_file_is_explained(small_car, text, words):
    (small_car / "car.toml").write_text(text)
    before = fingerprint(small_car)
    result = run("measure", small_car, "--full")
    assert result.exit_code == 2 and words in result.stderr and "car.toml" in result.stderr
    assert fingerprint(small_car) == before and not (small_car / "results").exists()


def test_a_folder_without_photos(tmp_path):
    result = run("measure", tmp_path)
    assert (
        result.exit_code == 2 and "no photos in it" in result.stderr and "photoangle start" in result.stderr
    )
    assert run("lens", tmp_path).exit_code == 2
    assert run("measure", tmp_path / "nowhere").exit_code == 2


def test_a_photo_without_markers(tmp_path):
    from PIL import Image

    Image.new("L", (1000, 800), 128).save(tmp_path / "a.jpg")
    result = run("measure", tmp_path / "a.jpg")
    assert result.exit_code == 2 and "no marker was found" in result.output
    assert "Traceback" not in result.output


def test_a_photo_from_another_phone_is_said_and_still_measured(small_car, tmp_path):
    profile = json.loads((small_car / "lens" / "profile.json").read_text())
    profile["profiles"][0]["camera"]["model"] = "Another"
    (small_car / "lens" / "profile.json").write_text(json.dumps(profile))
    result = run("measure", small_car, "--full", "--no-pictures")
    text = " ".join(result.output.split())
    assert result.exit_code == 1 and "the lens photos are from" in text and "bar arm length" in text


def test_a_damaged_profile_is_said_and_the_photos_still_measured(small_car):
    (small_car / "lens" / "profile.json").write_text("{")
    result = run("measure", small_car, "--full", "--no-pictures")
    assert "is damaged" in " ".join(result.output.split()) and "bar arm length" in result.output


def test_wrong_options_are_explained(small_car):
    photo = sorted((small_car / "front-left" / "set").glob("*.jpg"))[0]
    for arguments, words in ((("--dots", "bar_ey"), "did you mean bar_eye"),
                             (("--between", "100"), "two or three"), (("--corner", "front"), "no corner"),
                             (("--kit", small_car / "no.toml"), "no.toml")):
        result = run("measure", photo, *arguments)
        assert result.exit_code == 2 and words in result.stderr, (arguments, result.stderr)


def test_start_then_measure_tells_what_is_missing(tmp_path):
    result = run("start", tmp_path / "car")
    assert result.exit_code == 0 and (tmp_path / "car" / "car.toml").exists()
    result = run("measure", tmp_path / "car", "--full")
    assert result.exit_code == 2 and "no photos in it" in result.stderr


def test_kit_writes_a_pdf(tmp_path):
    result = run("kit", tmp_path / "kit.pdf", "--paper", "Letter")
    assert result.exit_code == 0 and (tmp_path / "kit.pdf").read_bytes().startswith(b"%PDF")
    assert run("kit", tmp_path / "nowhere" / "kit.pdf").exit_code == 2


def test_a_results_folder_that_cannot_be_written(small_car, monkeypatch):
    (small_car / "results").write_text("in the way")
    result = run("measure", small_car, "--full")
    assert result.exit_code == 2 and "results" in result.stderr
    assert (small_car / "results").read_text() == "in the way"


def test_memory_stays_bounded(small_car):
    """Peak memory of 2 and of 10 photos of 8.7 MP, with room for five pictures in place of fifteen: no more
    for more photos, and under 450 MB with all the room."""
    import subprocess

    folder = small_car / "front-left" / "set"
    pictures = [p.read_bytes() for p in sorted(folder.glob("*.jpg"))]
    shutil.rmtree(folder)
    folder.mkdir()
    # the peak since the program began; getrusage's would be the tests' own where that was higher
    code = ("from photoangle.pipeline import measure_folder, one_state\n"
            "one_state._KEEP_BYTES = 43_000_000\n"
            f"measure_folder({str(small_car)!r}, lambda items, label: items)\n"
            "peak = next(line for line in open('/proc/self/status') if line.startswith('VmHWM'))\n"
            "print(int(peak.split()[1]) / 1024)")
    peaks = []
    for count in (2, 10):
        for k in range(count):
            (folder / f"IMG_{k:02d}.jpg").write_bytes(pictures[k % 4])
        done = subprocess.run([sys.executable, "-c", code],
                              cwd=ROOT,
                              capture_output=True,
                              text=True,
                              check=True)
        peaks.append(float(done.stdout.split()[-1]))
    assert max(peaks) + 87 < 450 and peaks[1] < peaks[0] * 1.4


@pytest.mark.parametrize("turned", [False, True])
def test_a_photo_that_a_messaging_app_stripped_is_not_of_another_phone(small_car, turned):
    from PIL import Image

    photo = sorted((small_car / "front-left" / "set").glob("*.jpg"))[0]
    with Image.open(photo) as picture:
        bare = picture.transpose(Image.Transpose.ROTATE_90) if turned else picture.copy()
    bare.save(photo, "JPEG", quality=92)  # without its data
    output = " ".join(run("measure", small_car, "--full", "--no-pictures").output.split())
    assert f"{photo.name}: its data were taken off, as messaging apps do" in output
    assert ("and it was turned" in output) == turned and "it is from a camera" not in output
