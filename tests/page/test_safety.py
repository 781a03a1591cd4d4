"""The page lets nobody in who was not let in, and nothing harms it."""

import io
import json
import socket
import threading
import time

import pytest
from PIL import Image

from photoangle.page.serve import Served
from photoangle.page.uploads import MOST_BYTES

NASTY = "<img src=x onerror=alert(1)>.jpg"


@pytest.fixture
def served(tmp_path):
    page = Served(tmp_path / "car", 0, auto=False)
    page.start()
    yield page
    page.stop()


@pytest.fixture
def client(served):
    """A test client that was let in; with ``key`` and ``url``."""
    app = served._servers[0].app
    made = app.test_client()
    host = f"127.0.0.1:{served.port}"
    base = f"http://{host}"
    made.base = {"base_url": base, "headers": {"Origin": base}}
    token = served.url().partition("#")[2]
    assert made.post("/enter", json={"token": token}, **made.base).status_code == 200
    home = made.get("/", **made.base)
    assert home.status_code == 200
    key = home.get_data(as_text=True).split('name="key" content="')[1].split('"')[0]
    made.base["headers"]["X-Photoangle-Key"] = key
    return made


def _jpeg(name=None, size=(400, 300)):
    out = io.BytesIO()
    exif = Image.Exif()
    if name:
        exif[0x0110] = name
    Image.new("L", size, 120).save(out, "JPEG", exif=exif)
    return out.getvalue()


def _send(client, data, where="front-left/droop", name="a.jpg", **more):
    base = dict(client.base) | more
    return client.post(f"/api/photos/{where}?name={name}", data=data, content_type="application/octet-stream", **base)


def test_only_who_was_let_in_sees_anything(served):
    fresh = served._servers[0].app.test_client()
    base = f"http://127.0.0.1:{served.port}"
    for path in ("/", "/angles", "/api/job", "/measure.json", "/picture/small/lens/a.jpg"):
        assert fresh.get(path, base_url=base).status_code == 401, path
    assert fresh.post("/enter", json={"token": "guess"}, base_url=base, headers={"Origin": base}).status_code == 403


def test_a_token_is_good_once(served):
    base = f"http://127.0.0.1:{served.port}"
    token = served.url().partition("#")[2]
    codes = [served._servers[0].app.test_client().post("/enter", json={"token": token}, base_url=base, headers={"Origin": base}).status_code
             for _ in range(2)]
    assert codes == [200, 403]


@pytest.mark.parametrize("base, headers, code", [
    ("http://evil.example", {}, 421), (None, {"Origin": "http://evil.example"}, 403), (None, {"Origin": ""}, 403),
    (None, {"X-Photoangle-Key": "x"}, 403), (None, {"Sec-Fetch-Site": "cross-site"}, 403)])
def test_wrong_host_origin_or_key_is_refused(client, base, headers, code):
    asked = {"base_url": base or client.base["base_url"], "headers": client.base["headers"] | headers}
    assert client.post("/api/job/stop", json={}, **asked).status_code == code
    assert client.get("/", **client.base).status_code == 200


@pytest.mark.parametrize("path", [
    "/photos/../etc", "/photos/front-left/..%2f..%2fetc", "/picture/small/front-left/droop/..%2f..%2fcar.toml", "/picture/small/lens/%2e%2e",
    "/photo/front-left/droop/car.toml", "/picture/huge/lens/a.jpg", "/photos/front-left/UPPER", "/photos/middle/droop",
    "/api/photos/front-left/results/measure.json", "/static/../app.py"])
def test_no_path_leads_anywhere_else(client, path):
    assert client.get(path, **client.base).status_code in (400, 404, 415), path


def test_what_is_no_picture_is_refused_and_not_kept(client, served):
    folder = served.work.root / "front-left" / "droop"
    for data, code in ((b"#!/bin/sh\nrm -rf /", 415), (b"", 411), (_jpeg(size=(20, 20)), 415), (_jpeg()[:300], 415)):
        answer = _send(client, data)
        assert answer.status_code == code and answer.get_json()["what"]
    assert [p for p in folder.iterdir()] == []


def test_too_much_is_refused_before_it_is_read(client, served):
    with socket.create_connection(("127.0.0.1", served.port)) as line:
        cookie = client.get_cookie("photoangle", domain="127.0.0.1").value
        head = client.base["headers"]
        line.sendall((f"POST /api/photos/front-left/droop?name=a.jpg HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nCookie: photoangle={cookie}\r\n"
                      f"Origin: {head['Origin']}\r\nX-Photoangle-Key: {head['X-Photoangle-Key']}\r\nContent-Length: {MOST_BYTES + 1}\r\n\r\n").encode())
        line.settimeout(10)
        assert b" 413 " in line.recv(200)
    assert client.get("/", **client.base).status_code == 200


def test_an_upload_without_a_length_or_broken_off_leaves_nothing(client, served):
    cookie = client.get_cookie("photoangle", domain="127.0.0.1").value
    head = client.base["headers"]
    folder = served.work.root / "front-left" / "droop"
    for extra, body in (("Transfer-Encoding: chunked", b"5\r\nhello\r\n"), ("Content-Length: 5000", _jpeg()[:100])):
        with socket.create_connection(("127.0.0.1", served.port)) as line:
            line.sendall((f"POST /api/photos/front-left/droop?name=a.jpg HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nCookie: photoangle={cookie}\r\n"
                          f"Origin: {head['Origin']}\r\nX-Photoangle-Key: {head['X-Photoangle-Key']}\r\n{extra}\r\n\r\n").encode() + body)
    end = time.time() + 5
    while any(folder.iterdir()) and time.time() < end:
        time.sleep(0.05)
    assert list(folder.iterdir()) == []
    assert client.get("/", **client.base).status_code == 200


def test_two_hundred_uploads_at_once(client, served):
    data, codes = _jpeg(), []

    def send(k):
        own = served._servers[0].app.test_client()
        own.set_cookie("photoangle", client.get_cookie("photoangle", domain="127.0.0.1").value, domain="127.0.0.1")
        codes.append(own.post(f"/api/photos/front-left/droop?name=a{k}.jpg", data=data, content_type="application/octet-stream",
                              **client.base).status_code)

    threads = [threading.Thread(target=send, args=(k,)) for k in range(200)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(codes) == 200 and set(codes) <= {200, 201, 503} and 201 in codes
    # the same content is kept once
    assert len(list((served.work.root / "front-left" / "droop").glob("*.jpg"))) == 1
    assert client.get("/", **client.base).status_code == 200


def test_names_and_metadata_run_nothing(client, served):
    answer = _send(client, _jpeg("<script>alert(1)</script>"), name="%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E.jpg")
    assert answer.status_code == 201
    name = answer.get_json()["name"]
    assert "<" not in name and name.endswith(".jpg")
    # a file that was copied in by hand keeps its name, and is shown as text
    (served.work.root / "front-left" / "droop" / NASTY).write_bytes(_jpeg(size=(500, 300)))
    page = client.get("/photo/front-left/droop/%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E.jpg", **client.base)
    assert page.status_code == 200 and "<img src=x" not in page.get_data(as_text=True)
    policy = page.headers["Content-Security-Policy"]
    assert "script-src 'self'" in policy and "unsafe" not in policy


def test_notes_keep_the_comments_and_refuse_nonsense(client, served):
    file = served.work.root / "car.toml"
    before = file.read_text()
    answer = client.post("/api/note", json={"path": ["front-left", "tape", "droop", "hub_to_arch"], "text": "14 7/8"}, **client.base)
    assert answer.get_json() == {"written": "14 7/8 in", "read": "377.8 mm"}
    after = file.read_text()
    assert 'hub_to_arch = "14 7/8 in"' in after and "# One file for the whole car" in after
    for path, text in ((["car", "kit"], "/etc/passwd"), (["front-left", "tape", "droop", "hub_to_arch"], "a lot"), (["x"], "1")):
        assert client.post("/api/note", json={"path": path, "text": text}, **client.base).status_code == 422
    assert file.read_text() == after != before


def test_a_session_outlives_the_program(tmp_path):
    first = Served(tmp_path / "car", 0, auto=False)
    token = first.url().partition("#")[2]
    session = first.sessions.exchange(token)
    again = Served(tmp_path / "car", 0, auto=False)
    assert again.sessions.good(session) and not again.sessions.good("else")
    kept = json.loads((tmp_path / "car" / ".photoangle-page.json").read_text())
    assert session not in json.dumps(kept)
    for page in (first, again):
        for server in page._servers:
            server.server_close()
