"""Stated intervals against the truth, over random corners of fixed seeds; and the closure against one-by-one
solving."""

import ast
from pathlib import Path

import photoangle.linkage
from photoangle.linkage.bench import closure_speed, coverage_of_motion, coverage_of_travel


def test_intervals_carried_to_ride_height_and_over_the_travel_are_true():
    # 40 corners here, 200 in the bench command; 15 quantities a corner share its errors, so that 600 intervals count
    # as about 120: sigma 2 of 100
    got = coverage_of_travel(corners=40, samples=600)
    assert 0.90 <= got.share <= 0.99
    assert 0.85 <= got.u_over_error <= 1.2


def test_intervals_of_joints_by_motion_are_true():
    got = coverage_of_motion(corners=40)
    assert 0.90 <= got.share <= 0.99
    assert 0.85 <= got.u_over_error <= 1.2


def test_closed_form_and_root_finder_agree_in_the_bench():
    got = closure_speed(samples=500, subset=400)
    assert got.worst_rad < 1e-9


def test_the_linkage_imports_no_image_code():
    allowed = {"numpy", "scipy", "calib.poses", "photoangle.model", "dataclasses", "math", "time", "__future__"}
    for path in Path(photoangle.linkage.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = ([node.module] if isinstance(node, ast.ImportFrom) else
                     [a.name for a in node.names] if isinstance(node, ast.Import) else [])
            for name in names:
                assert name in allowed or name.split(".")[0] == "scipy" or name.startswith("photoangle.linkage."), (path, name)
