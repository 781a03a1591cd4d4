"""At the locks and near the bump stop nothing is modelled: what was photographed there counts."""

import shutil

import pytest

import photoangle
from photoangle.core.states import LOCKS, in_order, is_looked_at
from photoangle.linkage.advice import CANNOT_TELL, LEAVE
from photoangle.output.summary.linked import clearance
from photoangle.pipeline.kept import FOLDER, looks_for


@pytest.fixture(scope="module")
def car(car_copy, tmp_path_factory):
    """The demo car with its fitted corner once more as if the steering were hard over to the left."""
    root = tmp_path_factory.mktemp("locks") / "car"
    for part in ("lens", "front-left", FOLDER):
        shutil.copytree(car_copy[0] / part, root / part)
    shutil.copyfile(car_copy[0] / "car.toml", root / "car.toml")
    (root / "front-left" / "lock-left").mkdir()
    for photo in sorted((root / "front-left" / "fitted").glob("*.jpg"))[:3]:
        # other bytes, so that it is another photo
        (root / "front-left" / "lock-left" / f"L{photo.name}").write_bytes(photo.read_bytes() + b"\0")
    return root


@pytest.fixture(scope="module")
def measured(car):
    return photoangle.measure(car, keep=True)


def answered(measured, car, state=None):
    return photoangle.link(measured, photoangle.LinkRequest(state=state), only="front-left", looks=looks_for(car))[
        "front-left"]


def test_what_was_photographed_at_a_lock_is_told(measured, car):
    answer = answered(measured, car)
    (seen,) = answer.looked_at
    gap = min(f.value for f in measured["front-left/lock-left"].figures if f.name.startswith("hose_gap"))
    assert seen.state == "lock-left" and seen.gap.value == gap and seen.this_link and not seen.too_near
    said = clearance(answer)
    assert f"{gap:.0f} mm at lock-left" in said and "Not looked at: lock-right." in said
    assert answer.advice.verdict == LEAVE
    # nothing is answered from it, and no straight steering is asked of it
    assert answer.base.state == "fitted" and answer.carried_from == "droop"
    assert not any("steering" in f.what for f in measured.findings)


def test_another_link_is_to_be_looked_at_again(measured, car):
    answer = answered(measured, car, "droop")
    assert [s.this_link for s in answer.looked_at] == [True]  # advised is the length that is in there
    answer = photoangle.link(measured, photoangle.LinkRequest(state="fitted", change_mm=20.0), only="front-left")[
        "front-left"]
    assert not answer.looked_at[0].this_link
    assert "Seen with another link, look again: lock-left." in clearance(answer)


def test_too_near_at_a_lock_is_no_verdict(car, tmp_path):
    root = shutil.copytree(car, tmp_path / "car")
    notes = (root / "car.toml").read_text()
    (root / "car.toml").write_text(notes.replace("wanted_gap", "# wanted_gap").replace(
        "[front-left.hose]", '[front-left.hose]\nwanted_gap = "90 mm"', 1))
    measured = photoangle.measure(root, keep=True)
    answer = answered(measured, root)
    assert answer.looked_at[0].too_near and answer.advice.verdict == CANNOT_TELL
    assert any("at lock-left the bar's eye is" in why for why in answer.held_back)


def test_their_place_in_the_order_of_the_work():
    class At:
        def __init__(self, state):
            self.state = state

    states = ["fitted", "lock-right", "bump", "set", "droop", "ride", "lock-left", "halfway"]
    assert [s.state for s in in_order([At(s) for s in states])] == [
        "droop", "halfway", "set", "ride", "fitted", "bump", "lock-left", "lock-right"]
    assert all(is_looked_at(s) for s in (*LOCKS, "bump", "bump-2")) and not is_looked_at("set")
