"""Where the tests find what they read, and the reason where it is absent."""

import os
import shutil
import time
from pathlib import Path

# one BLAS thread: the same digits everywhere, as the commands have it
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
# the tests themselves are spread over the cores
os.environ.setdefault("PHOTOANGLE_JOBS", "1")

import pytest

ROOT = Path(__file__).resolve().parent.parent
SHARED = ROOT.parent / "shared" / "data"
SAMPLES = ROOT / "sample_images"
# Real photos that OpenCV publishes: beside the project, or where Debian's package of them puts them.
_DEBIAN = Path("/usr/share/doc/opencv-doc")
_PHOTOS = {"stereo_photos": ("left01.jpg", _DEBIAN / "examples" / "data"),
           "charuco_photos": ("choriginal.jpg", _DEBIAN / "opencv4" / "html")}


def photos_from_outside(name):
    """The folder of "stereo_photos" or "charuco_photos", or None where they are not on this machine."""
    first, packaged = _PHOTOS[name]
    return next((folder for folder in (SHARED / name, packaged) if (folder / first).exists()), None)


def _photos_or_skip(name):
    return photos_from_outside(name) or pytest.skip(
        f"no {name} here: apt install opencv-doc puts them below {_DEBIAN}")


# Statistics over many drawn scenes, and walks through a browser: `pytest --long` runs them, and nothing else.
LONG = ("tests/advice/test_advise.py", "tests/calib/test_calibrate.py", "tests/comparison/test_compare",
        "tests/detection/test_other_boards.py",
        "tests/figures/test_budget.py", "tests/linkage/told_half", "tests/page/test_dots.py",
        "tests/page/test_link_screen.py", "tests/page/test_walk.py", "tests/phones",
        "tests/pointing", "tests/report/test_report.py", "tests/whole/test_rendered_corner.py",
        "tests/reconstruction/test_lens_shown.py", "tests/reconstruction/test_paper_bend.py",
        "tests/reconstruction/test_paper_and_breathing.py", "tests/test_coverage_share.py",
        "tests/linkage/motion", "tests/misuse", "tests/geometry/test_properties.py",
        "tests/droplink/test_stops_and_slips.py")


def pytest_addoption(parser):
    parser.addoption("--long", action="store_true", help="the long tests, and no others")


def pytest_collection_modifyitems(config, items):
    """The long tests by themselves; the longest first, so that no core waits for it at the end."""
    named = any("::" in a or a.endswith(".py") for a in config.args)
    if not named:  # what is asked for by name is run
        wanted = config.getoption("--long")
        kept = [i for i in items if i.nodeid.startswith(LONG) == wanted]
        config.hook.pytest_deselected(items=[i for i in items if i not in set(kept)])
        items[:] = kept
    items.sort(key=lambda item: "test_walk" not in item.nodeid)


@pytest.fixture(scope="session")
def shared_data():
    """Folder of photos and published values from outside, which is not part of the project."""
    if not SHARED.is_dir():
        pytest.skip(f"outside data not there: {SHARED}")
    return SHARED


@pytest.fixture(scope="session")
def stereo_photos():
    """Folder of left01.jpg, right01.jpg, ...: a checkerboard seen by two cameras."""
    return _photos_or_skip("stereo_photos")


@pytest.fixture(scope="session")
def charuco_photos():
    """Folder of choriginal.jpg and singlemarkersoriginal.jpg: a board and tags that are not the kit's."""
    return _photos_or_skip("charuco_photos")


@pytest.fixture(scope="session")
def samples():
    if not (SAMPLES / "truth.json").exists():
        pytest.skip(f"sample photos not there: {SAMPLES}")
    return SAMPLES


@pytest.fixture(scope="module")
def browser():
    """The system's Chromium, driven by playwright; skipped with the reason where there is none."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.skip("no chromium on this machine")
    with sync_api.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()


def quiet(items, label):
    """A progress that shows nothing."""
    return items


def made_once(tmp_path_factory, name, make):
    """A folder that the first process to ask fills by make(folder), a copy of it for this one.

    The processes that share the tests would else each measure the demo car."""
    base = tmp_path_factory.getbasetemp()
    whole = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / f"once-{name}"
    ready = whole.with_suffix(".ready")
    try:
        whole.mkdir()
    except FileExistsError:
        for _ in range(1800):
            if ready.exists():
                break
            time.sleep(0.1)
    else:
        make(whole)
        ready.touch()
    assert ready.exists(), f"{whole} was never filled"
    return shutil.copytree(whole, tmp_path_factory.mktemp(name) / "heron")


@pytest.fixture(scope="session")
def car_copy(samples, tmp_path_factory):
    """The demo car in a folder of its own, lens learnt, measured and kept once for all tests."""
    from photoangle.pipeline import measure_folder
    from photoangle.pipeline.kept import looks_for

    def make(root):
        for name in ("lens", "front-left", "front-right", "single", "trouble"):
            shutil.copytree(samples / name, root / name, ignore=shutil.ignore_patterns("results", "*.json"))
        shutil.copyfile(samples / "car.toml", root / "car.toml")
        measure_folder(root, quiet, looks=looks_for(root))

    root = made_once(tmp_path_factory, "car", make)
    return root, measure_folder(root, quiet, looks=looks_for(root))
