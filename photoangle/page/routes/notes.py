"""Tape readings and the other notes, written into car.toml as they are typed."""

from __future__ import annotations

from flask import jsonify, request

from calib.lengths import LengthError, parse_length
from photoangle.page.notes import NotTaken, set_value


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
        return jsonify(written=written, read=_read(written, work.car()[0].units))


def _read(text, units):
    """What a length was read as, or nothing."""
    try:
        return f"{parse_length(text, units):.1f} mm" if text else ""
    except LengthError:
        return ""
