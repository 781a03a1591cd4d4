"""Plain dots in the card's plane, named from left to right: points with their covariance."""

from __future__ import annotations

import numpy as np

from calib.differences import jacobian
from calib.lens import moved_lens
from calib.poses import Pose, rotation_from_vector
from photoangle.core.estimate import Source
from photoangle.core.findings import ATTENTION, UNUSABLE, Finding
from photoangle.detection.dots import EDGE_PX, on_plane
from photoangle.geometry.joints import Points, coordinates
from photoangle.geometry.place_dots import EDGE

_OFF_PLANE_MM = 1.0 / np.sqrt(3)


def dot_points(dots, names, scene, photo_index, orientation, size_px, upright):
    """Named Points from dots, from left to right in the upright picture.

    Parameters: dots: list of Dot; names: role keys; scene: with the card; photo_index; orientation and
    size_px of the photo; upright(points, width, height, orientation) turns points as the picture is shown.
    Returns (Points or None, findings).
    """
    if len(dots) < len(names):
        return None, [Finding(UNUSABLE, scene.photos[photo_index],
                              f"{len(dots)} round stickers found beside the card, {len(names)} named",
                              "use plain stickers of 8 to 20 mm on a ground of another brightness or colour")]
    findings = []
    chosen = dots[:len(names)]
    if len(dots) > len(names):
        findings.append(Finding(ATTENTION, scene.photos[photo_index],
                                f"{len(dots)} round spots found, {len(names)} named: the clearest were taken",
                                "check the annotated photo"))
    turned = upright(np.array([d.centre_px for d in chosen]), *size_px, orientation)
    order = np.argsort(turned[:, 0], kind="stable")
    return _points([chosen[k] for k in order], names, scene, photo_index), findings


def _points(dots, names, scene, photo_index):
    """Positions in the card's frame with their errors: the photo's unknowns, each dot's edge, and how far it
    is off the plane."""
    bundle, values = scene.solution.bundle, scene.solution.values
    order = sorted(range(len(names)), key=lambda k: names[k])
    dots, names = [dots[k] for k in order], tuple(names[k] for k in order)
    pixels = np.array([d.centre_px for d in dots])
    n, start = bundle.lens_size, bundle.camera_start + bundle.per_camera * photo_index
    unknowns = np.r_[np.arange(n), start + np.arange(bundle.per_camera)]

    def place(change, seen=pixels):
        lens = moved_lens(values.lens + change[:n],
                          values.shift[photo_index] + (change[n + 6:] if bundle.shifts else 0))
        camera = Pose(rotation_from_vector(change[n:n + 3]) @ scene.cameras[photo_index].rotation,
                      scene.cameras[photo_index].translation_mm + change[n + 3:n + 6])
        return np.c_[on_plane(seen, camera, lens), np.zeros(len(seen))].ravel()

    still = np.zeros(len(unknowns))
    by_unknown = np.zeros((3 * len(dots), bundle.size))
    by_unknown[:, unknowns] = jacobian(place, still, 0.1 * np.sqrt(scene.covariance.diagonal()[unknowns]))
    estimate = scene.errors.linear(by_unknown, coordinates(names), place(still))
    by_pixel = jacobian(lambda seen: place(still, seen.reshape(-1, 2)), pixels.ravel(), 1.0)
    eye = -scene.cameras[photo_index].rotation.T @ scene.cameras[photo_index].translation_mm
    for k, (name, dot) in enumerate(zip(names, dots, strict=True)):
        edge = Source((EDGE, scene.origin.state, name), EDGE, np.eye(2) * EDGE_PX**2)
        estimate = estimate.also(edge, by_pixel[:, 2 * k:2 * k + 2])
        way = np.zeros((3 * len(dots), 1))
        way[3 * k:3 * k + 3, 0] = np.r_[dot.centre_mm, 0] - eye
        way /= way[3 * k + 2]
        off = Source(("out of plane", scene.origin.state, name), "out of plane",
                     np.array([[_OFF_PLANE_MM**2]]))
        estimate = estimate.also(off, way)
    return Points(names, estimate, dict.fromkeys(names), origin=scene.origin)
