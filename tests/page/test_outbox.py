"""Photos chosen are never lost and never kept twice: through reloads, a program that refuses, stops half-way
or whose answer is lost."""

import random
import socket
import threading
import time

import pytest

from photoangle.page import uploads
from photoangle.page.serve import Served
from tests.page.conftest import picture, until

PLACE = "front-left/droop"


def free_port():
    """A port below those that the system hands out for connections: on one of these a browser that keeps
    asking for a program that was stopped may end up connected to itself, and hold the port."""
    while True:
        port = random.randrange(20000, 30000)
        with socket.socket() as s:
            if s.connect_ex(("127.0.0.1", port)):
                return port


@pytest.fixture
def served(tmp_path):
    page = Served(tmp_path / "car", free_port(), auto=False)
    page.start()
    yield page
    page.stop()


@pytest.fixture
def photos(tmp_path):
    """Five small photos, by name."""
    (tmp_path / "phone").mkdir()
    made = {f"IMG_{k}.jpg": picture(seed=k) for k in range(5)}
    for name, data in made.items():
        (tmp_path / "phone" / name).write_bytes(data)
    return tmp_path / "phone", made


@pytest.fixture
def phone(browser):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    yield context.new_page()
    context.close()


def enter(page, served):
    page.goto(served.url())
    page.wait_for_url("**/")
    page.goto(f"http://127.0.0.1:{served.port}/photos/{PLACE}")


def kept(served):
    """What the program has of the place: name -> bytes; hidden files are on their way."""
    return {
        p.name: p.read_bytes()
        for p in (served.work.root / PLACE).iterdir() if not p.name.startswith(".")
    }


WAITING = "document.querySelectorAll('li[data-entry]').length"
ALL_SENT = "document.documentElement.dataset.waiting === '0' && document.getElementById('outbox').hidden && document.querySelectorAll('li[data-entry]').length === 0"


def cut(server, environ):
    """Break the connection that a request came over, as a Wi-Fi does."""
    port = int(environ["REMOTE_PORT"])
    channel = next(c for c in server._server.active_channels.values() if c.addr[1] == port)
    channel.socket.shutdown(socket.SHUT_RDWR)


def test_photos_survive_reloads_and_lost_answers_and_are_kept_once(served, phone, photos):
    folder, made = photos
    enter(phone, served)
    server, mode = served._servers[0], ["refuse"]
    real = server.app

    def hindered(environ, start_response):
        """Refuses what is sent, or takes it and breaks the connection before the answer."""
        if environ["REQUEST_METHOD"] == "POST" and mode[0] == "refuse":
            start_response("503 Service Unavailable", [])
            return [b""]
        answer = real(environ, start_response)
        if environ["REQUEST_METHOD"] == "POST":
            cut(server, environ)
        return answer

    server.app = hindered
    phone.set_input_files("input[multiple]", sorted(folder.iterdir())[:3])
    until(phone, "/3 photos not sent yet/.test(document.getElementById('outbox-words').textContent)")
    assert kept(served) == {}
    phone.reload()
    until(phone, f"{WAITING} === 3")
    phone.goto(f"http://127.0.0.1:{served.port}/kit")
    until(phone, "/3 photos/.test(document.getElementById('outbox-words').textContent)")
    mode[0] = "mute"
    phone.evaluate("document.getElementById('outbox-now').click()")
    end = time.time() + 20
    while set(kept(served)) != {n for n in made if n < "IMG_3"}:
        assert time.time() < end, kept(served).keys()
        phone.wait_for_timeout(50)
    assert phone.evaluate("!document.getElementById('outbox').hidden")
    server.app = real
    phone.goto(f"http://127.0.0.1:{served.port}/photos/{PLACE}")
    until(phone, ALL_SENT)
    until(phone, "document.querySelectorAll('ul.photos > li').length === 3")
    assert kept(served) == {n: d for n, d in made.items() if n < "IMG_3"}
    phone.reload()
    until(phone, f"document.querySelectorAll('ul.photos > li').length === 3 && {ALL_SENT}")


def test_a_program_stopped_half_way_gets_the_rest_when_it_is_back(served, phone, photos, tmp_path,
                                                                  monkeypatch):
    folder, made = photos
    enter(phone, served)
    real, stopped = uploads._copy, threading.Event()

    def half(stream, length, out):
        out.write(stream.read(length // 2))
        if not stopped.is_set():
            stopped.set()
            served.stop()
        raise OSError(5, "the program was stopped")

    monkeypatch.setattr(uploads, "_copy", half)
    phone.set_input_files("input[multiple]", sorted(folder.iterdir()))
    until(phone, "/5 photos not sent yet/.test(document.getElementById('outbox-words').textContent)")
    assert stopped.is_set() and kept(served) == {}
    monkeypatch.setattr(uploads, "_copy", real)

    # another car's program at the same address gets none of them
    other = Served(tmp_path / "other", served.port, auto=False)
    other.start()
    try:
        enter(phone, other)
        until(phone, ALL_SENT)
        phone.wait_for_timeout(200)
        assert kept(other) == {}
    finally:
        other.stop()

    again = Served(served.work.root, served.port, auto=False)
    again.start()
    try:
        enter(phone, again)
        until(phone, ALL_SENT)
        assert kept(again) == made and not list((again.work.root / PLACE).glob(".*"))
    finally:
        again.stop()


def test_an_open_page_sends_by_itself_when_the_program_is_back(served, phone, photos):
    folder, made = photos
    enter(phone, served)
    served.stop()
    phone.set_input_files("input[multiple]", sorted(folder.iterdir())[:2])
    until(phone, "/2 photos not sent yet/.test(document.getElementById('outbox-words').textContent)")
    # one is thought better of
    phone.locator("li[data-entry]", has_text="IMG_1").get_by_role("button").click()
    until(phone, f"{WAITING} === 1")
    again = Served(served.work.root, served.port, auto=False)
    again.start()
    try:
        until(phone, ALL_SENT)
        assert kept(again) == {"IMG_0.jpg": made["IMG_0.jpg"]}
        # what is no photo is refused for good, with the reason, and waits no longer
        (folder / "notes.jpg").write_bytes(b"no photo")
        phone.set_input_files("input[multiple]", folder / "notes.jpg")
        until(phone, "[...document.querySelectorAll('.found')].some(e => e.textContent.startsWith('✖'))")
        assert phone.evaluate("document.getElementById('outbox').hidden") and len(kept(again)) == 1
    finally:
        again.stop()


def test_without_a_store_photos_wait_on_the_open_page(served, phone, photos):
    folder, made = photos
    phone.add_init_script(
        "Object.defineProperty(window, 'indexedDB', { get() { throw new Error('private'); } });")
    enter(phone, served)
    served.stop()
    phone.set_input_files("input[multiple]", sorted(folder.iterdir())[:2])
    until(
        phone,
        "/2 photos not sent yet.*Keep this page"
        " open/.test(document.getElementById('outbox-words').textContent)",
    )
    again = Served(served.work.root, served.port, auto=False)
    again.start()
    try:
        until(phone, ALL_SENT)
        assert kept(again) == {n: d for n, d in made.items() if n < "IMG_2"}
    finally:
        again.stop()
