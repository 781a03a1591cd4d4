"""Plain dots in the card's plane, named from left to right: points with their covariance."""

from __future__ import annotations

import numpy as np

from calib.lens import moved_lens
from photoangle.core.findings import ATTENTION, UNUSABLE, Finding
from photoangle.detection.dots import EDGE_PX, on_plane
from photoangle.geometry.joints import Points
from photoangle.geometry.place_dots import EDGE

_OFF_PLANE_MM = 1.0 / np.sqrt(3)


def dot_points(dots, names, scene, photo_index, orientation, size_px, upright):
    """Named Points from dots, from left to right in the upright picture.

    Parameters: dots: list of Dot; names: role keys; scene: with the card; photo_index; orientation and size_px of the photo;
    upright(points, width, height, orientation) turns points as the picture is shown.
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
    """Positions in the card's frame with covariance by source, by numeric derivatives."""
    from calib.poses import Pose, rotation_from_vector

    bundle, values = scene.solution.bundle, scene.solution.values
    pixels = np.array([d.centre_px for d in dots])
    n, start = bundle.lens_size, bundle.camera_start + bundle.per_camera * photo_index
    unknowns = np.r_[np.arange(n), start + np.arange(bundle.per_camera)]

    def place(change, seen=pixels):
        lens = moved_lens(values.lens + change[:n],
                          values.shift[photo_index] + (change[n + 6:] if bundle.per_camera == 9 else 0))
        camera = Pose(rotation_from_vector(change[n:n + 3]) @ scene.cameras[photo_index].rotation,
                      scene.cameras[photo_index].translation_mm + change[n + 3:n + 6])
        return np.c_[on_plane(seen, camera, lens), np.zeros(len(seen))].ravel()

    sigma = np.sqrt(scene.covariance.diagonal()[unknowns])
    jacobian = np.zeros((3 * len(dots), len(unknowns)))
    for k, s in enumerate(sigma):
        if s > 0:
            change = np.zeros(len(unknowns))
            change[k] = 0.1 * s
            jacobian[:, k] = (place(change) - place(-change)) / (0.2 * s)
    still = np.zeros(len(unknowns))
    edge, plane = np.zeros((3 * len(dots),) * 2), np.zeros((3 * len(dots),) * 2)
    eye = -scene.cameras[photo_index].rotation.T @ scene.cameras[photo_index].translation_mm
    for k in range(len(dots)):
        at = slice(3 * k, 3 * k + 3)
        by_px = np.stack([(place(still, pixels + d) - place(still, pixels - d))[at] / 2
                          for d in (np.array([1.0, 0]), np.array([0, 1.0]))], 1)
        edge[at, at] = by_px @ by_px.T * EDGE_PX**2
        way = np.r_[dots[k].centre_mm, 0] - eye
        way /= way[2]
        plane[at, at] = np.outer(way, way) * _OFF_PLANE_MM**2
    part = scene.covariance[np.ix_(unknowns, unknowns)]
    ordered = sorted(range(len(names)), key=lambda k: names[k])
    rows = np.concatenate([np.arange(3 * k, 3 * k + 3) for k in ordered])
    sources = {name: c[np.ix_(rows, rows)] for name, c in (
        ("pixels", jacobian @ part @ jacobian.T), (EDGE, edge), ("out of plane", plane))}
    return Points(tuple(names[k] for k in ordered), place(still).reshape(-1, 3)[ordered], sources,
                  {names[k]: None for k in ordered})
