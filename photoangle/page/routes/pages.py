"""The pages of the way."""

from __future__ import annotations

import tempfile
from pathlib import Path

from flask import Response, abort, render_template, request, send_file

from calib.files import toml_text
from photoangle.carfile.folder import state_folders
from photoangle.core.states import CORNERS
from photoangle.figures.measurands import TITLES
from photoangle.page.markers import role_choices
from photoangle.page.names import STATES, checked_corner, checked_state, listed_photo
from photoangle.page.notes import fields_below, parts_of
from photoangle.page.way.next_steps import after_that

TAPED = ("hub_to_arch", "bar_arm_length", "control_arm_length", "link_length")
STATE_WORDS = {
    "droop": "on stands, wheels off, hanging", "set": "on stands, both knuckles jacked to ride height",
    "ride": "on its wheels, settled", "fitted": "as set, with the new link"
}


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    @app.get("/")
    def home():
        return render_template("home.html", phone=phone_url is not None, after=after_that(work), **_car(work))

    @app.get("/kit")
    def kit():
        return render_template("kit.html", here="/kit", car=work.car()[0])

    @app.get("/kit.pdf")
    def kit_pdf():
        from photoangle.output.kit_pdf import write_kit_pdf

        paper = {"a4": "A4", "letter": "Letter"}.get(request.args.get("paper", "a4").lower()) or abort(404)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "kit.pdf"
            write_kit_pdf(path, paper)
            return Response(
                path.read_bytes(),
                mimetype="application/pdf",
                headers={"Content-Disposition": f'attachment; filename="photoangle-kit-{paper}.pdf"'})

    @app.get("/lens")
    def lens():
        return render_template("lens.html", here="/lens", profiles=work.profiles(), lenses=work.lenses)

    @app.get("/photos")
    def photos():
        return render_template("choose.html", here="/photos", **_car(work))

    @app.get("/photos/<corner>/<state>")
    def state(corner, state):
        checked_corner(corner), checked_state(state)
        return render_template("state.html",
                               here="/photos",
                               corner=corner,
                               state=state,
                               words=STATE_WORDS.get(state, ""),
                               states=STATES,
                               **_tape(work, corner, (state,)))

    @app.get("/photo/<corner>/<state>/<name>")
    def one_photo(corner, state, name):
        path = listed_photo(work.root, f"{corner}/{state}", name)
        return render_template("photo.html",
                               here="/photos",
                               corner=corner,
                               state=state,
                               name=path.name,
                               roles=role_choices())

    @app.get("/tape")
    @app.get("/tape/<corner>")
    def tape(corner="front-left"):
        checked_corner(corner)
        car, trouble = work.car()
        return render_template("tape.html",
                               here="/tape",
                               corner=corner,
                               corners=CORNERS,
                               trouble=trouble,
                               raw=_raw(work),
                               parts=parts_of(corner, car.units),
                               words=STATE_WORDS,
                               **_tape(work, corner, STATES),
                               whole=fields_below(("car",), car.units) + fields_below(
                                   ("level",), car.units))

    @app.get("/measure.json")
    def figures():
        path = work.root / "results" / "measure.json"
        return send_file(
            path.resolve(),
            mimetype="application/json") if path.is_file() and not path.is_symlink() else abort(404)


def _car(work):
    counts = {f"{c}/{s}": len(f) for c, s, _, f in state_folders(work.root)}
    return {"corners": CORNERS, "states": STATES, "words": STATE_WORDS, "counts": counts,
            "others": sorted({s for c in counts for s in [c.split("/")[1]] if s not in STATES})}


def _raw(work):
    import tomllib

    if work.car()[1] is not None:
        return {}
    try:
        return tomllib.loads(toml_text(work.root / "car.toml"))
    except (OSError, ValueError):
        return {}


def _tape(work, corner, states):
    section = _raw(work).get(corner, {})
    taped = section.get("tape", {}) if isinstance(section, dict) else {}
    return {"taped": [(n, TITLES[n]) for n in TAPED], "titles": TITLES,
            "readings": {s: taped.get(s, {}) if isinstance(taped, dict) else {} for s in states}}
