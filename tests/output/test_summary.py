"""The answer comes first: its words, its length and its units, for every command."""

import json
import re
import shutil

import pytest

from photoangle.core.options import LinkRequest
from photoangle.output.summary import compared, linked, measured
from photoangle.pipeline.kept import FOLDER, looks_for
from tests.conftest import ROOT
from tests.whole.test_commands import run

# The longest that an answer for one corner may be, and the terminal's width.
MOST_LINES, COLUMNS = 25, 80
FOLDER_NAME = "car"


@pytest.fixture(scope="module")
def car(car_copy, tmp_path_factory):
    """The demo car, measured before."""
    root = tmp_path_factory.mktemp("summary") / FOLDER_NAME
    for part in ("lens", "front-left", "front-right"):
        shutil.copytree(car_copy[0] / part, root / part)
    shutil.copyfile(car_copy[0] / "car.toml", root / "car.toml")
    shutil.copytree(car_copy[0] / FOLDER, root / FOLDER)
    run("measure", root, "--no-pictures")
    return root


@pytest.fixture(scope="module")
def inch_car(car):
    root = car.parent / "inch"
    shutil.copytree(car, root)
    notes = (root / "car.toml").read_text()
    (root / "car.toml").write_text(notes.replace('units = "mm"', 'units = "in"'))
    return root


COMMANDS = [("measure", "--no-pictures"), ("link", "--no-pictures"), ("next", "--no-pictures"),
            ("lens",), ("history",), ("link", "--no-pictures", "--only", "front-right", "--length", "130 mm", "--hole", "20 mm")]


@pytest.mark.parametrize("command", COMMANDS)
def test_is_short_and_fits_the_terminal(car, command):
    lines = run(command[0], car, *command[1:]).output.splitlines()
    corners = 1 if "--only" in command or command[0] == "lens" else 2
    assert len(lines) <= MOST_LINES * corners
    # paths are as long as they are
    assert all(len(line) <= COLUMNS for line in lines if str(car) not in line)


@pytest.mark.parametrize("command", COMMANDS)
def test_an_inch_car_is_told_in_inches(inch_car, command):
    output = run(command[0], inch_car, *command[1:]).output.replace(str(inch_car), "")
    unquoted = re.sub(r'"[^"]*"', "", output)
    assert not re.search(r"\d mm\b", unquoted), re.findall(r".*\d mm\b.*", unquoted)
    assert command[0] in ("lens", "next") or re.search(r"\bin\b", output)


def test_states_come_in_the_order_of_the_work(car):
    output = run("measure", car, "--no-pictures").output
    places = [output.index(f"  {state} ") for state in ("droop", "set", "ride", "fitted")]
    assert places == sorted(places)


@pytest.fixture(scope="module")
def found(car):
    import photoangle

    looks = looks_for(car)
    measurement = photoangle.measure(car, looks=looks)
    return measurement, looks


def test_the_first_line_has_the_bar_arm(found):
    figure = found[0]["front-left/fitted"].figure("bar_arm_angle", "chassis")
    first = measured.summary_lines(found[0], "car")[0]
    assert first == (f"front-left at ride height (fitted): bar arm level, {figure.value + 0.0:+.1f}° ±"
                     f" {(figure.high95 - figure.low95) / 2:.1f}.").replace("-0.0", "+0.0")


def test_the_length_to_set_is_in_the_first_sentence(found):
    import photoangle

    answer = photoangle.link(found[0], LinkRequest(state="set"), only="front-left", looks=found[1])["front-left"]
    present, change = answer.advice.figures["link_length"].value, answer.advice.change_mm
    words = linked.headline(answer)
    assert words.startswith(f"Set the link to {present + change:.1f} mm, {-change:.1f} mm shorter (12 1/2 turns); ")
    low, high = (present + c for c in answer.advice.any_of_mm)
    assert f"{low:.1f} to {high:.1f} mm will do" in words
    nearest = min(n.lowest for k, n in answer.proposed.nearest.items() if k in ("gap_min_eye", "gap_min_link",
                                                                               "gap_min_arm"))
    assert f"clears the hose by {nearest:.0f} mm at least" in linked.clearance(answer)


@pytest.mark.parametrize("asked, words", [
    (LinkRequest(state="set", length_mm=130.0), "a link of 130.0 mm"),
    (LinkRequest(state="set", change_mm=-50.0), "The adjuster does not reach it: the link goes no shorter than 112 mm"),
    (LinkRequest(state="set", lowered_mm=10.0), "the car 10.0 mm lower"),
    (LinkRequest(state="set", hole_mm=20.0), "the eye hole 20.0 mm nearer to the bush")])
def test_a_what_if_opens_with_the_angle_on_that_very_link(found, asked, words):
    import photoangle

    answer = photoangle.link(found[0], asked, only="front-left", looks=found[1])["front-left"]
    said = linked.what_if(answer, asked)
    figure = (answer.proposed or answer.present).at_ride["bar_arm_angle"]
    assert words in said and f"{abs(figure.value):.1f}°" in said
    lines = linked.short_lines(answer, asked)
    assert "WHAT IF" in lines[0] and said[:30] in lines[1]


def test_a_nearer_hole_is_stiffer_by_the_square_of_the_bars_turn(found):
    """Exactly: the bar turns by the eye's way over its lever, so that 20 mm off a lever of L makes the bar
    stiffer at the wheel by (L / (L - 20))^2, but for the link's lean."""
    import photoangle

    answer = photoangle.link(found[0], LinkRequest(state="set", hole_mm=20.0), only="front-left", looks=found[1])["front-left"]
    now, then = (r.at_ride["bar_turn_rate"].value for r in (answer.present, answer.proposed))
    lever = found[0]["front-left/set"].figure("bar_lever").value
    assert (then / now) ** 2 == pytest.approx((lever / (lever - 20)) ** 2, rel=0.05)
    assert "stiffer" in linked.stiffness(answer)


def test_did_it_work(found):
    import photoangle

    pair = photoangle.compare((found[0], "front-left/set"), (found[0], "front-left/fitted")).comparisons[0]
    words = compared.headline(pair)
    change = next(c for c in pair.changes if c.figure.name == "change:bar_arm_angle" and c.figure.datum == "chassis")
    assert words.startswith("It worked. The bar's arm went down by ")
    assert f"{-change.figure.value:.1f}° ± " in words
    sides = photoangle.compare((found[0], "front-left/set"), (found[0], "front-right/set")).comparisons[0]
    assert "worked" not in compared.headline(sides) and "front-right/set" in compared.headline(sides)


def test_lengths_that_can_be_had(car, tmp_path):
    root = shutil.copytree(car, tmp_path / "car")
    notes = (root / "car.toml").read_text()
    (root / "car.toml").write_text(notes.replace("[front-left.link]", '[front-left.link]\nlengths = ["120 mm", "135 mm"]', 1))
    content = json.loads(run("link", root, "--json", "--no-pictures", "--from", "set", "--only", "front-left").stdout)
    (answer,) = content["answers"]
    assert [(c["length_mm"], c["verdict"], c["best"]) for c in answer["lengths"]] == [
        (120.0, "as wanted", True), (135.0, "not as wanted", False)]
    assert "take 120.0 mm" in run("link", root, "--no-pictures", "--from", "set", "--only", "front-left").output


def test_json_carries_verdict_and_words(car):
    """The schema in DEVELOPERS.md."""
    content = json.loads(run("link", car, "--json", "--no-pictures").stdout)
    assert {a["corner"] for a in content["answers"]} == {"front-left", "front-right"}
    keys = {"corner", "state", "verdict", "sentence", "clearance", "what_if", "do", "set_to_mm", "change_mm",
            "will_do_mm", "half_turns", "lengths"}
    assert all(set(a) == keys for a in content["answers"])
    lens = json.loads(run("lens", car, "--json").stdout)
    assert set(lens) == {"version", "lenses", "findings"} and lens["lenses"][0]["good"] is True
    documented = (ROOT / "DEVELOPERS.md").read_text()
    assert all(f"`{key}`" in documented for key in (*keys, *lens["lenses"][0]))


def test_the_readmes_figures_are_the_demos(found):
    import photoangle

    readme = (ROOT / "README.md").read_text()
    answer = photoangle.link(found[0], LinkRequest(state="set"), only="front-left", looks=found[1])["front-left"]
    block = "\n".join("    " + line for line in linked.short_lines(answer))
    assert block in readme
    pair = photoangle.compare((found[0], "front-left/set"), (found[0], "front-left/fitted")).comparisons[0]
    (turned,) = re.findall(r"went down by (\S+ ± [\d.]+)", readme)
    assert turned in compared.headline(pair)
