"""Gravity from the plumb string's own line, on rendered scenes with exact truth."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from photoangle.geometry.plumb.plumb_line import PlumbLine, steadied
from tests.geometry.level_scenes import error, measured_up, string_scene


@lru_cache(maxsize=2)
def rendered(drawn=True):
    scene = string_scene(1001, count=3, drawn=drawn)
    return scene, measured_up(scene)


def worst_u_deg(up):
    return np.degrees(np.sqrt(np.linalg.eigvalsh(up.turn.covariance())[-1]))


def test_the_string_tells_up_ten_times_as_well_as_the_markers_on_it():
    """Against exact truth, 3 photos of 3 megapixels: 0.01 deg where the markers' sticking leaves 0.08."""
    scene, up = rendered()
    before, after = error(up.markers, scene.up), error(up.steady, scene.up)
    assert len(up.lines) == 9 and not up.findings
    assert after[0] < 0.012 < 0.05 < before[0]
    assert after[1] < 5.99 and worst_u_deg(up.steady) < 0.25 * worst_u_deg(up.markers)


def test_where_no_string_shows_everything_is_as_before():
    _, up = rendered(drawn=False)
    assert up.lines == () and up.steady is up.markers


def test_leaving_lines_out_never_narrows():
    scene, up = rendered()
    full = worst_u_deg(up.steady)
    for k in range(3):
        less, _ = steadied(up.markers, [line for line in up.lines if line.photo != k], up.scene)
        assert worst_u_deg(less) >= full * (1 - 1e-9)
        assert error(less, scene.up)[1] < 5.99
    alone, _ = steadied(up.markers, [line for line in up.lines if line.photo == 1], up.scene)
    # one photo tells how up leans across its view, the markers how along it
    assert full < worst_u_deg(alone) <= worst_u_deg(up.markers) * (1 + 1e-9)
    assert error(alone, scene.up)[1] < 5.99


def leaning(line: PlumbLine, degrees):
    """The same line turned in its photo."""
    middle = line.line.ends_px.mean(0)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    ends = middle + (line.line.ends_px - middle) @ np.array([[c, s], [-s, c]])
    return replace(line, line=replace(line.line, ends_px=ends))


def test_one_line_that_is_not_the_strings_is_left_out():
    scene, up = rendered()
    lines = [leaning(line, 1.0) if k == 4 else line for k, line in enumerate(up.lines)]
    steady, findings = steadied(up.markers, lines, up.scene)
    assert not findings and error(steady, scene.up)[0] < 0.015


@pytest.mark.parametrize("degrees", [1.0, -2.0])
def test_a_string_that_contradicts_its_markers_is_said_and_the_wider_holds(degrees):
    scene, up = rendered()
    steady, findings = steadied(up.markers, [leaning(line, degrees) for line in up.lines], up.scene)
    assert "disagree" in findings[0].what and "hang free" in findings[0].do
    assert worst_u_deg(steady) > worst_u_deg(up.markers)
    assert error(steady, scene.up)[1] < 5.99
