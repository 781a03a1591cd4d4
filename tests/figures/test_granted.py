"""What is taken for granted is listed, the largest first, and no default can be forgotten."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

import photoangle
from photoangle.carfile.lengths import Reading
from photoangle.carfile.print_check import print_scale
from photoangle.core import assumed
from photoangle.core.assumed import ASSUMPTIONS, NOT_LISTED, Assumed
from photoangle.figures.granted import taken_for_granted
from photoangle.figures.measure import measured
from photoangle.geometry.datums import gravity
from photoangle.geometry.joints import joint_points
from photoangle.output.table import granted_lines
from tests.whole.test_commands import run

CODE = "\n".join(p.read_text() for p in Path(photoangle.__file__).parent.rglob("*.py"))


def test_every_default_is_listed_or_named_with_the_reason_why_not():
    constants = {n for n in vars(assumed) if re.fullmatch(r"[A-Z][A-Z0-9_]*_(MM|DEG|U|WITHIN|ODDS|SPREAD)", n)}
    assert len(constants) > 25
    assert constants == set(ASSUMPTIONS) | set(NOT_LISTED)
    assert not set(ASSUMPTIONS) & set(NOT_LISTED) and all(NOT_LISTED.values())
    # nothing else stands in that file than constants with a unit in their name, and the list itself
    others = {n for n in vars(assumed) if n.isupper()} - constants
    assert others == {"ASSUMPTIONS", "NOT_LISTED"}


@pytest.mark.parametrize("name", ASSUMPTIONS)
def test_every_default_that_is_listed_marks_a_source_of_error(name):
    assert f'Assumed("{name}"' in CODE or f'"{name}" if' in CODE or f'else "{name}"' in CODE
    said = Assumed(name, "bar eye")
    assert said.words and said.settled_by and "{" not in said.words


def test_a_default_that_is_not_listed_cannot_mark_a_source():
    with pytest.raises(KeyError):
        Assumed("ARM_LENGTH_MM")


def _state(car_copy, **notes):
    """front-left/set of the demo car with other notes, measured anew from its solved scene."""
    measurement = car_copy[1]
    state = measurement["front-left/set"]
    state = replace(state, notes=replace(state.notes, **notes))
    points, _ = joint_points(state.scene, measurement.kit, state.notes, measurement.car.level,
                             *print_scale(measurement.car.print_check)[:2])
    points = replace(points, places=state.points.places)
    up, _ = gravity(points, state.scene, measurement.car.level)
    state = replace(state, points=points, up=up)
    return replace(state, measured=measured(state))


def test_a_stand_off_left_out_comes_first_with_what_a_reading_would_make_of_it(car_copy):
    known = dict(car_copy[1]["front-left/set"].notes.standoff)
    del known["bar_eye"]
    bare = _state(car_copy, standoff=known)
    first = taken_for_granted(bare)[0]
    assert first.assumed == Assumed("STANDOFF_MM", "bar eye") and "0 to 60 mm" in first.assumed.words
    # the plus-or-minus that the list promises is the one that comes of measuring it
    told = _state(car_copy, standoff=known | {"bar_eye": Reading(30.0, 1e-6, "")})
    row = next(r for r in told.measured.rows if (r.name, r.datum) == (first.figure.name, first.figure.datum))
    figure = told.measured.figures("front-left", "set")[told.measured.rows.index(row)]
    assert first.without == pytest.approx((figure.high95 - figure.low95) / 2, rel=0.05)
    assert first.half > 5 * first.without
    lines = granted_lines([first])
    assert max(map(len, lines)) <= 80
    text = " ".join(" ".join(lines).split())
    assert "stand-off of bar eye, anything from 0 to 60 mm" in text and "to be rid of it: measure from" in text


def test_the_list_is_sorted_and_shrinks_with_what_is_told(car_copy):
    whole = taken_for_granted(_state(car_copy))
    weights = [(g.half - g.without) / {"deg": 1, "mm": 3}[g.figure.unit] for g in whole]
    assert weights == sorted(weights, reverse=True) and all(w > 0 for w in weights)
    names = {g.assumed.name for g in whole}
    # the demo car's stand-offs, radii, floor and print check are told
    assert not names & {"STANDOFF_MM", "HOSE_RADIUS_MM", "EYE_RADIUS_MM", "FLOOR_WITHIN_DEG", "PRINT_SCALE_U"}
    assert "STUCK_WITHIN_MM" in names
    assert "STUCK_WITHIN_MM" not in {g.assumed.name
                                     for g in taken_for_granted(_state(car_copy, stuck_within_mm=0.5))}
    assert "HOSE_RADIUS_MM" in {g.assumed.name for g in taken_for_granted(_state(car_copy, radius_mm={}))}


def test_the_command_lists_it_and_json_has_it(car_copy, samples):
    photo = samples / "front-left" / "set" / "IMG_3142.jpg"
    shown = run("measure", photo, "--assumed", "--no-pictures").output
    assert "taken for granted here, the largest effect first:" in shown
    assert "the sheets printed at 100 % within 3 %" in " ".join(shown.split())
    content = json.loads(run("measure", photo, "--json", "--no-pictures").stdout)
    assert {"what", "settled_by", "half95", "half95_without"} <= set(content["assumed"][0])
