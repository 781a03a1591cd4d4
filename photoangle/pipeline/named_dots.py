"""Plain stickers of one photo, named by the user, in place of markers."""

from __future__ import annotations

from calib.images.photo import read_upright, turn_points
from calib.lens import moved_lens
from photoangle.core.findings import UNUSABLE, Finding
from photoangle.detection.dots import find_dots
from photoangle.geometry.dots_in_plane import dot_points


def name_dots(result, names, kit, report):
    """Put the named stickers' places into the result."""
    name = result.scene.photos[0]
    if not result.scene.has_card:
        report.tell(Finding(UNUSABLE, name, "the card is not seen: stickers need it in their plane",
                            "hold the card in the plane of the parts and take the photo again"))
        return
    colour, _, orientation = read_upright(result.paths[name], most_px=10**6)
    values = result.scene.solution.values
    lens = moved_lens(values.lens, values.shift[0])
    result.dots = find_dots(colour, result.scene.cameras[0], lens, kit.card)
    points, findings = dot_points(result.dots, names, result.scene, 0, orientation, colour.shape[1::-1],
                                  turn_points)
    report.tell(*findings)
    if points is not None:
        result.points = points
