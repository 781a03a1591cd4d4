"""A print check whose two lines contradict each other, or the photos."""

from dataclasses import replace

import pytest

from photoangle.carfile.car import PrintCheck
from photoangle.carfile.print_check import check_findings, contradicts_itself, print_scale
from photoangle.core.assumed import PRINT_SCALE_U
from photoangle.reconstruction.intrinsics_prior import paper_priors
from photoangle.reconstruction.print_aspect import contradicted_check, seen_aspect
from photoangle.reconstruction.solve import solve_scene
from tests.scenes import KIT, scaled_lens
from tests.small_scene import knowledge_of, projected_sightings


def _scene(check, seed=3, aspect=0.0):
    sightings, _ = projected_sightings(seed, 4, aspect=aspect)
    known = knowledge_of(scaled_lens(2016))
    mean, sigma = paper_priors(check)
    known = replace(known, priors=replace(known.priors, paper_mean=mean, paper_sigma=sigma))
    return solve_scene(sightings, KIT, known, "test")


def test_two_lines_that_no_printer_prints_are_not_used():
    """200.0 beside 145.5 made every length 3 to 4.5 % short."""
    bad = PrintCheck(200.0, 145.5)
    scale, u, aspect, _ = print_scale(bad)
    assert scale == 1.0 and aspect == 0.0
    # wide enough for either line to be the right one, and no narrower than without a check
    assert u >= PRINT_SCALE_U and 2 * u >= 1 - 145.5 / 150
    (said,) = check_findings(bad)
    assert "contradict each other" in said.what and "One of them is misread" in said.what
    assert "200" in said.what and "145.5" in said.what


@pytest.mark.parametrize("check", [PrintCheck(), PrintCheck(200.0, 150.0), PrintCheck(199.0, 149.6),
                                   PrintCheck(None, 150.4)])
def test_right_checks_are_left_in_peace(check):
    assert not check_findings(check) and not contradicts_itself(check)


def test_a_shrunken_print_is_believed_and_said():
    check = PrintCheck(194.0, 145.5)  # both lines at 97 %
    assert print_scale(check)[0] == pytest.approx(0.97) and "97.0 %" in check_findings(check)[0].what


def test_without_a_check_a_print_at_97_percent_is_within_the_prior():
    scale, u, *_ = print_scale(PrintCheck())
    assert scale - 1.96 * u < 0.971


@pytest.mark.parametrize("aspect", [0.0, 0.004])
def test_the_photos_know_the_aspect_whatever_the_check_says(aspect):
    for check in (PrintCheck(), PrintCheck(200.0, 150.0), PrintCheck(200.0, 148.8)):
        seen = seen_aspect([_scene(check, aspect=aspect)])
        assert abs(seen[0] - aspect) < 3 * seen[1] < 0.003


def test_the_photos_contradict_a_check_that_a_printer_could_have_printed():
    for check, aspect, contradicted in (
        (PrintCheck(200.0, 148.8), 0.0, True), (PrintCheck(200.0, 150.0), 0.0, False),
        (PrintCheck(200.8, 150.0), 0.004, False), (PrintCheck(200.0, 150.0), 0.008, True)):
        said = contradicted_check([_scene(check, aspect=aspect)], check)
        assert (said is not None) == contradicted, (check, aspect)
    assert contradicted_check([_scene(PrintCheck())], PrintCheck()) is None


def test_a_folder_is_measured_as_without_the_check_that_its_photos_contradict(samples, car_copy, tmp_path):
    import json
    import shutil

    from photoangle.pipeline import measure_folder
    from tests.conftest import quiet

    (tmp_path / "front-left" / "set").mkdir(parents=True)
    for photo in sorted((samples / "front-left" / "set").glob("*.jpg"))[:3]:
        shutil.copyfile(photo, tmp_path / "front-left" / "set" / photo.name)
    (tmp_path / "lens").mkdir()
    shutil.copyfile(car_copy[0] / "lens" / "profile.json", tmp_path / "lens" / "profile.json")
    text = (samples / "car.toml").read_text()
    (tmp_path / "car.toml").write_text(text.replace('y_line = "150.0 mm"', 'y_line = "148.8 mm"'))
    measurement = measure_folder(tmp_path, quiet)
    (said,) = [f for f in measurement.findings if "print-check readings contradict" in f.what]
    assert "the photos of the card say" in said.what
    assert measurement.car.print_check.y_line_mm is None
    truth = json.loads((samples / "truth.json").read_text())["states"]["front-left/set"]["figures"]
    figure = measurement["front-left/set"].figure("link_length")
    # with the misread line the lengths would be 0.8 % short, with a plus-or-minus of 0.2 %
    assert figure.low95 < truth["link_length"]["value"] < figure.high95 and "print" in figure.budget
