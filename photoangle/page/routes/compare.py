"""Before and after."""

from __future__ import annotations

import threading

from flask import Response, abort, jsonify, render_template, request

from photoangle.page.answers import finding_rows
from photoangle.page.sides import change_rows, compared, two_pictures


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    kept, lock = {}, threading.Lock()

    def names(answer):
        return [f"{s.corner}/{s.state}" for s in answer.measurement.states
                if s.state != "ride"] if answer.measurement else []

    def chosen(answer):
        there = names(answer)
        before, after = request.args.get("before", ""), request.args.get("after", "")
        if not before and not after:
            fitted = next((n for n in there if "/fitted" in n), None)
            after = fitted or (there[-1] if there else "")
            before = next((n for n in there if fitted and n == fitted.replace("/fitted", "/set")),
                          there[0] if there else "")
        if before not in there or after not in there or before == after:
            return None
        return before, after

    @app.get("/compare")
    def compare():
        answer = work.answer
        pair, rows, findings = chosen(answer), None, []
        if pair is not None:
            comparison, units = compared(answer.measurement, *pair), answer.car.units
            rows, findings = change_rows(comparison, units), finding_rows(comparison.findings, units)
        return render_template("compare.html",
                               here="/compare",
                               names=names(answer),
                               pair=pair,
                               rows=rows,
                               findings=findings,
                               number=answer.number)

    @app.get("/api/compare")
    def compare_json():
        answer = work.answer
        pair = chosen(answer) or abort(404, "these two cannot be compared")
        comparison = compared(answer.measurement, *pair)
        return jsonify(before=pair[0],
                       after=pair[1],
                       number=answer.number,
                       figures=[{
                           "name": c.figure.name, "datum": c.figure.datum, "value": round(c.figure.value, 5),
                           "u": round(c.figure.u, 6), "verdict": c.verdict
                       } for c in comparison.changes])

    @app.get("/compare/<which>.jpg")
    def side(which):
        answer = work.answer
        pair = chosen(answer) or abort(404, "these two cannot be compared")
        if which not in ("before", "after"):
            abort(404)
        key = (*pair, answer.number)
        with lock:
            if key not in kept:
                kept.clear()
                kept[key] = two_pictures(compared(answer.measurement, *pair))
            made = kept[key]
        if isinstance(made, str):
            abort(404, made)
        return Response(made[which == "after"], mimetype="image/jpeg")
