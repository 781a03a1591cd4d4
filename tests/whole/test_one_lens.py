"""States without lens photos are measured with one lens between them, whatever was measured before."""

import os
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calib.images.photo import CameraIdentity
from photoangle.pipeline.one_lens import SharedLens, StatePhotos, measured_together
from photoangle.reconstruction.lens.kept import NAME
from photoangle.reconstruction.lens.shown import LensShown

CAMERA = CameraIdentity("Plover", "P9", "", None, 26.0, 1.0, 4032, 3024)
SHARE = LensShown(CAMERA, "", (), np.r_[2900.0, 0, 2016, 1512, np.zeros(5)], np.zeros(9), np.eye(9), np.eye(9), 99.0)


@pytest.fixture
def folder(tmp_path):
    """A car folder of three states, photos of a few bytes each."""
    states = []
    for state in ("droop", "set", "ride"):
        path = tmp_path / "front-left" / state
        path.mkdir(parents=True)
        names = {}
        for k in range(2):
            names[f"front-left/{state}/{k}.jpg"] = path / f"{k}.jpg"
            (path / f"{k}.jpg").write_bytes(f"{state} {k}".encode())
        states.append(StatePhotos("front-left", state, path, names, f"car front-left/{state}", ("kit",)))
    return tmp_path, states


def measured_in(log, source="exif"):
    """A stand-in for measuring a state: notes whose photos served it."""
    def one(state, others):
        served = [s.state for s in others(CAMERA)]
        log.append((state.state, served))
        taken = SimpleNamespace(lens_source=source, camera=CAMERA)
        share = replace(SHARE, state=state.key) if source != "profile" else None
        scene = SimpleNamespace(lens_shown=share, photos=tuple(state.names), taken=taken)
        return SimpleNamespace(scene=scene, served=served), []

    return lambda asked: [one(state, others) for state, others in asked]


def test_each_is_served_by_the_others_and_a_second_run_is_the_same(folder):
    root, states = folder
    runs = []
    for _ in range(2):
        log = []
        done = measured_together(states, SharedLens(root, states), measured_in(log), True)
        runs.append([r.served for r, _ in done])
    assert runs[0] == runs[1]
    assert runs[0][0] == ["car front-left/ride", "car front-left/set"]
    # what was learnt is known: nothing is solved twice
    assert len(log) == 3


def test_one_state_measured_by_itself_is_served_by_those_before(folder):
    root, states = folder
    measured_together(states, SharedLens(root, states), measured_in([]), True)
    ((result, _),) = measured_together(states[:1], SharedLens(root, states), measured_in([]), True)
    assert result.served == ["car front-left/ride", "car front-left/set"]
    # its photos changed since: what they showed is forgotten
    next(iter(states[1].names.values())).write_bytes(b"taken anew")
    ((result, _),) = measured_together(states[:1], SharedLens(root, states), measured_in([]), True)
    assert result.served == ["car front-left/ride"]


def test_a_lens_profile_leaves_everything_as_it_was(folder):
    root, states = folder
    log = []
    measured_together(states, SharedLens(root, states), measured_in(log, "profile"), True)
    assert [served for _, served in log] == [[], [], []] and not (root / "results").exists()


def test_a_copy_of_a_photo_in_another_state_does_not_serve_it(folder):
    root, states = folder
    for name, path in states[1].names.items():
        path.write_bytes(next(p for n, p in states[0].names.items() if n[-5:] == name[-5:]).read_bytes())
    done = dict(zip([s.state for s in states],
                    [r.served for r, _ in measured_together(states, SharedLens(root, states), measured_in([]), True)],
                    strict=True))
    assert done["droop"] == done["set"] == ["car front-left/ride"]
    assert len(done["ride"]) == 1


def test_a_pipe_among_the_photos_is_not_waited_for(folder):
    root, states = folder
    os.mkfifo(states[0].folder / "pipe.jpg")
    states[0].names["front-left/droop/pipe.jpg"] = states[0].folder / "pipe.jpg"
    assert len(measured_together(states, SharedLens(root, states), measured_in([]), True)) == 3


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written_loses_nothing(folder):
    root, states = folder
    root.chmod(0o500)
    try:
        assert len(measured_together(states, SharedLens(root, states), measured_in([]), True)) == 3
        assert not (root / "results" / NAME).exists()
    finally:
        root.chmod(0o700)
