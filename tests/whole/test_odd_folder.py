"""A car folder as it should not be: odd files beside good photos, no rights, no room; each is told, nothing
is lost."""

import contextlib
import ctypes
import hashlib
import json
import os
import re
import resource
import shutil
import subprocess

import cv2
import pytest
from click.testing import CliRunner

from photoangle.cli import main
from tests.conftest import SHARED
from tests.small_scene import small_scene


def run(*arguments):
    """A command in this process: whatever it does not turn into words is raised here."""
    return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """A small car folder: two drawn photos of one state, no lens photos."""
    root = tmp_path_factory.mktemp("drawn") / "car"
    folder = root / "front-left" / "droop"
    folder.mkdir(parents=True)
    (root / "car.toml").write_text('[level]\nby = "none"\n')
    for k, picture in enumerate(small_scene(3, count=2)[0]):
        cv2.imwrite(str(folder / f"IMG_{k}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, 90])
    return root


@pytest.fixture
def car(drawn, tmp_path):
    return shutil.copytree(drawn, tmp_path / "car")


def digests(root):
    return {
        p.relative_to(root): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(root.rglob("*")) if p.is_file()
    }


_OVERRIDE = 0b110  # CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH


@contextlib.contextmanager
def as_a_user():
    """Without root's right to read and write everything; skips where that cannot be given up."""
    if os.geteuid() != 0:
        yield
        return
    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)
    kept, less = (ctypes.c_uint32 * 6)(), (ctypes.c_uint32 * 6)()
    if not hasattr(libc, "capget") or libc.capget(header, kept):
        pytest.skip("root's rights cannot be told here")
    less[:] = kept[:]
    less[0] &= ~_OVERRIDE
    if libc.capset(header, less):
        pytest.skip("root's rights cannot be given up here")
    try:
        yield
    finally:
        assert libc.capset(header, kept) == 0


@contextlib.contextmanager
def mode(path, bits):
    before = path.stat().st_mode
    path.chmod(bits)
    try:
        yield
    finally:
        path.chmod(before)


def words(result):
    return " ".join((result.output + result.stderr).split())


def test_odd_files_beside_good_photos(car, tmp_path):
    folder = car / "front-left" / "droop"
    os.rename(folder / "IMG_1.jpg", folder / ("Bär 測定 \u202e" + "n" * 200 + ".jpg"))
    (folder / "folder.jpg").mkdir()
    (folder / "nowhere.jpg").symlink_to(tmp_path / "gone")
    (folder / "words.jpg").write_text("not a picture")
    (folder / "shut.jpg").write_bytes((folder / "IMG_0.jpg").read_bytes())
    (folder / "\x1b[31mred\n.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    os.mkfifo(folder / "pipe.jpg")
    (folder / "notes.txt").write_text("mine")
    for path in sorted(SHARED.glob("odd_files/*")):
        shutil.copyfile(path, folder / path.name)
    with as_a_user(), mode(folder / "shut.jpg", 0):
        result = run("measure", car, "--full", "--no-pictures")
    assert result.exit_code == 1
    assert all(c.isprintable() or c == "\n" for c in result.output)
    said = words(result)
    assert "front-left / droop: 2 photos" in said and "bar arm length" in said
    for name, why in (("folder.jpg", "this is a folder"), ("nowhere.jpg", "it is a link"),
                      ("words.jpg", "not a picture"), ("shut.jpg",
                                                       "the file cannot be read (Permission denied)"),
                      ("pipe.jpg", "the file is empty"), ("?[31mred?.png", "not a picture")):
        # what is alike is said once: a name may stand among others of its kind
        assert re.search(rf"{re.escape(name)}(, [^:]+)?: (this is )?{re.escape(why)}", said), (name, said)
    if SHARED.is_dir():
        for name in ("broken.png", "empty.heic", "truncated.heic", "truncated_jpeg.jpg", "hopper_16bit.pgm"):
            assert re.search(rf"{re.escape(name)}(, [^:]+)?: ", said), name


def test_names_and_notes_are_text_in_report_and_sheet(car):
    """Commands for a terminal, a browser, a template and a spreadsheet as the names of car, state and
    photo."""
    nasty = "\x1b]0;x\x07\u202e<script>alert(1)<\u2044script>{{7*7}}\n"
    state = (car / "front-left" / "droop").rename(car / "front-left" / f"=1+1{nasty}")
    (state / "IMG_0.jpg").rename(state / f"{nasty}.jpg")
    with open(car / "car.toml", "a") as notes:
        notes.write("[car]\nname = " + json.dumps(nasty.replace("\u2044", "/")) + "\n")
    result = run("report", car, "--csv", car / "sheet.csv")
    assert result.exit_code in (0, 1)
    html, sheet = (car / "results" / "report.html").read_text(), (car / "sheet.csv").read_text()
    assert html.count("{{7*7}}") > 3 and "<script" not in html
    for text in (html, sheet, result.output, run("measure", car, "--full").output):
        assert all(c.isprintable() or c == "\n" for c in text)
    assert "'=1+1" in sheet and ",=" not in sheet


def test_photos_of_one_name_and_one_that_goes_meanwhile(car, monkeypatch):
    from photoangle import pipeline

    folder, drawn = car / "front-left" / "droop", car / "results" / "front-left" / "droop"
    cv2.imwrite(str(folder / "IMG_0.png"), cv2.imread(str(folder / "IMG_1.jpg")))
    (folder / "IMG_1.jpg").unlink()
    assert run("measure", car, "--full").exit_code == 1
    assert sorted(p.name for p in drawn.iterdir()) == ["IMG_0.jpg.jpg", "IMG_0.png.jpg"]
    tied = pipeline.tie_states

    def slow(*given):
        (folder / "IMG_0.jpg").unlink()
        return tied(*given)

    shutil.rmtree(car / "results" / "kept")
    monkeypatch.setattr(pipeline, "tie_states", slow)
    result = run("measure", car, "--full")
    assert (
        result.exit_code == 1
        and "IMG_0.jpg: the file cannot be read (No such file or directory)" in words(result)
    )
    assert (drawn / "IMG_0.png.jpg").exists()


@pytest.mark.parametrize("shut", ["front-left/shut", "front-right"])
def test_a_folder_that_may_not_be_looked_into(car, shut):
    (car / shut).mkdir()
    with as_a_user(), mode(car / shut, 0):
        result = run("measure", car, "--full", "--no-pictures")
    assert result.exit_code == 1 and f"{shut}: this folder may not be looked into" in words(result)
    assert "bar arm length" in result.output


@pytest.mark.parametrize("name", ["car.toml", "corrections.json"])
def test_notes_that_may_not_be_read(car, name):
    (car / name).touch()
    with as_a_user(), mode(car / name, 0):
        result = run("measure", car, "--full")
    assert result.exit_code == 2 and name in result.stderr and "(Permission denied); " in result.stderr


def test_a_folder_that_may_not_be_written(car):
    before = digests(car)
    with as_a_user(), mode(car, 0o555):
        for arguments in (("measure", car, "--no-pictures", "--full"), ("start", car), ("kit", car / "kit.pdf")):
            result = run(*arguments)
            assert result.exit_code == 2 and "Permission denied; check the folder, its permissions" in words(
                result), arguments
            assert str(car) in result.stderr
            if arguments[0] == "measure":
                assert "bar arm length" in result.output  # what was found is shown all the same
        result = run("page", car / "new", "--no-browser", "--port", 0)
        assert result.exit_code == 2 and "new: Permission denied" in words(
            result) and "port" not in result.stderr
    assert digests(car) == before


@contextlib.contextmanager
def room_for(size):
    """No file may grow beyond so many bytes, which fails as a full disk does."""
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, limits[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)


def test_no_room_for_the_results_keeps_the_old_ones(car):
    run("measure", car, "--full", "--no-pictures")
    before = digests(car)
    assert any(p.name == "measure.json" for p in before)
    with room_for(500):
        result = run("measure", car, "--full")
    assert (
        result.exit_code == 2
        and "measure.json: File too large" in result.stderr
        and "free space" in result.stderr
    )
    assert "bar arm length" in result.output and "pictures cannot be written (File too large)" in words(
        result)
    assert digests(car) == before


def test_a_disk_that_is_really_full(drawn, tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    if os.geteuid() or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "none",
                                       str(disk)],
                                      capture_output=True).returncode:
        pytest.skip("no small disk can be mounted here")
    try:
        car = shutil.copytree(drawn, disk / "car")
        run("measure", car, "--full", "--no-pictures")
        with open(disk / "filler", "wb", buffering=0) as filler, contextlib.suppress(OSError):
            while True:
                filler.write(bytes(4096))
        before = digests(car)
        result = run("measure", car, "--full")
        assert result.exit_code == 2 and "measure.json: No space left on device" in result.stderr
        assert "bar arm length" in result.output and digests(car) == before
        assert json.loads((car / "results" / "measure.json").read_text())["figures"]
    finally:
        subprocess.run(["umount", str(disk)], check=True)
