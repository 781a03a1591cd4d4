"""The link tried out: the travel worked out beforehand while a slider moves, the full answer where it
rests."""

from __future__ import annotations

import math
from dataclasses import asdict

from flask import abort, jsonify, request

from photoangle.core.findings import Refusal
from photoangle.output.link_table import EXTREMES
from photoangle.page.link_screen.grid import Grids, changes_of, heights_of, stops_of
from photoangle.page.link_screen.slider import MOST_CHANGE_MM, MOST_LOWERED_MM, InFull, Overtaken
from photoangle.page.names import checked_corner


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    grids, in_full = Grids(), InFull()

    def asked(corner):
        """(the page's Answer, the corner's, its notes, the car's units)."""
        whole = work.answer
        answer = next((a for a in whole.answers if a.corner == checked_corner(corner)), None)
        if answer is None or answer.base is None or isinstance(answer.advice, Refusal):
            abort(404, "there is no answer for this corner yet")
        car = whole.car
        return whole, answer, car.corner(corner), car.units

    @app.get("/api/link/<corner>")
    def slider(corner):
        whole, answer, notes, units = asked(corner)
        stops, change = stops_of(answer, notes, units), round(answer.advice.change_mm, 3)
        wanted = answer.wanted
        present = next(k for k, s in enumerate(stops) if not s.change_mm)
        return jsonify(number=whole.number, corner=corner, units=units, present=present,
                       advised=next((k for k, s in enumerate(stops) if s.change_mm == change), present),
                       stops=[asdict(s) for s in stops], changes_mm=changes_of(stops),
                       heights_mm=heights_of(answer.travel), words=dict(EXTREMES),
                       wanted={"low": wanted.angle_deg - wanted.within_deg,
                               "high": wanted.angle_deg + wanted.within_deg, "square": wanted.square})

    @app.get("/api/link/<corner>/row")
    def row(corner):
        whole, answer, notes, units = asked(corner)
        lowered = _number("lowered", MOST_LOWERED_MM)
        if lowered not in heights_of(answer.travel):
            abort(404, "this ride height is not worked out beforehand")
        return jsonify(number=whole.number, lowered_mm=lowered,
                       cells=grids.row(answer, whole.number, notes, units, lowered))

    @app.get("/api/link/<corner>/full")
    def try_link_in_full(corner):
        whole, _, _, _ = asked(corner)
        change, lowered = _number("change", MOST_CHANGE_MM), _number("lowered", MOST_LOWERED_MM)
        try:
            out = in_full.answer(whole, whole.car, corner, change, lowered)
        except Overtaken:
            abort(409, "another length was asked for meanwhile")
        return jsonify(out | {"number": whole.number}) if out else abort(
            404, "there is no answer for this corner")


def _number(name, most):
    try:
        value = float(request.args.get(name, "0"))
    except ValueError:
        abort(400, f"{name} is no number")
    if not math.isfinite(value) or abs(value) > most:
        abort(400, f"{name} is out of range")
    return round(value, 3)
