"""The page over a copy of the demo car, worked out once."""

import io
import shutil
import time

import numpy as np
import pytest
from PIL import Image, ImageDraw

from calib.images.photo import read_photo
from photoangle.core.kit import default_kit
from photoangle.detection.tags import find_tags
from photoangle.page.app import make_app
from photoangle.page.sessions import Sessions
from photoangle.page.work import Work
from tests.conftest import made_once

HOST = "127.0.0.1:8737"
MUDDY = "IMG_3141.jpg"  # of the set state


def picture(text="", side=400, seed=0):
    """A small JPEG of noise, of its own for each seed, with a text in its metadata."""
    out = io.BytesIO()
    image = Image.effect_noise((side, side), 60 + seed)
    exif = Image.Exif()
    exif[0x0110] = text
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


def until(page, script, most_s=60):
    """Wait until a script is true in a browser's page, whose policy forbids playwright's own way of waiting
    for one."""
    end = time.time() + most_s
    while not page.evaluate(script):
        assert time.time() < end, (script, page.inner_text("body")[:800])
        time.sleep(0.02)


class Caller:
    """A client that is let in and sends what the page's scripts send."""

    def __init__(self, app, sessions):
        self.http = app.test_client()
        self.base = {"base_url": f"http://{HOST}"}
        answer = self.http.post("/enter",
                                json={"token": sessions.token()},
                                headers={"Origin": f"http://{HOST}"},
                                **self.base)
        assert answer.status_code == 200
        session = answer.headers["Set-Cookie"].split(";")[0].split("=", 1)[1]
        self.headers = {"Origin": f"http://{HOST}", "X-Photoangle-Key": Sessions.key(session)}

    def get(self, path, **more):
        return self.http.get(path, **self.base, **more)

    def post(self, path, **more):
        return self.http.post(path, headers=self.headers | more.pop("headers", {}), **self.base, **more)


def hub_corners(path):
    """Corners (4, 2) px of the hub's marker in a photo of full size."""
    kit = default_kit()
    hub = kit.ids_of_role("hub")
    return next(t.corners_px for t in find_tags(read_photo(path).grey, kit.family_name) if t.tag_id in hub)


@pytest.fixture(scope="session")
def half_size(samples, tmp_path_factory):
    """The demo car's lens and front-left photos at half their width and height, with car.toml, and mud
    on the hub's marker in MUDDY: whether the page does as the
    commands do is seen as well on these, four times as fast."""
    return made_once(tmp_path_factory, "half", lambda root: _half_size(samples, root))


def _half_size(samples, root):
    for path in sorted([*samples.glob("lens/*.jpg"), *samples.glob("front-left/*/*.jpg")]):
        target = root / path.relative_to(samples)
        target.parent.mkdir(parents=True, exist_ok=True)
        with Image.open(path) as image:
            exif = image.getexif()
            image.draft("RGB", (image.width // 2, image.height // 2))
            image.load()
            if path.name == MUDDY:
                corners = (hub_corners(path) + 0.5) / 2 - 0.5
                reach = 0.45 * np.linalg.norm(corners[0] - corners[1])
                ImageDraw.Draw(image).ellipse([*(corners[0] - reach), *(corners[0] + reach)],
                                              fill=(74, 63, 52))
            image.save(target, "JPEG", quality=93, exif=exif)
    shutil.copyfile(samples / "car.toml", root / "car.toml")


def worked_out(root):
    work = Work(root, auto=False)
    work.jobs.start()
    work.jobs.wait(240)
    return work


@pytest.fixture(scope="session")
def page_car(half_size, tmp_path_factory):
    """(root, Work) of a car folder of its own, worked out."""

    def make(root):
        shutil.copytree(half_size, root, dirs_exist_ok=True)
        worked_out(root)

    root = made_once(tmp_path_factory, "page", make)
    work = worked_out(root)
    assert work.answer.number == 1, work.jobs.state
    return root, work


@pytest.fixture(scope="session")
def page_app(page_car):
    root, work = page_car
    sessions = Sessions(root)
    return make_app(work, [HOST], sessions), sessions


@pytest.fixture
def caller(page_app):
    return Caller(*page_app)


@pytest.fixture
def empty(tmp_path):
    """(root, Caller) over an empty car folder."""
    from photoangle.carfile.template import start_folder

    start_folder(tmp_path / "car")
    sessions = Sessions(tmp_path / "car")
    return tmp_path / "car", Caller(make_app(Work(tmp_path / "car", auto=False), [HOST], sessions), sessions)
