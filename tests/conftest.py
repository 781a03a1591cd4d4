"""Where the tests find what they read, and the reason where it is absent."""

import os
from pathlib import Path

# one BLAS thread: the same digits everywhere, as the commands have it
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import pytest  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
SHARED = ROOT.parent / "shared" / "data"
SAMPLES = ROOT / "sample_images"


def pytest_collection_modifyitems(items):
    """The longest test first, so that no core waits for it at the end."""
    items.sort(key=lambda item: "test_walk" not in item.nodeid)


@pytest.fixture(scope="session")
def shared_data():
    """Folder of photos and published values from outside, which is not part of the project."""
    if not SHARED.is_dir():
        pytest.skip(f"outside data not there: {SHARED}")
    return SHARED


@pytest.fixture(scope="session")
def samples():
    if not (SAMPLES / "truth.json").exists():
        pytest.skip(f"sample photos not there: {SAMPLES}")
    return SAMPLES


@pytest.fixture(scope="module")
def browser():
    """The system's Chromium, driven by playwright; skipped with the reason where there is none."""
    import shutil

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


@pytest.fixture(scope="session")
def car_copy(samples, tmp_path_factory):
    """The demo car in a folder of its own, lens learnt, measured once for all tests."""
    import shutil

    from photoangle.pipeline import measure_folder

    target = tmp_path_factory.mktemp("car") / "heron"
    for name in ("lens", "front-left", "front-right", "single", "trouble"):
        shutil.copytree(samples / name, target / name, ignore=shutil.ignore_patterns("results", "*.json"))
    shutil.copyfile(samples / "car.toml", target / "car.toml")
    return target, measure_folder(target, quiet)
