"""The background job: start, stop, how far it is."""

from __future__ import annotations

from dataclasses import asdict

from flask import jsonify

from photoangle.page.steps import what_next


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    @app.get("/api/job")
    def progress():
        return jsonify(
            asdict(work.jobs.state)
            | {"answer": work.answer.number, "fresh": work.fresh(), "next": asdict(what_next(work))})

    @app.post("/api/job/start")
    def start():
        work.jobs.start()
        return jsonify(asdict(work.jobs.state))

    @app.post("/api/job/stop")
    def stop():
        work.jobs.stop()
        return jsonify(asdict(work.jobs.state))
