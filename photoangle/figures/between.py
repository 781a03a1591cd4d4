"""Figures between any markers asked for: ``ID-ID`` and ``ID-ID-ID``."""

from __future__ import annotations

import math

import numpy as np

from photoangle.carfile.print_check import print_scale
from photoangle.core.errors import CannotUse
from photoangle.core.figure import make_figure
from photoangle.core.findings import ATTENTION, Finding
from photoangle.reconstruction.scene import scene_sources


def parse_between(text):
    """Marker ids of ``101-102`` or ``101-102-103``.  Raises InputError."""
    try:
        ids = tuple(int(part) for part in text.split("-"))
    except ValueError:
        ids = ()
    if len(ids) not in (2, 3) or len(set(ids)) != len(ids):
        raise CannotUse(f"--between {text}", "two or three marker ids are needed",
                        "write it like --between 100-101 or --between 100-101-102")
    return ids


def between_figures(requests, state, measurement):
    """Distance, elevation (two ids) or angle at the middle one (three) of markers' centres.

    Parameters: requests: texts; state: StateResult; measurement.  Returns (figures, findings).
    """
    scene = state.scene
    parts = scene_sources(scene)
    scale, scale_u, _, _ = print_scale(measurement.car.print_check)
    dof = scene.solution.degrees_of_freedom()
    figures, findings = [], []
    for text in requests:
        ids = parse_between(text)
        missing = [i for i in ids if i not in scene.markers]
        if missing:
            where = f"{state.corner}/{state.state}" if state.corner else "photos"
            findings.append(Finding(ATTENTION, where, f"marker {missing[0]} of --between {text} is not seen", ""))
            continue
        at = np.array([scene.markers[i].translation_mm * scale for i in ids])
        pick = np.zeros((3 * len(ids), scene.solution.bundle.size))
        for k, i in enumerate(ids):
            body = scene.order.index(i)
            if body:
                where = scene.solution.bundle.body_slice_of(body)
                pick[3 * k:3 * k + 3, where.start + 3:where.stop] = np.eye(3)
        covariance = {name: pick @ c @ pick.T for name, c in parts.items()}
        name = "-".join(map(str, ids))
        wanted = [(f"angle:{name}", None, "deg", _angle)] if len(ids) == 3 else [
            (f"distance:{name}", None, "mm", lambda p, up: np.linalg.norm(p[1] - p[0])),
            (f"elevation:{name}", "gravity", "deg", _elevation)]
        for label, datum, unit, function in wanted:
            if datum and state.up is None:
                continue
            up = state.up.vector if state.up is not None else np.array([0, 0, 1.0])
            value, slope = _slope(function, at, up)
            shares = {k: float(slope @ c @ slope) for k, c in covariance.items()}
            if unit == "mm":
                shares["print"] = shares.get("print", 0.0) + (value * scale_u) ** 2
            if datum:
                turn = _up_slope(function, at, up)
                for source, c in state.up.sources.items():
                    shares["level"] = shares.get("level", 0.0) + float(turn @ c @ turn)
            figures.append(make_figure(state.corner, state.state, label, datum, unit, value, shares, dof))
    return figures, findings


def _angle(p, up):
    a, b = p[0] - p[1], p[2] - p[1]
    return math.degrees(math.acos(np.clip(a @ b / np.linalg.norm(a) / np.linalg.norm(b), -1, 1)))


def _elevation(p, up):
    v = p[1] - p[0]
    return math.degrees(math.asin(np.clip(v @ up / np.linalg.norm(v), -1, 1)))


def _slope(function, at, up):
    slope = np.zeros(at.size)
    for k in range(at.size):
        step = np.zeros(at.size)
        step[k] = 1e-3
        step = step.reshape(at.shape)
        slope[k] = (function(at + step, up) - function(at - step, up)) / 2e-3
    return float(function(at, up)), slope


def _up_slope(function, at, up):
    """Derivative by a small turn (rad) of up."""
    out = np.zeros(3)
    for k in range(3):
        w = np.zeros(3)
        w[k] = 1e-5
        out[k] = (function(at, up + np.cross(w, up)) - function(at, up - np.cross(w, up))) / 2e-5
    return out
