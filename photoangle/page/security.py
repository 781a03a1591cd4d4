"""Who may ask: host, origin, session and key checked before anything else; headers on every answer."""

from __future__ import annotations

import hmac

from flask import abort, g, redirect, request

from photoangle.page.sessions import Sessions

COOKIE, KEY_HEADER = "photoangle", "X-Photoangle-Key"
MOST_WORDS_BYTES = 65_536
_OPEN = ("enter", "enter_with", "static")
POLICY = ("default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self';"
          " form-action 'none'; base-uri 'none'; frame-ancestors 'none'")
_HEADERS = {"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "X-Frame-Options": "DENY",
            "Cross-Origin-Resource-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin",
            "Permissions-Policy": "geolocation=(), microphone=(), payment=()"}


def guard(app, hosts, sessions):
    """Check every request to a Flask app.

    hosts: the "name:port" that this program answers to; sessions: Sessions.
    """
    hosts = frozenset(hosts)
    origins = frozenset(f"http://{h}" for h in hosts)

    @app.before_request
    def check():
        if request.host not in hosts:
            abort(421, "this address is not one that the page answers to")
        if request.method not in ("GET", "HEAD", "POST"):
            abort(405)
        changing = request.method == "POST"
        origin = request.headers.get("Origin")
        if (changing or origin is not None) and origin not in origins:
            abort(403, "asked from another site")
        if request.headers.get(
                "Sec-Fetch-Site",
                "same-origin") not in ("same-origin", "none") and request.endpoint not in _OPEN:
            abort(403, "asked from another site")
        if changing:
            _check_length()
        if request.endpoint in _OPEN:
            return None
        session = request.cookies.get(COOKIE, "")
        if not sessions.good(session):
            if not changing and "text/html" in request.headers.get("Accept", ""):
                return redirect("/enter")
            abort(401, "open the page with the address or the QR code that the program shows")
        g.key = Sessions.key(session)
        if changing and not hmac.compare_digest(request.headers.get(KEY_HEADER, ""), g.key):
            abort(403, "the page's key is missing: reload the page")
        return None

    @app.after_request
    def headers(answer):
        for name, value in _HEADERS.items():
            answer.headers.setdefault(name, value)
        answer.headers.setdefault("Content-Security-Policy", POLICY)
        if request.endpoint != "static":
            answer.headers.setdefault("Cache-Control", "no-store")
        return answer


def _check_length():
    """Every body says its length; what is not a photo is short."""
    if request.headers.get("Transfer-Encoding") or request.content_length is None:
        abort(411, "the length is not said")
    if request.endpoint not in ("receive_photo",
                                "receive_lens") and request.content_length > MOST_WORDS_BYTES:
        abort(413, "that is too long")
