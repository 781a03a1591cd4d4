"""The report of the demo car: its figures against the truth, its file, and how a browser shows it."""

import csv
import io
import json
import re
from dataclasses import replace
from datetime import datetime

import pytest

from photoangle.advice.advise import next_steps
from photoangle.core.cautions import CAUTIONS
from photoangle.core.figure import Figure
from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.options import LinkRequest
from photoangle.core.outcome import Report
from photoangle.droplink.answer import link_answers
from photoangle.droplink.axles import axle_answers
from photoangle.report.page import report_html
from photoangle.report.sheet import figures_csv
from tests.conftest import ROOT

NASTY = "<script>alert(1)</script>"


def _report(measurement, state="set"):
    answers = link_answers(measurement, LinkRequest(state=state))
    axles = axle_answers(answers, measurement.report.figures, measurement.car)
    report = Report(findings=list(measurement.report.findings))
    for a in answers + axles:
        report.tell(*a.findings)
    return report_html(measurement, answers, axles, next_steps(measurement), report,
                       datetime(2026, 3, 14, 9, 30))


@pytest.fixture(scope="module")
def html(car_copy):
    return _report(car_copy[1])


def _cells(html, state, name, datum=""):
    part = html[html.index(f"<h3>{state}</h3>"):]
    row = next(r for r in re.findall(r"<tr><th scope=\"row\">(.*?)</tr>", part) if r.startswith(name + "<")
               and (f"<td>{datum}</td>" in r))
    return [float(re.match(r"[-+\d.]+", c)[0]) for c in re.findall(r"<td class=\"n\">(.*?)</td>", row)[:2]]


@pytest.mark.parametrize("state", ["droop", "set", "fitted"])
@pytest.mark.parametrize("title, name, datum", [
    ("bar arm angle", "bar_arm_angle", "chassis"), ("control arm angle", "control_arm_angle", "gravity"),
    ("link length", "link_length", ""), ("control arm length", "control_arm_length", "")])
def test_its_figures_hold_the_truth_within_their_plus_or_minus(html, samples, state, title, name, datum):
    truth = json.loads((samples / "truth.json").read_text())["states"][f"front-left/{state}"]["figures"][name]
    value, half = _cells(html, f"front-left / {state}", title, datum)
    # two figures of eighty lie outside; none of these by more than half of its interval
    assert abs(value - truth[datum or "value"]) < 1.5 * half and half < 1.5


def test_the_verdict_comes_first_and_the_card_says_the_length(html, samples):
    truth = json.loads((samples / "truth.json").read_text())["linkage"]["front-left"]
    assert html.index("front-left: CHANGE THE LINK") < html.index("What to do next")
    card = html[html.index("Fitting card:"):]
    start, end = (float(x)
                  for x in re.findall(r"<th scope=\"row\">(?:from|to)</th><td>([\d.]+) mm", card)[:2])
    assert abs(start - truth["link_length_mm"]) < 1.0
    # the length for level, to a half turn of 1.25 mm, beside the new link that the demo car got, which stands
    # at 0.2 deg
    assert abs(end - truth["new_link_length_mm"]) < 2.5
    assert "12 1/2 turns shorter" in card and "Nm" in card


def test_one_file_with_everything_inside(html):
    assert len(html.encode()) < 4_000_000  # two corners, four states and one
    assert not re.search(r"(?:src|href)=\"(?!data:|#)", html)
    assert "<script" not in html and "url(" not in html
    assert all(c.replace("'", "&#39;") in html for c in CAUTIONS)
    for words in ("2026-03-14 09:30", "Plover", "DICT_APRILTAG_36h11", "x line 200.0 mm", "car.toml"):
        assert words in html, words


def test_one_corner_with_three_states_stays_under_three_megabytes(car_copy):
    measurement = car_copy[1]
    one = replace(measurement, states=[s for s in measurement.states if s.corner == "front-left"])
    assert len(_report(one).encode()) < 3_000_000


def test_what_others_wrote_stays_text(car_copy):
    measurement = car_copy[1]
    named = replace(measurement, car=replace(measurement.car, name=NASTY), states=measurement.states[:1])
    report = Report(findings=[Finding(ATTENTION, NASTY, NASTY, NASTY)])
    text = report_html(named, [], [], [], report)
    assert NASTY not in text and text.count("&lt;script&gt;") >= 4


def test_the_spreadsheet_runs_no_formula():
    figures = [
        Figure("=cmd|' /C calc'!A0", "set", "bar_arm_angle", "chassis", "deg", 8.96, 0.2, 50.0, 8.5, 9.4)
    ]
    rows = list(csv.reader(io.StringIO(figures_csv(figures))))
    assert rows[0][:6] == ["corner", "state", "name", "datum", "unit", "value"]
    assert rows[1][0].startswith("'=") and float(rows[1][5]) == 8.96


def _luminance(colour):
    parts = [
        int(c * 2 if len(colour) == 4 else c, 16) / 255
        for c in re.findall("." if len(colour) == 4 else "..", colour[1:])
    ]
    linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_text_has_contrast():
    css = (ROOT / "photoangle" / "report" / "templates" / "report.css").read_text()
    for colour in set(re.findall(r"(?<!-)color: (#[0-9a-f]+)", css)):
        # WCAG 2.2, 1.4.3: 4.5 to 1 against the white page
        assert 1.05 / (_luminance(colour) + 0.05) >= 4.5, colour


@pytest.mark.parametrize("width", [390, 1280])
def test_a_browser_shows_it_without_scrolling_sideways(browser, html, tmp_path, width):
    (tmp_path / "r.html").write_text(html)
    page = browser.new_page(viewport={"width": width, "height": 844})
    trouble = []
    page.on("console", lambda m: trouble.append(m.text))
    page.on("pageerror", lambda e: trouble.append(str(e)))
    page.goto((tmp_path / "r.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 0)")
    small = page.evaluate(
        "[...document.querySelectorAll('nav a, summary')].filter(a => a.getBoundingClientRect().height <"
        " 44).length"
    )
    assert small == 0 and trouble == []
    page.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_fitting_card_prints_on_one_page(browser, html, tmp_path, paper):
    import pypdfium2

    page = browser.new_page()
    page.set_content(html)
    data = page.pdf(format=paper)
    page.close()
    pdf = pypdfium2.PdfDocument(data)
    texts = [p.get_textpage().get_text_bounded() for p in pdf]
    assert "Fitting card" in texts[-1] and "does not certify" in texts[-1] and "Chock the wheels" in texts[-1]
