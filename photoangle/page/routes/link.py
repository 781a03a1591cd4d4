"""The link tried out: quick answers while a slider moves, the full one when it rests."""

from __future__ import annotations

import math

from flask import abort, jsonify, request

from photoangle.core.findings import Refusal
from photoangle.page.names import checked_corner
from photoangle.page.slider import MOST_CHANGE_MM, MOST_LOWERED_MM, tried, worked_out


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    def asked(corner):
        answer = next((a for a in work.answer.answers if a.corner == checked_corner(corner)), None)
        if answer is None or answer.base is None or isinstance(answer.advice, Refusal):
            abort(404, "there is no answer for this corner yet")
        return answer, _number("change", MOST_CHANGE_MM), _number("lowered", MOST_LOWERED_MM)

    @app.get("/api/link/<corner>")
    def try_link(corner):
        answer, change, lowered = asked(corner)
        out = tried(answer, work.car()[0].corner(corner), change, lowered)
        figure = answer.advice.figures.get("link_change")
        return jsonify(out
                       | {"advised_mm": None if figure is None else round(figure.value, 1), "corner": corner})

    @app.get("/api/link/<corner>/full")
    def try_link_in_full(corner):
        _, change, lowered = asked(corner)
        if work.answer.measurement is None:
            abort(404, "by tape alone there is only the quick answer")
        with work.sighting:
            out = worked_out(work.answer.measurement, corner, change, lowered)
        return jsonify(out) if out else abort(404, "there is no answer for this corner")


def _number(name, most):
    try:
        value = float(request.args.get(name, "0"))
    except ValueError:
        abort(400, f"{name} is no number")
    if not math.isfinite(value) or abs(value) > most:
        abort(400, f"{name} is out of range")
    return round(value, 1)
