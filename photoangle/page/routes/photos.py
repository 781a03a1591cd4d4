"""Photos in, thumbnails and what was found out."""

from __future__ import annotations

import threading
from collections import OrderedDict

from flask import Response, abort, jsonify, request

from calib.errors import InputError
from calib.images.photo import PhotoError, read_upright, turn_upright
from photoangle.carfile.folder import load_corrections
from photoangle.page.markers import seen
from photoangle.page.names import checked_corner, checked_state, folder_of, listed_photo
from photoangle.page.uploads import UploadRefused, Uploads

SIZES = {"small": 480, "middle": 1400, "large": 4000}
_KEPT = 120


class Pictures:
    """Upright JPEGs of photos, scaled down, the newest kept."""

    def __init__(self):
        self._kept, self._lock = OrderedDict(), threading.Lock()

    def jpeg(self, path, most_px):
        """The picture's bytes.  Raises PhotoError."""
        import cv2

        status = path.stat()
        key = str(path), status.st_mtime_ns, status.st_size, most_px
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        pixels, _, orientation = read_upright(path, most_px)
        data = cv2.imencode(".jpg", turn_upright(pixels, orientation),
                            [cv2.IMWRITE_JPEG_QUALITY, 82])[1].tobytes()
        if most_px <= SIZES["middle"]:
            with self._lock:
                self._kept[key] = data
                while len(self._kept) > _KEPT:
                    self._kept.popitem(last=False)
        return data


def add(app, work, sessions, phone_url):
    """Add the routes to a Flask app."""
    uploads, pictures = Uploads(), Pictures()

    def receive(where):
        try:
            path, photo, new = uploads.receive(request.stream, request.content_length or 0,
                                               folder_of(work.root, where), request.args.get("name", "photo"))
        except UploadRefused as error:
            return jsonify(what=error.what, do=error.do, retry=error.retry), error.status
        # the count tells the sender that the whole of it is here
        return jsonify(described(where, path, photo)
                       | {"new": new, "bytes": request.content_length}), 201 if new else 200

    def described(where, path, photo=None):
        out = {"name": path.name, "where": where}
        try:
            look = work.look(where, path, photo)
            name, corrections = f"{where}/{path.name}", load_corrections(work.root)
            return out | seen(look, work.kit(), corrections.of(name), corrections.dots.get(name, {}))
        except PhotoError as error:
            return out | {"trouble": f"{error.what}; {error.do}"}
        except InputError as error:
            # the photo is kept all the same
            return out | {"trouble": str(error)}

    @app.post("/api/photos/<corner>/<state>")
    def receive_photo(corner, state):
        where = f"{checked_corner(corner)}/{checked_state(state)}"
        answer = receive(where)
        work.changed(3.0)
        return answer

    @app.post("/api/lens")
    def receive_lens():
        answer = receive("lens")
        work.changed(5.0)
        return answer

    @app.get("/api/photos/<corner>/<state>")
    def list_photos(corner, state):
        where = f"{checked_corner(corner)}/{checked_state(state)}"
        return jsonify(photos=[p.name for p in work.photos(where)])

    @app.get("/api/photos/<corner>/<state>/<name>")
    def look_at(corner, state, name):
        where = f"{corner}/{state}"
        return jsonify(described(where, listed_photo(work.root, where, name)))

    @app.get("/api/lens")
    def list_lens():
        return jsonify(photos=[p.name for p in work.photos("lens")])

    @app.get("/api/lens/<name>")
    def look_at_lens(name):
        return jsonify(described("lens", listed_photo(work.root, "lens", name)))

    @app.get("/picture/<size>/lens/<name>")
    def lens_picture(size, name):
        return picture(size, "lens", name)

    @app.get("/picture/<size>/<corner>/<state>/<name>")
    def state_picture(size, corner, state, name):
        return picture(size, f"{corner}/{state}", name)

    def picture(size, where, name):
        if size not in SIZES:
            abort(404)
        path = listed_photo(work.root, where, name)
        try:
            return Response(pictures.jpeg(path, SIZES[size]), mimetype="image/jpeg",
                            headers={"Cache-Control": "private, max-age=3600"})
        except PhotoError as error:
            abort(415, f"{error.what}; {error.do}")
