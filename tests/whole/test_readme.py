"""Every command that the README and the help topics show runs as it is written."""

import re
import shutil

import pytest

from photoangle.commands.help import TOPICS, topic_text
from photoangle.pipeline.kept import FOLDER
from tests.conftest import ROOT
from tests.whole.test_commands import run

# What waits for a browser, takes the whole demo, or stands for any word.
# (pointing needs a place in a photo: tests/pointing)
_NOT_HERE = re.compile(r"photoangle (page|demo|point)\b|BEFORE|TOPIC|FILE\b")


def commands():
    """Commands of the README and the topics, each once, without what stands in parentheses behind them."""
    found = []
    for text in ((ROOT / "README.md").read_text(), *(topic_text(t) for t in TOPICS if t != "car.toml")):
        found += re.findall(r"^ +(photoangle [^\n(]+?) *(?:\(.*)?$", text, re.M)
        found += re.findall(r"`(photoangle [^`\n]+)`", text)
        found += re.findall(r"(?<![`\w])(photoangle [a-z]+ (?:my-car|--screen)[\w./ -]*)(?=[ ,.:;)]|$)", text, re.M)
    return sorted({re.sub(r"[ .:,;]+$", "", re.sub(r"\s+(says|lists|writes|serves|gives|is|as).*", "", c))
                   for c in found if not _NOT_HERE.search(c)})


@pytest.fixture(scope="module")
def garage(car_copy, tmp_path_factory):
    """A folder with my-car in it, measured before, and the sample photos beside it."""
    here = tmp_path_factory.mktemp("garage")
    for part in ("lens", "front-left", FOLDER):
        shutil.copytree(car_copy[0] / part, here / "my-car" / part)
    shutil.copyfile(car_copy[0] / "car.toml", here / "my-car" / "car.toml")
    shutil.copytree(car_copy[0] / "single", here / "sample_images" / "single")
    run("measure", here / "my-car", "--no-pictures")
    return here


def test_there_are_commands_of_every_kind():
    names = {c.split()[1] for c in commands()}
    assert names >= {"kit", "start", "lens", "measure", "next", "link", "report", "compare", "history", "help"}


@pytest.mark.parametrize("command", commands())
def test_runs_as_written(garage, monkeypatch, command):
    monkeypatch.chdir(garage)
    arguments = command.split()[1:]
    if arguments[0] in ("measure", "link", "next", "compare") and "--no-pictures" not in arguments:
        arguments.append("--no-pictures")
    result = run(*arguments)
    assert result.exit_code in (0, 1), (command, result.output, result.stderr)
