"""Tape readings and the other notes, written into car.toml as they are typed."""

from __future__ import annotations

from flask import jsonify, request

from photoangle.page.notes import NotTaken, read_as, set_value


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    @app.post("/api/note")
    def note():
        body = request.get_json(silent=True)
        path = body.get("path") if isinstance(body, dict) else None
        if not isinstance(path, list) or not all(isinstance(k, str) for k in path):
            return jsonify(what="it is not said what to write", do="reload the page"), 400
        try:
            written = set_value(work.root, tuple(path), body.get("text", ""))
        except NotTaken as error:
            return jsonify(what=error.what, do=error.do), 422
        work.changed()
        return jsonify(written=written, read=read_as(tuple(path), written, work.car()[0].units))
