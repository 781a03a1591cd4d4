"""Markers put right by hand."""

from __future__ import annotations

import math

import numpy as np
from flask import abort, jsonify, request

from calib.images.photo import read_photo, read_upright
from photoangle.carfile.corrections import CorrectionsError
from photoangle.carfile.folder import load_corrections, state_folders
from photoangle.detection.by_hand import HAND_PX
from photoangle.detection.dots import dot_under
from photoangle.page.markers import NotDone, correct, correct_dot, found_under, ids_for, seen, sensed, shown
from photoangle.page.names import listed_photo


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    def lens_of(look):
        return next((p.lens for p in work.profiles() if p.match(look.sighting.camera) is None), None)

    @app.post("/api/markers/<corner>/<state>/<name>")
    def put_right(corner, state, name):
        where = f"{corner}/{state}"
        path = listed_photo(work.root, where, name)
        body = request.get_json(silent=True)
        if isinstance(body, dict) and body.get("what") in ("dot", "no-dot"):
            return put_dot(where, path, body)
        if not isinstance(body, dict) or not isinstance(body.get("id"), int) or isinstance(
                body.get("id"), bool):
            abort(400, "it is not said which marker")
        corners, states = None, (where,)
        if body.get("what") == "place":
            corners = sensed(work.look(where, path), _points(body.get("corners"), 4))
        if body.get("everywhere") is True:
            states = tuple(f"{c}/{s}" for c, s, _, _ in state_folders(work.root, corner))
        try:
            correct(work.root, work.kit(), f"{where}/{path.name}", body["id"], body.get("what"),
                    body.get("role"), corners, states)
        except (NotDone, CorrectionsError) as error:
            return jsonify(what=error.what, do=error.do), 422
        work.changed()
        return described(where, path)

    def put_dot(where, path, body):
        at, sigma = None, body.get("sigma", HAND_PX)
        if not isinstance(sigma, (int, float)) or isinstance(sigma, bool) or not 0.1 <= sigma <= 10:
            abort(400, "how well it is known is not said")
        if body["what"] == "dot":
            at = sensed(work.look(where, path), _points([body.get("at")], 1))[0]
        try:
            correct_dot(work.root, f"{where}/{path.name}", str(body.get("role")), at, sigma)
        except (NotDone, CorrectionsError) as error:
            return jsonify(what=error.what, do=error.do), 422
        work.changed()
        return described(where, path)

    def described(where, path):
        name, corrections = f"{where}/{path.name}", load_corrections(work.root)
        return jsonify(
            seen(work.look(where, path), work.kit(), corrections.of(name), corrections.dots.get(name, {})))

    @app.post("/api/under/<corner>/<state>/<name>")
    def under(corner, state, name):
        where = f"{corner}/{state}"
        path = listed_photo(work.root, where, name)
        body = request.get_json(silent=True)
        role = body.get("role") if isinstance(body, dict) else None
        if not isinstance(role, str) or not work.kit().ids_of_role(role):
            abort(400, "it is not said which marker")
        look = work.look(where, path)
        at = sensed(look, _points([body.get("at")], 1))[0]
        if body.get("dot") is True:
            with work.sighting:
                found = dot_under(read_upright(path, most_px=10**6)[0], at)
            centre, sigma = found or (at, HAND_PX)
            return jsonify(at=np.round(shown(look, centre[None])[0], 2).tolist(),
                           sigma=sigma,
                           refined=found is not None)
        ids = ids_for(work.kit(), role, work.looks_at(where))
        with work.sighting:
            tag_id, corners, refined = found_under(
                read_photo(path).grey, work.kit(), look, ids, at, lens_of(look))
        return jsonify(id=tag_id, corners=np.round(shown(look, corners), 2).tolist(), refined=refined)


def _points(value, count):
    good = isinstance(value, list) and len(value) == count and all(
        isinstance(p, list) and len(p) == 2 and all(
            isinstance(v, (int, float)) and not isinstance(v, bool) and math.isfinite(v) and abs(v) < 1e5
            for v in p) for p in value)
    if not good:
        abort(400, "the place is not said")
    return np.array(value, float)
