"""A car folder from a stranger can do nothing but be measured: nothing outside is read or written, nothing is
waited for."""

import json
import os

import pytest
from click.testing import CliRunner
from PIL import Image

from calib.errors import InputError
from calib.profile import ProfileError, load_profiles
from photoangle.carfile.corrections import CorrectionsError, read_corrections
from photoangle.carfile.folder import load_car, load_kit
from photoangle.cli import main
from photoangle.comparison.history import SeasonStep, read_history, season
from photoangle.core.errors import CannotUse
from photoangle.core.figure import Figure
from photoangle.output.history_table import MOST_PANELS, history_lines, plot_history
from photoangle.page.notes import NotTaken, set_value
from photoangle.report.sheet import figures_csv
from tests.fuzz import GOOD_RUN

NASTY = "=1+2 \x1b]0;x\x07\u202e$\\frac$<b>{{7*7}}\n\r\t测"


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)


@pytest.fixture
def car(tmp_path):
    """A folder with one photo in which nothing is seen, beside a folder that is none of its business."""
    root, outside = tmp_path / "car", tmp_path / "outside"
    (root / "front-left" / "droop").mkdir(parents=True)
    outside.mkdir()
    (outside / "kit.toml").write_text('family = "DICT_6X6_250"\nsize = "50 mm"\nany_id = true\n')
    (outside / "secret.txt").write_text("secret")
    Image.new("L", (400, 300), 120).save(root / "front-left" / "droop" / "a.jpg")
    return root


@pytest.mark.parametrize("kit", [
    "../outside/kit.toml", "{outside}/kit.toml", "/etc/passwd", "front-left/../../outside/kit.toml",
    "linked.toml", "linked/kit.toml", "a\\u0000b", "round.toml", "~/kit.toml", "", ".", "gone.toml",
    "n" * 190 + "/" + "n" * 5
])
def test_a_kit_file_outside_is_not_read(car, kit):
    outside = car.parent / "outside"
    (car / "linked.toml").symlink_to(outside / "kit.toml")
    (car / "linked").symlink_to(outside)
    (car / "round.toml").symlink_to("round.toml")
    (car / "car.toml").write_text(f'[car]\nkit = "{kit.format(outside=outside)}"\n'[:300])
    with pytest.raises(InputError) as caught:
        load_kit(car, load_car(car))
    assert caught.value.do
    result = run("measure", car)
    assert (
        result.exit_code == 2
        and "secret" not in result.output + result.stderr
        and "Traceback" not in result.stderr
    )


@pytest.mark.parametrize(
    "name", ["car.toml", "kit.toml", "corrections.json", "lens/profile.json", "results/history/a.json"])
def test_a_pipe_is_not_waited_for(car, name):
    path = car / name
    path.parent.mkdir(parents=True, exist_ok=True)
    os.mkfifo(path)
    if name == "kit.toml":
        (car / "car.toml").write_text('[car]\nkit = "kit.toml"\n')
    result = run(*(("history", car) if "history" in name else ("measure", car)))
    assert result.exit_code == 2 and (name.rpartition("/")[2] in result.output + result.stderr)


@pytest.mark.parametrize(
    "name", ["results/front-left", "results/compare", "results/front-left/droop", "results/history"])
def test_no_result_is_written_through_a_link(car, name):
    outside = car.parent / "outside"
    (car / name).parent.mkdir(parents=True, exist_ok=True)
    (car / name).symlink_to(outside)
    (outside / "a.json").write_text(
        json.dumps({"version": 1, "made": "2025-01-01T00:00:00", "photos": {}, "figures": [GOOD_RUN]}))
    before = sorted(outside.iterdir())
    for command in ("measure", "report", "link", "next", "history"):
        result = run(command, car)
        assert result.exit_code == 2 and f"{name}: it is a link" in result.stderr, command
    assert sorted(outside.iterdir()) == before


def test_a_linked_car_file_is_not_written_from_the_page(car):
    outside = car.parent / "outside" / "car.toml"
    outside.write_text('[car]\nname = "theirs"\n')
    (car / "car.toml").symlink_to(outside)
    with pytest.raises(NotTaken, match="link"):
        set_value(car, ("car", "name"), "mine")
    assert outside.read_text() == '[car]\nname = "theirs"\n' and (car / "car.toml").is_symlink()


@pytest.mark.parametrize("version", [0, 2, None, "1"])
def test_corrections_of_another_version(car, version):
    (car / "corrections.json").write_text(json.dumps({"version": version}))
    with pytest.raises(CorrectionsError, match="version"):
        read_corrections(car)


@pytest.mark.parametrize(
    "content",
    [{"roles": {"front-left/set": {"100": []}}}, {"roles": {"front-left/set": {"100": None}}},
     {"photos": {"a": {"dismissed": [[]]}}}, {"photos": {"a": {"placed": {"1": [[1, 2]]}}}}, {"photos": []}])
def test_corrections_that_are_refused(car, content):
    (car / "corrections.json").write_text(json.dumps({"version": 1} | content))
    with pytest.raises(CorrectionsError) as error:
        read_corrections(car)
    assert error.value.do


def test_a_profile_says_where_it_is_from_and_what_to_do(car):
    (car / "profile.json").write_text('{"version": 9, "profiles": []}')
    with pytest.raises(ProfileError) as error:
        load_profiles(car / "profile.json")
    assert "version 9" in error.value.what and "photoangle lens" in error.value.do


def test_names_are_text_wherever_they_are_shown(car, tmp_path):
    """A state called like a command for a terminal, a spreadsheet, a browser or a formula."""
    name = NASTY.replace("/", "")
    figure = Figure("front-left", name, "bar_arm_angle", name, "deg", 1.0, 0.1, 9.0, 0.8, 1.2)
    sheet = figures_csv([figure])
    assert all(c.isprintable() or c == "\n"
               for c in sheet) and "'=1+2" in sheet and len(sheet.splitlines()) == 2
    folder = car / "results" / "history"
    folder.mkdir(parents=True)
    for day in (1, 2):
        (folder / f"{day}.json").write_text(
            json.dumps({
                "version": 1, "made": f"2025-01-0{day}T00:00:00", "photos": {},
                "figures": [{**GOOD_RUN, "state": name, "unit": name}]
            }))
    steps = season(read_history(car)[0])
    assert all(c.isprintable() for line in history_lines(steps) for c in line)
    result = run("history", car, "--plot", tmp_path / "plot.svg")
    assert result.exit_code == 0 and all(c.isprintable() or c == "\n" for c in result.output)
    drawn = (tmp_path / "plot.svg").read_text()
    assert "7*7" in drawn and "<b>" not in drawn and "\x1b" not in drawn and "\u202e" not in drawn


def test_too_many_figures_for_one_plot_are_refused(tmp_path):
    figures = [
        Figure("front-left", "set", f"name {k}", None, "deg", 1.0, 0.1, 9.0, 0.8, 1.2)
        for k in range(MOST_PANELS + 1)
    ]
    with pytest.raises(CannotUse):
        plot_history({("front-left", "set", f.name, None): [SeasonStep(None, f)]
                      for f in figures}, tmp_path / "a.png")


@pytest.mark.parametrize("made", ["0001-01-01T00:00:00", "9999-12-31T23:59:59"])
def test_records_of_times_that_cannot_be(car, made):
    folder = car / "results" / "history"
    folder.mkdir(parents=True)
    (folder / "a.json").write_text(
        json.dumps({"version": 1, "made": made, "photos": {}, "figures": [GOOD_RUN]}))
    with pytest.raises(CannotUse):
        read_history(car)
