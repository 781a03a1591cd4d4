"""The link screen: the answer of the very length under the thumb; what moves is the command's within what few
samples and interpolation cost; the slider snaps to what can be set."""

import itertools
import json
import random
import time
from dataclasses import replace

import pytest

from photoangle.carfile.corner import LinkNotes
from photoangle.core.options import LinkRequest
from photoangle.linkage.adjuster import Adjuster
from photoangle.output.summary.linked import clearance, short_lines
from photoangle.page.link_screen.grid import changes_of, heights_of, row_of, stops_of
from photoangle.page.link_screen.slider import worked_out
from tests.conftest import ROOT
from tests.page.conftest import until


@pytest.fixture(scope="module")
def tried(page_car):
    """(CornerAnswer, CornerNotes, Measurement) of the page's corner."""
    _, work = page_car
    answer = work.answer
    return answer.answers[0], answer.car.corner("front-left"), answer.measurement


@pytest.mark.parametrize("units", ["mm", "in"])
def test_in_full_answers_for_the_sliders_own_length_and_height(page_car, tried, units):
    answer, _, measurement = tried
    car = replace(measurement.car, units=units)
    got = worked_out(measurement, car, "front-left", 12.5, 15.0)
    length = answer.advice.figures["link_length"].value + 12.5
    assert got["sentence"].startswith("With a link of ") and "lower" in got["sentence"]
    assert (f"{length:.1f} mm" if units == "mm" else " in (") in got["sentence"]
    # the sentences of the command, to the letter
    from photoangle.droplink.answer import link_answers
    part = replace(measurement, states=[s for s in measurement.states if s.corner == "front-left"])
    asked = LinkRequest(change_mm=12.5, lowered_mm=15.0)
    theirs = link_answers(part, asked)[0]
    shown = " ".join(" ".join(short_lines(theirs, asked, units)).split())
    assert got["sentence"] in shown and got["clearance"] in shown
    assert got["clearance"] == clearance(theirs, units)
    # and none of it is said of another length
    assert "Shorten" not in got["sentence"] and "Set the link" not in got["sentence"]


def test_the_present_length_is_said_as_it_is(page_car, tried):
    _, _, measurement = tried
    got = worked_out(measurement, measurement.car, "front-left", 0.0, 0.0)
    assert "(as it is now)" in got["sentence"]


def test_between_cells_the_browsers_figures_are_the_commands_within_little(page_car, tried, browser):
    """Angle and least gap at random lengths and heights, as the screen has them, against the answer in full:
    errors in degrees and mm, each beside the plus-or-minus it is shown with."""
    answer, notes, measurement = tried
    stops, heights = stops_of(answer, notes), heights_of(answer.travel)
    changes = changes_of(stops)
    rows = [row_of(answer, notes, changes, h) for h in heights]
    page = browser.new_page()
    try:
        script = (ROOT / "photoangle/page/static/link_mix.js").read_text().replace("export ", "")
        page.add_script_tag(content=script)
        random.seed(22)
        for _ in range(5):
            stop, lowered = random.choice(stops), random.uniform(0, heights[-1])
            got = page.evaluate("([rows, heights, changes, h, c]) => cellAt(rows, heights, changes, h, c)",
                                [rows, heights, changes, lowered, stop.change_mm])
            full = worked_out(measurement, measurement.car, "front-left", stop.change_mm, lowered)
            angle = full["angle"]
            assert got["angle"]["value"] == pytest.approx(angle["value"],
                                                          abs=0.1 + 0.25 * angle["half"])  # deg
            theirs = {r["name"]: r for r in full["rows"]}
            for row in got["rows"]:
                other = theirs[row["name"]]
                assert row["value"] == pytest.approx(other["value"], abs=0.5 + 0.3 * other["half"]), row  # mm
    finally:
        page.close()


def bare(answer, notes, adjuster, link):
    return replace(answer, adjuster=adjuster), replace(notes, link=link)


def test_the_slider_snaps_to_half_turns(tried):
    answer, notes, _ = tried
    stops = stops_of(answer, notes)
    half = answer.adjuster.half_turn_mm
    free = [s for s in stops if s.change_mm not in (0.0, round(answer.advice.change_mm, 3))]
    assert half == 1.25 and all(abs(s.change_mm / half - round(s.change_mm / half)) < 1e-6 for s in free)
    assert "turn" in free[0].how and len(changes_of(stops)) <= 41
    # the adjuster's own limits are the slider's
    present = answer.advice.figures["link_length"].value
    assert present + stops[0].change_mm >= 112 - 0.01 and present + stops[-1].change_mm <= 162 + 0.01  # mm


def test_the_slider_snaps_to_lengths_that_can_be_had(tried):
    answer, notes = bare(*tried[:2], Adjuster(), LinkNotes(lengths_mm=(110.0, 120.0, 130.0), threaded_ends=0))
    present = answer.advice.figures["link_length"].value
    lengths = {round(present + s.change_mm, 2) for s in stops_of(answer, notes)}
    assert lengths >= {110.0, 120.0, 130.0} and len(lengths) <= 5


def test_without_either_it_goes_by_a_rules_divisions_in_the_cars_units(tried):
    answer, notes = bare(*tried[:2], Adjuster(), LinkNotes(threaded_ends=0))
    inches = stops_of(answer, notes, "in")
    assert all(s.length.endswith(" in") for s in inches) and "mm" not in json.dumps([s.how for s in inches])
    mm = stops_of(answer, notes)
    assert sum(abs(b.change_mm - a.change_mm - 0.5) < 1e-6 for a, b in itertools.pairwise(mm)) > 100



def test_the_screen_moves_with_the_thumb(browser, served_car):
    """Updates a second while the slider is dragged, and no request among them; on a phone all of it in one
    view."""
    served, page = served_car
    page.goto(f"http://127.0.0.1:{served.port}/link")
    until(page, "document.querySelector('.try')?.dataset.ready === 'all'")
    until(page, "document.querySelector('.try').dataset.rest === 'full'")
    asked = []
    page.on("request", lambda r: asked.append(r.url) if "/api/link" in r.url else None)
    before = int(page.get_attribute(".try", "data-shown"))
    eye = page.locator(".corner-view circle").nth(1).get_attribute("cy")
    seconds = page.evaluate("""async () => {
        const slider = document.querySelector('.change'), began = performance.now();
        for (let k = 0; performance.now() - began < 2000; k += 1) {
            slider.value = Math.round((Math.sin(k / 9) + 1) / 2 * slider.max);
            slider.dispatchEvent(new Event('input', { bubbles: true }));
            await new Promise(requestAnimationFrame);
        }
        return (performance.now() - began) / 1000;
    }""")
    rate = (int(page.get_attribute(".try", "data-shown")) - before) / seconds
    assert rate >= 30 and asked == [], (rate, asked)  # updates a second
    assert page.locator(".corner-view circle").nth(1).get_attribute("cy") != eye
    page.evaluate("""() => { const s = document.querySelector('.change'); s.value = s.max;
        s.dispatchEvent(new Event('input', { bubbles: true })); }""")
    until(page, "document.querySelector('.try').dataset.rest === 'full'")
    said = page.inner_text(".full")
    assert said.startswith("In full: With a link of ") and page.inner_text(".now .length") in said
    # drawing, verdict and sliders in one view of the phone, above what comes next
    top, bottom = page.evaluate("""() => [document.querySelector('.views').getBoundingClientRect().top,
        document.querySelector('.two').getBoundingClientRect().bottom]""")
    next_top = page.locator(".next").bounding_box()["y"]
    assert top >= 0 and bottom <= next_top, (top, bottom, next_top)  # px


@pytest.fixture
def served_car(browser, page_car, tmp_path):
    """(Served over a copy of the worked-out car, a phone's page let in)."""
    import shutil

    from photoangle.page.serve import Served

    root = shutil.copytree(page_car[0], tmp_path / "car")
    served = Served(root, 0)
    served.start()
    end = time.time() + 120
    while not served.work.fresh():
        assert time.time() < end, served.work.jobs.state
        time.sleep(0.1)
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(served.url())
    page.wait_for_url("**/")
    yield served, page
    context.close()
    served.stop()
