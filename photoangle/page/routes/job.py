"""The background job: start, stop, how far it is."""

from __future__ import annotations

from dataclasses import asdict

from flask import jsonify

from photoangle.page.way.next_steps import what_next
from photoangle.page.way.stations import way


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    @app.get("/api/job")
    def progress():
        work.notice()
        return jsonify(
            asdict(work.jobs.state)
            | {"answer": work.answer.number, "fresh": work.fresh(), "due": work.jobs.due,
               "next": asdict(what_next(work)), "way": [[how, done] for _, _, how, done in way(work)]})

    @app.post("/api/job/start")
    def start():
        work.jobs.start()
        return jsonify(asdict(work.jobs.state))

    @app.post("/api/job/stop")
    def stop():
        work.stop()
        return jsonify(asdict(work.jobs.state))
