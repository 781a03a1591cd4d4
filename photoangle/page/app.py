"""The Flask application: everything put together."""

from __future__ import annotations

from flask import Flask, g, jsonify, render_template, request
from werkzeug.exceptions import HTTPException

from calib.errors import InputError
from photoangle.core.cautions import CAUTIONS
from photoangle.output.plain import plain_value
from photoangle.page.routes import angles as routes_angles
from photoangle.page.routes import compare as routes_compare
from photoangle.page.routes import enter as routes_enter
from photoangle.page.routes import job as routes_job
from photoangle.page.routes import link as routes_link
from photoangle.page.routes import markers as routes_markers
from photoangle.page.routes import notes as routes_notes
from photoangle.page.routes import pages as routes_pages
from photoangle.page.routes import photos as routes_photos
from photoangle.page.security import guard
from photoangle.page.uploads import MOST_BYTES
from photoangle.page.way.next_steps import what_next
from photoangle.page.way.stations import way


def make_app(work, hosts, sessions, phone_url=None):
    """The application over a Work.

    hosts: "name:port" that it answers to; sessions: Sessions; phone_url: function that makes a fresh address
    for a phone, or None where no phone is let in.  Returns Flask.
    """
    app = Flask("photoangle.page")
    app.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.finalize = plain_value
    guard(app, hosts, sessions)
    for routes in (routes_enter, routes_pages, routes_angles, routes_photos, routes_job, routes_notes,
                   routes_link, routes_markers, routes_compare):
        routes.add(app, work, sessions, phone_url)

    @app.context_processor
    def common():
        if not getattr(g, "key", None):
            return {
                "key": "", "stations": [], "fresh": True, "what_next": None, "car_name": "",
                "cautions": CAUTIONS, "folder": ""
            }
        return {
            "key": g.key, "folder": sessions.folder, "cautions": CAUTIONS, "stations": way(work),
            "fresh": work.fresh(), "what_next": what_next(work),
            "car_name": work.car()[0].name or work.root.name
        }

    @app.errorhandler(HTTPException)
    def refused(error):
        if request.path.startswith("/api/") or request.method == "POST":
            return jsonify(what=error.description, do=""), error.code
        if getattr(g, "key", None):
            return render_template("refused.html", what=error.description), error.code
        return render_template("shut.html", what=error.description), error.code

    @app.errorhandler(Exception)
    def failed(error):
        if isinstance(error, InputError):
            what, do, code = f"{error.where}: {error.what}", error.do, 409
        else:
            app.logger.exception("page")
            what, do, code = "something went wrong inside", "the terminal says what", 500
        if request.path.startswith("/api/"):
            return jsonify(what=what, do=do), code
        return render_template("refused.html" if getattr(g, "key", None) else "shut.html",
                               what=f"{what}; {do}"), code

    return app
