"""Figures between any markers asked for: ``ID-ID``, ``ID-ID-ID``, ``ID/ID`` and ``ID-ID/ID-ID``."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.carfile.car import CarFile
from photoangle.carfile.print_check import print_scale
from photoangle.core.arrays import Array
from photoangle.core.errors import CannotUse
from photoangle.core.estimate import Estimate
from photoangle.core.figure import Figure, figure_of
from photoangle.core.findings import ATTENTION, Finding
from photoangle.figures.frame import STEP_MM, STEP_RAD
from photoangle.geometry.angles import angle_between, elevation
from photoangle.geometry.datums import Direction, still
from photoangle.geometry.joints import coordinates, scale_source
from photoangle.geometry.states import StateResult
from photoangle.reconstruction.scene import Scene


class Whole(Protocol):
    """The measurement that a state is of: its car."""

    @property
    def car(self) -> CarFile: ...


@dataclass(frozen=True)
class _Asked:
    name: str
    unit: str
    datum: str | None = None


def parse_between(text: str) -> tuple[tuple[int, ...], ...]:
    """Marker ids of ``101-102`` or ``101-102-103``, in one group; of ``101/102`` (their planes) or
    ``101-102/103-104`` (their lines) in two.  Raises InputError."""
    try:
        groups = tuple(tuple(int(part) for part in side.split("-")) for side in text.split("/"))
    except ValueError:
        groups = ()
    sizes = tuple(map(len, groups))
    alike = any(len(set(ids)) < len(ids) for ids in groups) or len(set(groups)) < len(groups)
    if sizes not in ((2,), (3,), (1, 1), (2, 2)) or alike:
        raise CannotUse(
            f"--between {text}", "this names no two or three markers",
            "write it like --between 100-101, 100-101-102 (the angle at the middle one), 100/101 (the"
            " angle of their planes) or 100-101/102-103 (the angle of two lines)")
    return groups


def between_figures(requests: Iterable[str], state: StateResult,
                    measurement: Whole) -> tuple[list[Figure], list[Finding]]:
    """Distance, elevation (two ids) or angle at the middle one (three) of markers' centres; the angle of two
    markers' planes, or of two lines.

    Parameters: requests: texts; state: StateResult; measurement.  Returns (figures, findings).
    """
    figures, findings = [], []
    for text in requests:
        groups = parse_between(text)
        ids = tuple(dict.fromkeys(i for group in groups for i in group))
        missing = [i for i in ids if i not in state.scene.markers]
        if missing:
            where = f"{state.corner}/{state.state}" if state.corner else "photos"
            findings.append(
                Finding(ATTENTION, where, f"marker {missing[0]} of --between {text} is not seen", ""))
            continue
        centres = _centres(ids, state.scene, print_scale(measurement.car.print_check))
        every = _values(ids, centres, state.up) if len(groups) == 1 else [
            _of_planes(ids, state.scene) if len(groups[0]) == 1 else _of_lines(groups, ids, centres)]
        for asked, made in every:
            figures.append(figure_of(made, "value", state.corner, state.state, asked))
    return figures, findings


def _centres(ids: Sequence[int], scene: Scene, scale: tuple[float, float]) -> Estimate:
    """Markers' centres, mm, as an Estimate."""
    places = np.array([scene.markers[i].translation_mm for i in ids])
    shifts = np.concatenate([6 * k + 3 + np.arange(3) for k in range(len(ids))])
    names = coordinates([str(i) for i in ids])
    out = scene.errors.linear(scene.pose_matrix(ids)[shifts], names, scale[0] * places.ravel())
    return out.also(scale_source(scene.origin, scale[1]), (places - places.mean(0)).reshape(-1, 1))


def _of_planes(ids: Sequence[int], scene: Scene) -> tuple[_Asked, Estimate]:
    """The angle of two markers' planes, between the directions that they face, 0 to 180 deg."""
    normals = [scene.markers[i].rotation[:, 2] for i in ids]
    rows = np.concatenate([6 * k + np.arange(3) for k in range(2)])
    turns = scene.errors.linear(scene.pose_matrix(ids)[rows], coordinates([str(i) for i in ids]), np.zeros(6))
    made = turns.map(lambda v: np.array([angle_between(*(rotation_from_vector(w) @ n for w, n in zip(
        v.reshape(2, 3), normals, strict=True)))]), ("value",), [STEP_RAD] * 6)
    return _Asked("planes:" + "/".join(map(str, ids)), "deg"), made


def _of_lines(groups: Sequence[Sequence[int]], ids: Sequence[int],
              centres: Estimate) -> tuple[_Asked, Estimate]:
    """The angle between two lines, each from its first marker to its second, 0 to 180 deg."""
    at = [[ids.index(i) for i in group] for group in groups]

    def angle(v: Array) -> Array:
        p = v.reshape(-1, 3)
        return np.array([angle_between(*(p[b] - p[a] for a, b in at))])

    name = "/".join("-".join(map(str, group)) for group in groups)
    return _Asked(f"lines:{name}", "deg"), centres.map(angle, ("value",), [STEP_MM] * 3 * len(ids))


def _values(ids: Sequence[int], centres: Estimate, up: Direction | None) -> Iterator[tuple[_Asked, Estimate]]:
    """(_Asked, Estimate named "value") of what can be said of two or three markers."""
    name, n = "-".join(map(str, ids)), 3 * len(ids)
    whole = centres.join(still() if up is None else up.turn)
    steps = [STEP_MM] * n + [STEP_RAD] * 3

    def made(function: Callable[[Array, Array], float | np.floating]) -> Estimate:
        return whole.map(lambda v: np.array([function(v[:n].reshape(-1, 3), v[n:])]), ("value",), steps)

    if len(ids) == 3:
        yield _Asked(f"angle:{name}", "deg"), made(lambda p, _: angle_between(p[0] - p[1], p[2] - p[1]))
        return
    yield _Asked(f"distance:{name}", "mm"), made(lambda p, _: np.linalg.norm(p[1] - p[0]))
    if up is not None:
        yield _Asked(f"elevation:{name}", "deg", "gravity"), made(
            lambda p, turn: elevation(p[1] - p[0], rotation_from_vector(turn) @ up.vector))
