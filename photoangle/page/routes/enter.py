"""Coming in: a one-time token for a session."""

from __future__ import annotations

from flask import abort, jsonify, render_template, request

from photoangle.page.security import COOKIE
from photoangle.page.sessions import SESSION_S


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    @app.get("/enter")
    def enter():
        # the token stands behind the address's #, which no browser sends or logs: the page's script posts it
        return render_template("enter.html")

    @app.post("/enter")
    def enter_with():
        body = request.get_json(silent=True)
        session = sessions.exchange(body.get("token", "")) if isinstance(body, dict) else None
        if session is None:
            abort(403, "this address was used already or is too old")
        answer = jsonify(good=True)
        answer.set_cookie(COOKIE, session, max_age=SESSION_S, httponly=True, samesite="Strict", path="/")
        return answer

    @app.post("/api/phone")
    def phone():
        if phone_url is None:
            abort(404, "start the program with --phone to let a phone in")
        import segno

        url = phone_url()
        return jsonify(url=url, squares=[[int(b) for b in row] for row in segno.make(url, error="m").matrix])
