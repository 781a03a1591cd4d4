"""Nothing from outside breaks a run: damaged pictures, odd texts, a full disk, a killed writer."""

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from calib.files import write_whole
from calib.kit import KitError
from calib.lengths import LengthError, parse_length
from calib.profile import ProfileError, load_profiles
from photoangle.carfile.lengths import parse_reading
from photoangle.carfile.reader import CarFileError, read_carfile
from photoangle.comparison.history import read_history
from photoangle.core.errors import CannotUse
from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.kit import read_kit
from photoangle.output.table import finding_lines
from tests.damage import giant, judge, run
from tests.fuzz import GOOD_PROFILE, GOOD_RUN, TARGETS, _as_json, once


def test_damaged_pictures_are_read_right_or_refused(tmp_path):
    outcomes, complaints, _, slowest, heard = run(150, 7, tmp_path)
    assert not complaints and not heard
    assert outcomes["right"] > 30 and outcomes["refused"] > 30
    assert slowest < 10


@pytest.mark.parametrize("choice", range(8))
def test_300_megapixels_are_refused_before_decoding(tmp_path, choice):
    suffix, data = giant(np.random.default_rng(choice))
    (tmp_path / ("a" + suffix)).write_bytes(data)
    start = time.perf_counter()
    assert judge(tmp_path / ("a" + suffix), np.zeros((240, 320), np.uint8), False) == ("refused", None)
    assert time.perf_counter() - start < 2  # decoding takes longer


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_readers_answer_only_with_their_own_error(name):
    once(name, 40)


@pytest.mark.parametrize("text", [
    "9" * 90 + " mm", "9" * 5000, "1/" + "9" * 400, 10**400, -10**400,
    float("nan"),
    float("-inf"), "1 mm +- " + "9" * 80
])
def test_numbers_no_tape_has(text):
    with pytest.raises(LengthError):
        parse_length(text) if not isinstance(text, str) or "+-" not in text else parse_reading(text)


@pytest.mark.parametrize("text", [
    "[car]\nwheelbase = " + "9" * 5000, "[level]\nfloor_within_deg = " + "9" * 400, "[car]\nwheelbase = nan",
    "[car]\nwheelbase = 0", "[car]\nwheelbase = -3", "[car]\nwheelbase = \"3 furlongs\"",
    "[car]\nname = \"a\"\nname = \"b\"", "x = " + "[" * 3000, "a." * 400_000 + "a = 1"
])
def test_car_files_that_are_refused(tmp_path, text):
    (tmp_path / "car.toml").write_text(text)
    with pytest.raises(CarFileError) as error:
        read_carfile(tmp_path / "car.toml")
    assert error.value.do


@pytest.mark.parametrize("text", [
    "size = " + "9" * 5000, "size = " + "9" * 400, "x = " + "[" * 3000, "any_id = true\nsize = inf",
    "size = 50\n[[marker]]\nid = 1\noffset_mm = [" + "9" * 400 + ", 0]"
])
def test_kit_files_that_are_refused(tmp_path, text):
    (tmp_path / "kit.toml").write_text(text)
    with pytest.raises(KitError):
        read_kit(tmp_path / "kit.toml")


@pytest.mark.parametrize("change",
                         [{"rms_px": float("nan")}, {"photos": float("inf")}, {"lens": [10**400] * 9}, {
                             "camera": {**GOOD_PROFILE["camera"], "width_px": "wide"}
                         }, {"camera": {**GOOD_PROFILE["camera"], "make": ["P"]}}])
def test_profiles_that_are_refused(tmp_path, change):
    path = tmp_path / "profile.json"
    path.write_bytes(_as_json({"version": 1, "profiles": [GOOD_PROFILE]}))
    assert load_profiles(path)[0].photos == 10
    path.write_bytes(_as_json({"version": 1, "profiles": [{**GOOD_PROFILE, **change}]}))
    with pytest.raises(ProfileError):
        load_profiles(path)


@pytest.mark.parametrize("version", [0, 2, None, "1"])
def test_profiles_of_another_version(tmp_path, version):
    (tmp_path / "profile.json").write_bytes(_as_json({"version": version, "profiles": [GOOD_PROFILE]}))
    with pytest.raises(ProfileError, match="version"):
        load_profiles(tmp_path / "profile.json")


def _kept(root, name, content):
    folder = root / "results" / "history"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(_as_json(content))


def test_records_with_and_without_time_zone_are_sorted(tmp_path):
    good = {"version": 1, "photos": {}, "figures": [GOOD_RUN]}
    _kept(tmp_path, "a.json", {**good, "made": "2025-01-02T00:00:00"})
    _kept(tmp_path, "b.json", {**good, "made": "2025-01-01T00:00:00+02:00"})
    _kept(tmp_path, "c.json",
          {**good, "made": "2025-01-03T00:00:00", "figures": [{**GOOD_RUN, "corner": ["x"]}]})
    _kept(tmp_path, "c2.json",
          {**good, "made": "2025-01-03T00:00:00", "figures": [{**GOOD_RUN, "datum": []}]})
    runs, findings = read_history(tmp_path)
    assert [r.made.day for r in runs] == [1, 2] and len(findings) == 2
    _kept(tmp_path, "d.json", {**good, "made": "2025-01-04T00:00:00", "version": 2})
    with pytest.raises(CannotUse):
        read_history(tmp_path)


def test_no_control_characters_reach_the_terminal():
    lines = finding_lines([Finding(ATTENTION, "a\x1b]0;x\x07\u202e.jpg", "bad\x1b[31m", "copy\rit")])
    assert all(c.isprintable() for line in lines for c in line)


def test_a_thousand_findings_alike_are_one():
    many = [Finding(ATTENTION, f"{k}.jpg", "it is empty", "copy it again") for k in range(1000)]
    lines = finding_lines([many[0], Finding(ATTENTION, "b.jpg", "it is dark", ""), *many[1:]])
    assert len(lines) < 6 and "0.jpg, 1.jpg, 2.jpg, 3.jpg and 996 more: it is empty" in " ".join(
        " ".join(lines).split())
    assert "".join(finding_lines(many[:6])).count("it is empty") == 1


@pytest.mark.parametrize("call", ["fsync", "replace", "fdopen"])
def test_a_full_disk_leaves_the_old_file(tmp_path, monkeypatch, call):
    write_whole(tmp_path / "a.json", "old")

    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, call, full)
        with pytest.raises(OSError):
            write_whole(tmp_path / "a.json", "new")
    assert (tmp_path / "a.json").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


_WRITER = """
import sys
from calib.files import write_whole
for k in range(10 ** 9):
    write_whole(sys.argv[1], chr(97 + k % 26) * 300_000)
    if not k:
        print("going", flush=True)
"""


def test_a_killed_writer_leaves_a_whole_file(tmp_path):
    rng, target = np.random.default_rng(3), tmp_path / "measure.json"
    for _ in range(50):
        child = subprocess.Popen([sys.executable, "-S", "-c", _WRITER, str(target)], stdout=subprocess.PIPE,
                                 cwd=Path(__file__).parents[2])
        child.stdout.readline()
        time.sleep(rng.uniform(0, 0.01))
        child.send_signal(signal.SIGKILL)
        child.communicate()
        text = target.read_text()
        assert len(text) == 300_000 and len(set(text)) == 1
    write_whole(target, "after")
    assert target.read_text() == "after"
    assert not list(tmp_path.glob(".*.part"))  # what the killed ones left is cleared away
