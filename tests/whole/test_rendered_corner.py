"""Another invented corner's photos, with markers on tall stand-offs and a plumb string."""

import json
import shutil

import numpy as np
import pytest

from calib.poses import fit_rigid
from tests.conftest import quiet

NOTES = """
[print]
x_line = "200.0 mm"
y_line = "150.0 mm"
[front-left]
stuck_within = "0.6 mm"
[front-left.standoff]
{standoffs}
"""
ROLES = {
    "100": "bar_bush", "101": "bar_eye", "102": "link_foot", "103": "arm_pivot_front",
    "104": "arm_pivot_rear", "105": "arm_ball_joint", "106": "hub", "107": "arch_lip", "108": "sill_front",
    "109": "sill_rear"
}
LINES = {"bar_arm": ([100], [101]), "link": ([102], [101]), "control_arm": ([103, 104], [105]),
         "control_arm_front_leg": ([103], [105]), "arm_axis": ([104], [103]), "sill": ([109], [108])}


@pytest.fixture(scope="module")
def measured(shared_data, tmp_path_factory):
    from photoangle.pipeline import measure_folder

    source = shared_data / "rendered_corner"
    root = tmp_path_factory.mktemp("corner")
    shutil.copytree(source / "lens" / "photos", root / "lens")
    for state in ("droop", "ride"):
        shutil.copytree(source / state / "photos", root / "front-left" / state)
    for path in [root, *root.rglob("*")]:
        path.chmod(0o755 if path.is_dir() else 0o644)
    # each stand-off was read in both states
    first, second = (json.loads((source / s / "tape.json").read_text())["standoff_reading_mm"]
                     for s in ("droop", "ride"))
    lines = [
        f'{ROLES[i]} = ["{mm} mm +- 0.9", "{second[i]} mm +- 0.9"]' for i, mm in first.items() if i in ROLES
    ]
    (root / "car.toml").write_text(NOTES.format(standoffs="\n".join(lines)))
    truth = {s: json.loads((source / s / "truth.json").read_text()) for s in ("droop", "ride")}
    return measure_folder(root, quiet), truth


def states(measured):
    return {s.state: s for s in measured[0].states}


def test_every_expected_tag_is_found_and_no_other(measured):
    expected = found = 0
    for name, state in states(measured).items():
        photos = {p["file"]: p for p in measured[1][name]["photos"]}
        for sighting in state.sightings:
            photo = photos[sighting.name.split("/")[-1]]
            true = {t["id"]: np.array(t["corners_px"]) for t in photo["tags"]}
            want = {t["id"] for t in photo["tags"] if t["expected"]}
            expected += len(want)
            found += len(want & set(sighting.tags))
            for i, tag in sighting.tags.items():
                assert i in true and np.abs(tag.corners_px - true[i]).max() < 2.0
    assert (found, expected) == (112, 112)


def test_centres_lengths_and_elevations(measured):
    """Tag centres: lengths 0.1 mm, elevations 0.005 deg RMS against gravity (0.021 by the markers on the string
    alone)."""
    for name, state in states(measured).items():
        truth = measured[1][name]["answers_tagcentre"]
        at = {i: p.translation_mm for i, p in state.scene.markers.items()}
        elevation = []
        for line, (start, end) in LINES.items():
            v = np.mean([at[i] for i in end], 0) - np.mean([at[i] for i in start], 0)
            assert abs(np.linalg.norm(v) - truth[line]["length_mm"]) < 0.1, line
            rise = np.degrees(np.arcsin(v @ state.up.vector / np.linalg.norm(v)))
            elevation.append(rise - truth[line]["elevation_deg"])
        assert np.sqrt(np.mean(np.square(elevation))) < 0.005


def figures_against(measured, answers):
    """Pairs of a joint-to-joint figure and what it should be."""
    for f in measured[0].report.figures:
        truth = measured[1][f.state][answers]
        line = f.name.rsplit("_", 1)[0]
        if f.name.endswith("_elevation") and f.datum == "gravity":
            yield f, truth[line]["elevation_deg"]
        elif f.name.endswith("_length") and line in truth:
            yield f, truth[line]["length_mm"]
        elif f.name == "sill_slope":
            yield f, truth["sill"]["elevation_deg"]


def test_joints_as_good_as_their_standoffs(measured):
    """Joints behind markers, sticking aside (no photo shows it): every angle within 0.15 deg, every length
    within 0.5 mm."""
    pairs = list(figures_against(measured, "answers_standoff_corrected"))
    assert len(pairs) >= 14
    for f, value in pairs:
        assert abs(f.value - value) < (0.5 if f.name.endswith("_length") else 0.15), (f.state, f.name,
                                                                                      f.value - value)


def test_joints_and_their_intervals(measured):
    """Against the true joints, sticking included."""
    errors = [((f.value - value) / f.u, f.low95 <= value <= f.high95)
              for f, value in figures_against(measured, "answers_joint")]
    z, inside = np.array(errors).T
    # one draw of ten markers' sticking, shared by both states, so that one miss comes twice: the demo car's
    # test is the sharper one
    assert len(z) >= 14 and inside.mean() >= 0.85 and np.abs(z).max() < 2.5
    assert 0.4 < np.sqrt(np.mean(np.square(z))) < 1.4


def test_a_knocked_arch_marker_is_noticed(measured):
    """The arch lip's marker sits 0.8 mm elsewhere on the car in the two states; the others do not."""
    assert states(measured)["droop"].tie.moved == (107,)
    shared = states(measured)["droop"].tie.shared
    a, b = (np.array([states(measured)[s].scene.markers[i].translation_mm for i in shared])
            for s in ("droop", "ride"))
    assert np.linalg.norm(fit_rigid(a, b).apply(a) - b, axis=1).max() < 0.3
