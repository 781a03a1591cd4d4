"""The page over a copy of the demo car, worked out once."""

import io
import shutil

import pytest
from PIL import Image

from photoangle.page.app import make_app
from photoangle.page.sessions import Sessions
from photoangle.page.work import Work

HOST = "127.0.0.1:8737"


def picture(text="", side=400, seed=0):
    """A small JPEG of noise, of its own for each seed, with a text in its metadata."""
    out = io.BytesIO()
    image = Image.effect_noise((side, side), 60 + seed)
    exif = Image.Exif()
    exif[0x0110] = text
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


class Caller:
    """A client that is let in and sends what the page's scripts send."""

    def __init__(self, app, sessions):
        self.http = app.test_client()
        self.base = {"base_url": f"http://{HOST}"}
        answer = self.http.post("/enter", json={"token": sessions.token()}, headers={"Origin": f"http://{HOST}"}, **self.base)
        assert answer.status_code == 200
        session = answer.headers["Set-Cookie"].split(";")[0].split("=", 1)[1]
        self.headers = {"Origin": f"http://{HOST}", "X-Photoangle-Key": Sessions.key(session)}

    def get(self, path, **more):
        return self.http.get(path, **self.base, **more)

    def post(self, path, **more):
        return self.http.post(path, headers=self.headers | more.pop("headers", {}), **self.base, **more)


@pytest.fixture(scope="session")
def page_car(car_copy, tmp_path_factory):
    """(root, Work) of a car folder of its own, worked out."""
    root = tmp_path_factory.mktemp("page") / "heron"
    shutil.copytree(car_copy[0], root, ignore=shutil.ignore_patterns("single", "trouble"))
    work = Work(root, auto=False)
    work.jobs.start()
    work.jobs.wait(120)
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
    from photoangle.starter import start_folder

    start_folder(tmp_path / "car")
    sessions = Sessions(tmp_path / "car")
    return tmp_path / "car", Caller(make_app(Work(tmp_path / "car", auto=False), [HOST], sessions), sessions)
