"""What came out: a result screen a corner, the link screen, the report.

Every screen with figures carries the number of the answer it shows; what is written is never an old answer.
"""

from __future__ import annotations

import threading

from flask import Response, abort, render_template, request

from calib.files import write_whole
from calib.images.photo import PhotoError
from photoangle.core.states import CORNERS
from photoangle.page.answers import corner_result, finding_rows, link_row
from photoangle.page.best_photo import best_picture
from photoangle.page.names import checked_corner

REPORT_POLICY = "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    pictures, reports, lock = {}, {}, threading.Lock()

    def corners_of(answer):
        measured = {s.corner for s in answer.measurement.states} if answer.measurement else set()
        linked = {a.corner for a in answer.answers}
        return [c for c in CORNERS if c in measured | linked]

    def chosen(corner, there):
        return checked_corner(corner) if corner is not None else there[0] if there else None

    @app.get("/angles")
    @app.get("/angles/<corner>")
    def angles(corner=None):
        answer, working = work.answer, work.jobs.state.running or work.jobs.due
        there = corners_of(answer)
        corner = chosen(corner, there)
        findings = answer.measurement.report.findings if answer.measurement else []
        return render_template("angles.html", here="/angles", corner=corner, corners=there, working=working,
                               number=answer.number, result=corner_result(answer, corner),
                               findings=finding_rows(findings, answer.car.units))

    @app.get("/result/<corner>.jpg")
    def result_picture(corner):
        answer, corner = work.answer, checked_corner(corner)
        if request.args.get("n", str(answer.number)) != str(answer.number):
            abort(404, "this answer is no more")
        key = corner, answer.number
        with lock:
            if key not in pictures:
                for old in [k for k in pictures if k[1] != answer.number]:
                    del pictures[old]
                try:
                    pictures[key] = best_picture(answer.measurement, corner) if answer.measurement else None
                except (PhotoError, OSError):  # it was there a moment ago
                    pictures[key] = None
            made = pictures[key]
        return Response(made, mimetype="image/jpeg") if made else abort(404, "there is no photo to show")

    @app.get("/link")
    @app.get("/link/<corner>")
    def link(corner=None):
        answer = work.answer
        there = [a.corner for a in answer.answers]
        corner = chosen(corner, there)
        row, axles = link_row(answer, corner)
        return render_template("link.html", here="/link", corner=corner, corners=there, row=row, axles=axles,
                               number=answer.number, units=answer.car.units)

    @app.get("/report")
    def report():
        answer = work.answer
        return render_template("report.html", here="/report", number=answer.number,
                               there=answer.measurement is not None)

    @app.get("/report.html")
    def report_page():
        from photoangle.report.page import report_html

        answer = work.answer
        if answer.measurement is None:
            abort(404, "there is no report yet")
        with lock:
            if answer.number not in reports:
                reports.clear()
                if not work.fresh():
                    abort(409, "the figures are older than the photos and readings: the report is made of new"
                          " ones, as soon as they are worked out")
                reports[answer.number] = report_html(answer.measurement, answer.answers, answer.axles,
                                                     answer.steps, answer.report)
            text = reports[answer.number]
            if not (work.fresh() and work.answer is answer):
                abort(409, "something was changed meanwhile: the report is made of new figures, as soon as"
                      " they are worked out")
            _keep_report(work.root / "results", text)
        return Response(text, mimetype="text/html", headers={"Content-Security-Policy": REPORT_POLICY})


def _keep_report(results, text):
    """The report beside the other results, where the command writes it; a folder that cannot be written still
    shows it."""
    try:
        results.mkdir(exist_ok=True)
        write_whole(results / "report.html", text)
    except OSError:
        pass
