"""How much longer the page takes than the commands' own functions, as ratios from one run.

    python -m tests.page.bench

A 12-megapixel photo from its drop to its markers shown, over reading and sighting the same file; and the last
change to the new figures on the screen, over measuring the folder and answering for the link with the same
memory of the photos.  Aim: 1.3.
"""

import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from PIL import Image

from photoangle.core.kit import default_kit
from photoangle.core.options import LinkRequest
from photoangle.detection.cache import DetectionCache
from photoangle.droplink.answer import link_answers
from photoangle.page.serve import Served
from photoangle.pipeline import measure_folder
from tests.page.conftest import until

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
WIDE = 4032
CHANGED = """async (text) => {
    const began = performance.now(), before = document.documentElement.dataset.answer;
    await fetch("/api/note", {method: "POST", body: JSON.stringify({path: ["front-left", "tape", "set", "hub_to_arch"], text}),
        headers: {"Content-Type": "application/json", "X-Photoangle-Key": document.querySelector('meta[name="key"]').content}});
    while (document.documentElement.dataset.answer === before) await new Promise((go) => setTimeout(go, 10));
    return performance.now() - began;
}"""


def large_photos(folder):
    """Sample photos enlarged to 12 megapixels."""
    out = []
    for path in sorted((SAMPLES / "front-left" / "droop").glob("*.jpg")):
        with Image.open(path) as image:
            exif = image.getexif()
            image.resize((WIDE, round(image.height * WIDE / image.width)), Image.LANCZOS).save(
                folder / path.name, "JPEG", quality=95, exif=exif)
        out.append(folder / path.name)
    return out


def quiet(items, label):
    return items


def timed(work):
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def entered(browser, served, path):
    page = browser.new_page()
    page.goto(served.url())
    page.wait_for_url("**/")
    page.goto(f"http://127.0.0.1:{served.port}{path}")
    page.wait_for_timeout(500)
    return page


def drops(browser, folder):
    """[(page's, command's) seconds] of each photo, the first two as a warm-up left out."""
    served = Served(folder / "empty", 0, auto=False)
    served.start()
    page, out = entered(browser, served, "/photos/front-left/droop"), []
    for k, path in enumerate(large_photos(folder)):
        alone = timed(lambda p=path: DetectionCache().look(p, p.name, default_kit()))
        page.set_input_files("input[multiple]", path)
        until(page, f"[...document.querySelectorAll('li[data-shown]')].length === {k + 1}")
        shown = page.evaluate(
            "(name) => { const d = [...document.querySelectorAll('li[data-shown]')].find((i) =>"
            " i.dataset.name === name).dataset;"
            " return d.shown - d.sent; }",
            path.name,
        )
        out.append((shown / 1000, alone))
    served.stop()
    return out[2:]


def changes(browser, folder):
    """[(page's, command's) seconds] of changed readings, the first as a warm-up left out."""
    root = folder / "car"
    for part in ("front-left", "lens"):
        shutil.copytree(SAMPLES / part, root / part)
    shutil.copyfile(SAMPLES / "car.toml", root / "car.toml")
    served = Served(root, 0)
    served.start()
    while not served.work.answer.number:
        time.sleep(0.1)
    served.work.jobs.wait(100)
    page, out = entered(browser, served, "/angles"), []
    for k in range(4):
        shown = page.evaluate(CHANGED, f"{324 + k} mm") / 1000
        served.work.jobs.wait(100)
        alone = timed(lambda: link_answers(measure_folder(root, quiet, looks=served.work.looks), LinkRequest()))
        out.append((shown, alone))
    served.stop()
    return out[1:]


def main():
    """Print the ratios."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium") or shutil.which("chromium-browser")
    with sync_playwright() as play, tempfile.TemporaryDirectory() as folder:
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        for title, run in (("12 MP photo, drop to its markers shown", drops),
                           ("last change to the new figures", changes)):
            pairs = run(browser, Path(folder))
            ratio = statistics.median(a / b for a, b in pairs)
            print(
                f"{title}: {ratio:.2f} times the command's own"
                f" ({', '.join(f'{a:.2f}/{b:.2f} s' for a, b in pairs)})",
                flush=True,
            )
        browser.close()


if __name__ == "__main__":
    main()
