"""Photos in the wrong place, folders under another name: said where they were seen and where they belong."""

import shutil

import pytest
from PIL import Image

from photoangle.carfile.misplaced import (
    as_car_folder,
    check_only,
    corner_meant,
    misplaced_photos,
    state_meant,
)
from photoangle.core.errors import InputError
from photoangle.core.states import CORNERS, STATES
from tests.whole.test_commands import run


@pytest.fixture
def photo(tmp_path):
    path = tmp_path / "a.jpg"
    Image.new("L", (64, 48), 128).save(path)
    return path


@pytest.mark.parametrize("place, said", [
    ("", "move them into"), ("front-left", "front-left/droop"), ("Front Left/droop", "rename the folder to front-left"),
    ("frontleft/droop", "rename the folder to front-left"), ("fl/set", "rename the folder to front-left"),
    ("rear_right", "rename the folder to rear-right"), ("droop", "front-left/droop"), ("Set", "front-left/set"),
    ("front-left/drop", "rename the folder to front-left/droop"),
    ("front-right/Droop", "rename the folder to front-right/droop"),
    ("front-left/fited", "rename the folder to front-left/fitted")])
def test_is_said(tmp_path, photo, place, said):
    root = tmp_path / "car"
    (root / place).mkdir(parents=True)
    shutil.copy(photo, root / place / "a.jpg")
    (finding,) = misplaced_photos(root)
    assert said in finding.do
    if "front-left/" not in place and "front-right/" not in place:  # nothing that could be measured
        result = run("measure", root)
        assert result.exit_code == 2 and said in result.output.replace("\n", " ")


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("state", [*STATES, "set-2", "fitted2", "halfway"])
def test_the_right_place_is_not(tmp_path, photo, corner, state):
    (tmp_path / "car" / corner / state).mkdir(parents=True)
    shutil.copy(photo, tmp_path / "car" / corner / state / "a.jpg")
    assert misplaced_photos(tmp_path / "car") == [] and state_meant(state) is None


@pytest.mark.parametrize("name", ["holiday", "wheels-off", "left", "notes"])
def test_other_folders_are_left_alone(name):
    assert corner_meant(name) is None


@pytest.mark.parametrize("given, said", [("front-left", "--only front-left"),
                                         ("front-left/droop", "--only front-left/droop")])
def test_a_corner_or_state_given_as_the_car(tmp_path, given, said):
    (tmp_path / "car" / given).mkdir(parents=True)
    with pytest.raises(InputError) as raised:
        as_car_folder(tmp_path / "car" / given)
    assert raised.value.do.endswith(said)


@pytest.mark.parametrize("only, said", [("set", "--only rear-left/set"), ("FL/set", "front-left/set"),
                                        ("frontleft", "front-left"), ("nonsense", "rear-left/set")])
def test_only(tmp_path, photo, only, said):
    (tmp_path / "rear-left" / "set").mkdir(parents=True)
    shutil.copy(photo, tmp_path / "rear-left" / "set" / "a.jpg")
    with pytest.raises(InputError) as raised:
        check_only(only, tmp_path)
    assert said in raised.value.do
