"""Attacks on the page: refused or harmless, and the page still answers."""

import contextlib
import socket
import threading
import time

import pytest

from photoangle.page import uploads
from photoangle.page.serve import Served
from tests.page.conftest import HOST, Caller, picture

BASE = {"base_url": f"http://{HOST}"}


def files(root):
    return sorted(str(p.relative_to(root)) for p in root.rglob("*") if p.is_file() and p.suffix != ".kept")


def test_a_wrong_host_is_refused(caller):
    assert caller.http.get("/", base_url="http://evil.example:8737").status_code == 421
    assert caller.http.get("/", base_url="http://127.0.0.1:9999").status_code == 421
    assert caller.get("/").status_code == 200


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:8737", "http://127.0.0.1:87370", "", None])
def test_a_wrong_origin_changes_nothing(empty, origin):
    root, caller = empty
    before = (root / "car.toml").read_text()
    headers = {k: v
               for k, v in caller.headers.items()
               if k != "Origin"} | ({"Origin": origin} if origin is not None else {})
    answer = caller.http.post("/api/note",
                              json={"path": ["car", "name"], "text": "x"},
                              headers=headers,
                              **BASE)
    assert answer.status_code == 403 and (root / "car.toml").read_text() == before
    assert caller.http.get("/", headers={"Sec-Fetch-Site": "cross-site"}, **BASE).status_code == 403


def test_without_a_session_nothing_is_shown_or_taken(page_app, page_car):
    stranger = page_app[0].test_client()
    for path in ("/", "/api/job", "/kit.pdf", "/measure.json", "/picture/small/front-left/set/IMG_3141.jpg",
                 "/api/lens", "/report"):
        assert stranger.get(path, **BASE).status_code == 401, path
    before = files(page_car[0])
    answer = stranger.post("/api/photos/front-left/set?name=a.jpg",
                           data=picture(),
                           headers={"Origin": f"http://{HOST}"},
                           **BASE)
    assert answer.status_code == 401 and files(page_car[0]) == before


def test_a_change_without_the_key_is_refused(empty):
    root, caller = empty
    for key in ("", "x", "0" * 64):
        answer = caller.http.post("/api/note", json={"path": ["car", "name"], "text": "x"},
                                  headers={"Origin": f"http://{HOST}", "X-Photoangle-Key": key}, **BASE)
        assert answer.status_code == 403
    assert '"x"' not in (root / "car.toml").read_text()


def test_a_token_is_good_once(page_app):
    app, sessions = page_app
    token, client = sessions.token(), app.test_client()
    headers = {"Origin": f"http://{HOST}"}
    first = client.post("/enter", json={"token": token}, headers=headers, **BASE)
    assert first.status_code == 200 and "HttpOnly" in first.headers[
        "Set-Cookie"] and "SameSite=Strict" in first.headers["Set-Cookie"]
    assert client.post("/enter", json={"token": token}, headers=headers, **BASE).status_code == 403
    for bad in ("", None, 7, "guess", "x" * 40, {}):
        assert client.post("/enter", json={"token": bad}, headers=headers, **BASE).status_code == 403


@pytest.mark.parametrize("path", [
    "/photos/../lens", "/photos/front-left/..", "/photos/front-left/..%2f..",
    "/picture/small/front-left/set/..%2f..%2fcar.toml", "/picture/small/front-left/set/car.toml",
    "/picture/small/front-left/..%2f..%2fetc/passwd", "/picture/small/lens/profile.json",
    "/picture/small/lens/%2e%2e%2fcar.toml", "/picture/huge/lens/IMG_3101.jpg",
    "/photo/front-left/SET/IMG_3141.jpg", "/api/photos/front-left/set%00", "/api/link/middle",
    "/static/../app.py", "/static/..%2fapp.py", "/compare/x.jpg", "/photos/back-left/set", "/photos/../etc",
    "/photos/front-left/..%2f..%2fetc", "/picture/small/lens/%2e%2e", "/photo/front-left/droop/car.toml",
    "/picture/huge/lens/a.jpg", "/photos/front-left/UPPER", "/photos/middle/droop",
    "/api/photos/front-left/results/measure.json"
])
def test_path_tricks_find_nothing(caller, path):
    assert caller.get(path).status_code in (404, 400), path


def test_names_of_uploads_are_our_own(empty):
    root, caller = empty
    for k, name in enumerate(("../../evil.jpg", "/etc/passwd", "..", "<script>alert(1)</script>.jpg",
                              "a\x00b.png", ".hidden.jpg", "x" * 500 + ".heic")):
        answer = caller.post("/api/photos/front-left/droop",
                             query_string={"name": name},
                             data=picture(seed=k))
        assert answer.status_code == 201, (name, answer.json)
        assert set(answer.json["name"]) <= set(
            "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-."), name
    assert all(
        f.startswith("front-left/droop/") for f in files(root)
        if f.rpartition(".")[2] in ("jpg", "png", "heic"))
    assert not [p for p in root.parent.iterdir() if p != root]


def test_script_in_names_and_metadata_stays_text(empty):
    root, caller = empty
    (root / "front-left" / "droop" / "<img src=x onerror=alert(1)>.jpg").write_bytes(
        picture("<script>alert(2)</script>"))
    caller.post("/api/note", json={"path": ["car", "name"], "text": "<script>alert(3)</script>"})
    for path in ("/", "/photos/front-left/droop",
                 "/photo/front-left/droop/%3Cimg%20src=x%20onerror=alert(1)%3E.jpg", "/tape"):
        answer = caller.get(path)
        assert answer.status_code == 200
        assert b"<script>alert" not in answer.data and b"<img src=x" not in answer.data
        policy = answer.headers["Content-Security-Policy"]
        assert (
            "script-src 'self'" in policy
            and "unsafe" not in policy
            and b"style=" not in answer.data
            and b" onclick" not in answer.data
        )
    look = caller.get("/api/photos/front-left/droop/%3Cimg%20src=x%20onerror=alert(1)%3E.jpg")
    assert look.content_type == "application/json" and look.headers["X-Content-Type-Options"] == "nosniff"


def test_what_is_no_photo_or_too_large_leaves_nothing(empty, monkeypatch):
    root, caller = empty
    before = files(root)
    for data, code in ((b"", 411), (b"no picture", 415), (b"#!/bin/sh\nrm -rf /", 415),
                       (picture()[:3000], 415), (picture()[:300], 415), (picture(side=100),
                                                                         415), (picture(side=20), 415)):
        answer = caller.post("/api/photos/front-left/set?name=a.jpg", data=data)
        assert answer.status_code == code and answer.json["what"]
    with monkeypatch.context() as less:
        less.setattr(uploads, "MOST_BYTES", 5000)
        assert caller.post("/api/photos/front-left/set?name=a.jpg", data=picture()).status_code == 413
    assert caller.post("/api/note", data=b"x" * 70_000).status_code == 413
    monkeypatch.setattr(uploads, "MOST_PHOTOS", 2)
    codes = [
        caller.post("/api/photos/front-left/set?name=a.jpg", data=picture(seed=k)).status_code
        for k in range(4)
    ]
    assert codes == [201, 201, 409, 409]
    assert not [f for f in files(root) if f.endswith(".part")] and len(files(root)) == len(before) + 2


def test_the_same_photo_again_is_kept_once(empty):
    root, caller = empty
    data = picture()
    assert [caller.post("/api/lens?name=a.jpg", data=data).status_code for _ in range(3)] == [201, 200, 200]
    assert len(list((root / "lens").glob("*.jpg"))) == 1


def test_notes_keep_the_comments_and_refuse_nonsense(empty):
    root, caller = empty
    before = (root / "car.toml").read_text()
    answer = caller.post("/api/note",
                         json={"path": ["front-left", "tape", "droop", "hub_to_arch"], "text": "14 7/8"})
    assert answer.json == {"written": "14 7/8 in", "read": "377.8 mm"}
    after = (root / "car.toml").read_text()
    assert 'hub_to_arch = "14 7/8 in"' in after and "# What rule, tape and level say" in after
    for path, text in ((["car", "kit"], "/etc/passwd"), (["front-left", "tape", "droop",
                                                          "hub_to_arch"], "a lot"), (["x"], "1")):
        assert caller.post("/api/note", json={"path": path, "text": text}).status_code == 422
    assert (root / "car.toml").read_text() == after != before


@pytest.fixture
def served(tmp_path, monkeypatch):
    """The real server over an empty folder, with short patience; (Served, Caller)."""
    monkeypatch.setattr("photoangle.page.serve.IDLE_S", 1.5)
    monkeypatch.setattr("photoangle.page.serve.HEAD_S", 1.5)
    server = Served(tmp_path / "car", 0, auto=False)
    server.start()
    token = server.sessions.token()
    session = server.sessions.exchange(token)
    yield server, session
    server.stop()


def raw(server, session, length, body, path="/api/lens?name=a.jpg", more="", hang_up=False):
    """One upload over a socket; returns the status, or 0 where the connection was closed.  hang_up: do not
    wait for an answer."""
    with socket.create_connection(("127.0.0.1", server.port), 20) as s:
        host = f"127.0.0.1:{server.port}"
        s.sendall(
            (
                f"POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie:"
                f" photoangle={session}\r\n"
                f"X-Photoangle-Key: {server.sessions.key(session)}\r\n{more}"
                + (f"Content-Length: {length}\r\n" if length is not None else "")
                + "\r\n"
            ).encode()
            + body
        )
        if hang_up:
            return 0
        try:
            line = s.recv(100).split(b" ")
        except OSError:
            return 0
        return int(line[1]) if len(line) > 1 else 0


def test_a_never_ending_upload_is_given_up(served):
    server, session = served
    began = time.monotonic()
    code = raw(server, session, 5_000_000, picture()[:1000])
    assert code in (0, 400, 408, 507) and time.monotonic() - began < 10
    assert raw(server, session, 999_999_999_999, b"x") == raw(server, session, uploads.MOST_BYTES + 1,
                                                              b"") == 413
    # one that does not say how long it is: given up where it does not end, else looked at like any other
    more = "Transfer-Encoding: chunked\r\n"
    assert raw(server, session, None, b"5\r\nhello\r\n", more=more) in (0, 400)
    assert raw(server, session, None, b"5\r\nhello\r\n0\r\n\r\n", more=more) == 415
    # and one that breaks off leaves nothing
    raw(server, session, 5000, picture()[:100], hang_up=True)
    end = time.monotonic() + 5
    while files(server.work.root / "lens") and time.monotonic() < end:
        time.sleep(0.02)
    assert files(server.work.root / "lens") == []
    data = picture()
    assert raw(server, session, len(data), data) == 201


def test_half_open_connections_do_not_stop_the_page(served):
    """Of ten times as many as there is room for, some silent and some trickling, none keeps others out."""
    import http.client

    server, _ = served
    opened = []
    try:
        for k in range(1000):
            s = socket.socket()
            s.setblocking(False)
            s.connect_ex(("127.0.0.1", server.port))
            opened.append(s)
            if k % 2:
                with contextlib.suppress(OSError):
                    s.send(b"GET / HTTP/1.1\r\nHost")
        began = time.monotonic()
        asked = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
        asked.request("GET", "/enter")
        assert asked.getresponse().status == 200 and time.monotonic() - began < 20  # s
        asked.close()
    finally:
        for s in opened:
            s.close()


def test_a_head_that_trickles_in_is_given_up(served):
    server, _ = served
    began = time.monotonic()
    with socket.create_connection(("127.0.0.1", server.port), 20) as s, contextlib.suppress(OSError):
        s.sendall(b"GET / HTTP/1.1\r\n")
        while time.monotonic() - began < 15:
            s.sendall(b"X-A: b\r\n")
            time.sleep(0.2)
    assert 1.4 < time.monotonic() - began < 6  # s


def test_two_hundred_uploads_at_once_leave_the_page_answering(served):
    server, session = served
    data, codes = picture(), []
    threads = [
        threading.Thread(target=lambda k=k: codes.append(
            raw(server, session, len(data), data, f"/api/lens?name=a{k}.jpg"))) for k in range(200)
    ]
    for t in threads:
        t.start()
    for t in threads:
        t.join(60)
    assert len(codes) == 200 and set(codes) <= {0, 200, 201, 503} and codes.count(201) == 1
    assert len(list((server.work.root / "lens").glob("*.jpg"))) == 1 and not list(
        (server.work.root / "lens").glob(".coming*"))
    assert raw(server, session, len(data), data) == 200


def test_a_session_outlives_the_program_and_not_its_time(tmp_path):
    from photoangle.page.sessions import SESSION_S, TOKEN_S, Sessions

    clock = [1000.0]
    first = Sessions(tmp_path, lambda: clock[0])
    session, late = first.exchange(first.token()), first.token()
    again = Sessions(tmp_path, lambda: clock[0])
    assert again.good(session) and not again.good("else") and again.folder == first.folder
    assert session not in (tmp_path / ".photoangle-page.json").read_text()
    clock[0] += TOKEN_S + 1
    assert first.exchange(late) is None and first.good(session)
    clock[0] += SESSION_S
    assert not first.good(session)


def test_callers_are_strangers_to_each_other(page_app):
    a, b = Caller(*page_app), Caller(*page_app)
    answer = a.http.post("/api/job/stop", json={}, headers=b.headers, **BASE)
    assert answer.status_code == 403
