"""Pictures for inside a page: as data URIs, small enough to mail."""

from __future__ import annotations

import base64

from photoangle.output.drawn.annotate import annotated
from photoangle.output.drawn.compare_picture import comparison_picture
from photoangle.output.drawn.drawings import draw_travel, draw_views
from photoangle.output.drawn.stand_picture import draw_stand

_PHOTO_PX, _QUALITY = 1000, 72
# The clearest photos of a state are shown; the others are in the results folder.
PHOTOS_A_STATE = 2


def data_uri(data, kind):
    """``data:`` URI of bytes; kind: "image/png" and the like."""
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"


def state_photos(state, figures, kit, units, most=PHOTOS_A_STATE):
    """(name, data URI) of the annotated photos that show most markers."""
    count = {s.name: len(s.tags) for s in state.sightings}
    order = sorted(range(len(state.scene.photos)), key=lambda k: (-count.get(state.scene.photos[k], 0), k))
    out = []
    for k in sorted(order[:most]):
        name = state.scene.photos[k]
        out.append((name,
                    data_uri(annotated(state.paths[name], state, k, figures, kit, _PHOTO_PX, _QUALITY,
                                       units),
                             "image/jpeg")))
    return out


def answer_photo(state, figures, kit, units):
    """Data URI of the photo that shows most markers, cut to bar arm and link, with the angles drawn in."""
    count = {s.name: len(s.tags) for s in state.sightings}
    k = max(range(len(state.scene.photos)), key=lambda k: (count.get(state.scene.photos[k], 0), -k))
    path = state.paths[state.scene.photos[k]]
    picture = annotated(path, state, k, figures, kit, 900, _QUALITY, units, True)
    return data_uri(picture, "image/jpeg")


def drawing(draw, answer, units):
    """Data URI of `draw_views` or `draw_travel` as SVG, or None."""
    data = draw(answer, "svg", units)
    return None if data is None else data_uri(data, "image/svg+xml")


def views(answer, units):
    """Side and front views as a data URI, or None."""
    return drawing(draw_views, answer, units)


def travel(answer, units):
    """Plots over the travel as a data URI, or None."""
    return drawing(draw_travel, answer, units)


def stand(state, step, kit):
    """Where to stand, as a data URI, or None."""
    data = draw_stand(state, step.photo, kit, "svg") if step.photo is not None and step.photo.worth else None
    return None if data is None else data_uri(data, "image/svg+xml")


def before_after(comparison):
    """The blended picture of a comparison as a data URI, or None where there is none."""
    data = comparison_picture(comparison, _QUALITY)
    return None if isinstance(data, str) else data_uri(_smaller(data), "image/jpeg")


def _smaller(data, most_px=1200):
    import io

    from PIL import Image

    with Image.open(io.BytesIO(data)) as picture:
        picture.thumbnail((most_px, most_px))
        out = io.BytesIO()
        picture.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()
