"""Angles, distances and planes between any markers, against an invented car's own poses."""

import numpy as np
import pytest

from calib.errors import InputError
from photoangle.figures.between import between_figures, parse_between
from tests.invented_car import IDS, InventedCar


@pytest.fixture(scope="module")
def measured():
    car = InventedCar(8)
    run = car.measure(states=("set",))
    return run, run.states[0], car._poses("set")


def _angle(a, b):
    return np.degrees(np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b)))


def test_planes_lines_and_distances_lie_within_what_is_stated(measured):
    run, state, poses = measured
    bush, eye, pivot, ball = (IDS[n] for n in ("bar_bush", "bar_eye", "arm_pivot_front", "arm_ball_joint"))
    at = {i: p.translation_mm for i, p in poses.items()}
    normal = {i: p.rotation[:, 2] for i, p in poses.items()}
    wanted = {
        f"{bush}/{ball}": _angle(normal[bush], normal[ball]),
        f"{bush}-{eye}/{pivot}-{ball}": _angle(at[eye] - at[bush], at[ball] - at[pivot]),
        f"{bush}-{eye}-{ball}": _angle(at[bush] - at[eye], at[ball] - at[eye]),
    }
    figures, findings = between_figures(list(wanted), state, run)
    assert not findings and len(figures) == 3
    for figure, true in zip(figures, wanted.values(), strict=True):
        assert abs(figure.value - true) < 2.6 * figure.u, figure.name  # one in a hundred beyond
        assert figure.u < 0.3  # deg
    (length, *_), _ = between_figures([f"{bush}-{eye}"], state, run)
    assert abs(length.value - np.linalg.norm(at[eye] - at[bush])) < 2.6 * length.u


def test_a_marker_that_is_not_there_is_named(measured):
    run, state, _ = measured
    figures, findings = between_figures(["100/399"], state, run)
    assert not figures and "marker 399" in findings[0].what


@pytest.mark.parametrize("text", ["100", "100-100", "100/100", "100-101/102", "100-101-102-103", "1/2/3", "a-b", "/"])
def test_what_names_no_markers_is_refused(text):
    with pytest.raises(InputError, match="two or three"):
        parse_between(text)
