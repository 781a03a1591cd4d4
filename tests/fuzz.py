"""python -m tests.fuzz --minutes N: whatever is written in a file, its reader answers with values in range or
its own error."""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calib.images.heif import is_whole, stored_orientation
from calib.kit import KitError
from calib.lengths import LengthError, parse_length
from calib.profile import ProfileError, load_profiles
from photoangle.carfile.corrections import CorrectionsError, read_corrections
from photoangle.carfile.lengths import parse_reading
from photoangle.carfile.reader import CarFileError, parse_carfile, read_carfile
from photoangle.comparison.history import read_history
from photoangle.core.errors import CannotUse
from photoangle.core.kit import read_kit

FOLDER = Path(tempfile.mkdtemp(prefix="fuzz"))
WORDS = [
    "378 mm", "14 7/8 in", "about 3 cm", "1 +- 2 mm", "nan", "inf", "-5 mm", "1e400", "9" * 400, "9" * 5000,
    "1/" + "9" * 99, "plumb", "card", "none", "mm", "in", "front-left", "set", "droop", "bar_eye",
    "DICT_6X6_250", "\x1b[31m", "<b>", "٣ mm"
]
KEYS = [
    "car", "name", "units", "tape_division", "tape_class", "wheelbase", "kit", "print", "x_line", "y_line",
    "within", "level", "by", "floor_slope_along_deg", "front-left", "rear-right", "front",
    "bar_rate_n_per_mm", "set", "droop", "ride", "hub_to_arch", "family", "size", "any_id", "marker", "card",
    "id", "role", "side", "offset_mm", "columns", "rows", "square", "tag", "version", "profiles", "camera",
    "lens", "covariance", "figures", "photos", "made", "value", "u"
]
leaf = st.one_of(st.sampled_from(WORDS), st.text(max_size=30), st.floats(), st.integers(), st.just(10**400),
                 st.just(-10**400), st.booleans(), st.none())
tree = st.recursive(
    leaf,
    lambda inner: st.one_of(
        st.lists(inner, max_size=5),
        st.dictionaries(st.one_of(st.sampled_from(KEYS), st.text(max_size=8)), inner, max_size=6)),
    max_leaves=25)
table = st.dictionaries(st.sampled_from(KEYS), tree, max_size=6)
GOOD_PROFILE = {
    "camera": {
        "make": "P", "model": "9", "lens": "", "focal_mm": 4.0, "focal35_mm": 27.0, "zoom": 1.0,
        "width_px": 4000, "height_px": 3000
    }, "lens": [3000.0, 2000.0, 1500.0] + [0.0] * 6, "covariance": [[float(i == j) for j in range(9)]
                                                                    for i in range(9)], "shift_sigma": None,
    "floor_px": 0.1, "photos": 10, "rms_px": 0.1, "variance_factor": 1.0, "good_to_px": 0.1,
    "corners_good_to_px": 0.2, "made": "2025-01-01"
}
GOOD_RUN = {
    "corner": "front-left", "state": "set", "name": "bar_arm_angle", "datum": "level", "unit": "deg",
    "value": 1.0, "u": 0.1, "dof": 20.0, "low95": 0.8, "high95": 1.2
}


def _toml(value):
    """TOML of a tree, near enough: what TOML lacks is written all the same, to be refused."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return str(value).lower() if isinstance(value, (bool, float)) else json.dumps(value)


def _finite(value, seen=0):
    if isinstance(value, float):
        assert math.isfinite(value), value
    elif isinstance(value, dict):
        for v in value.values():
            _finite(v)
    elif hasattr(value, "__dataclass_fields__"):
        for name in value.__dataclass_fields__:
            _finite(getattr(value, name))
    elif isinstance(value, (list, tuple)):
        for v in value:
            _finite(v)


def tape(text):
    for reader in (parse_length, parse_reading):
        for units in ("mm", "in"):
            try:
                out = reader(text, units)
            except LengthError:
                continue
            _finite(out)


def carfile(content):
    path = FOLDER / "car.toml"
    path.write_bytes(content)
    try:
        _finite(read_carfile(path))
    except CarFileError as error:
        assert error.what and error.do


def cartable(content):
    try:
        _finite(parse_carfile(content))
    except CarFileError as error:
        assert error.what and error.do


def kit(content):
    path = FOLDER / "kit.toml"
    path.write_bytes(content)
    try:
        _finite(read_kit(path))
    except KitError as error:
        assert error.what and error.do


def profile(content):
    path = FOLDER / "profile.json"
    path.write_bytes(content)
    try:
        for p in load_profiles(path):
            _finite([p.rms_px, p.floor_px, p.good_to_px, p.lens.tolist(), p.covariance.tolist(), p.camera])
    except ProfileError as error:
        assert error.what and error.do


def history(content):
    target = FOLDER / "car" / "results" / "history"
    target.mkdir(parents=True, exist_ok=True)
    (target / "2025-01-01_000000.json").write_text(
        json.dumps({"version": 1, "made": "2025-01-01T00:00:00", "photos": {}, "figures": []}))
    (target / "2025-01-02_000000.json").write_bytes(content)
    try:
        from photoangle.comparison.history import season

        runs, _ = read_history(FOLDER / "car")
        season(runs)
        _finite([r.figures for r in runs])
    except CannotUse as error:
        assert error.what and error.do


def corrections(content):
    (FOLDER / "corrections.json").write_bytes(content)
    try:
        found = read_corrections(FOLDER)
        _finite([found.photos, found.roles])
        for name in [*found.photos, "front-left/set/a.jpg"]:
            found.of(name)
    except CorrectionsError as error:
        assert error.what and error.do


def heic(content):
    assert stored_orientation(content) in range(1, 9) and is_whole(content) in (True, False)


def _as_json(value):
    return json.dumps(value).encode()


def _as_toml(value):
    return "\n".join(f"{json.dumps(k)} = {_toml(v)}"
                     for k, v in value.items()).encode("utf-8", "surrogatepass")


def _changed(good):
    """A sound record with some entries replaced."""
    return st.dictionaries(st.sampled_from(sorted(good)), tree, max_size=2).map(lambda d: {**good, **d})


GOOD_FIX = {
    "version": 1, "photos": {
        "front-left/set/a.jpg": {"dismissed": [100], "placed": {"101": [[1, 2], [3, 4], [5, 6], [7, 8]]}}
    }, "roles": {"front-left/set": {"100": "bar_eye"}}
}
boxes = st.recursive(
    st.binary(max_size=24),
    lambda inner: st.lists(
        st.tuples(st.sampled_from([b"meta", b"pitm", b"iprp", b"ipco", b"ipma", b"irot", b"imir", b"mdat"]),
                  inner, st.integers(-2, 40)),
        max_size=4).map(lambda rows: b"".join(
            (8 + len(c) + (n if n < 0 else 0)).to_bytes(4, "big") + k + c for k, c, n in rows)),
    max_leaves=12)

TARGETS = {
    "corrections": (corrections,
                    st.one_of(st.binary(max_size=100), tree.map(_as_json),
                              _changed(GOOD_FIX).map(_as_json))),
    "heic": (heic, boxes),
    "tape": (tape, st.one_of(leaf, st.text(alphabet="0123456789 ./,-+±~inmcft\"'″aboute", max_size=40))),
    "car file, text": (carfile, st.one_of(st.binary(max_size=200), table.map(_as_toml))),
    "car file, table": (cartable, table),
    "kit": (kit, st.one_of(st.binary(max_size=200), table.map(_as_toml))),
    "profile": (profile,
                st.one_of(st.binary(max_size=100), tree.map(_as_json),
                          _changed(GOOD_PROFILE).map(lambda p: _as_json({"version": 1, "profiles": [p]})))),
    "history": (history,
                st.one_of(
                    st.binary(max_size=100), tree.map(_as_json),
                    st.tuples(_changed(GOOD_RUN), leaf).map(lambda p: _as_json({
                        "version": 1, "made": "2025-01-03T00:00:00+02:00", "photos": p[1]
                        if p[1] is None else {}, "figures": [p[0]]
                    })))),
}


def once(name, examples):
    """Try one reader with so many examples.  Raises what the reader should not have raised."""
    reader, strategy = TARGETS[name]

    @settings(max_examples=examples, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(strategy)
    def tried(value):
        reader(value)

    tried()


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("--minutes", type=float, default=10)
    end, counts, wrong = time.monotonic() + 60 * parser.parse_args().minutes, Counter(), {}
    while time.monotonic() < end:
        for name in TARGETS:
            if time.monotonic() > end or name in wrong:
                continue
            try:
                once(name, 500)
                counts[name] += 500
            except BaseException as error:
                if isinstance(error, KeyboardInterrupt):
                    raise
                wrong[name] = error
                print("WRONG",
                      name,
                      type(error).__name__,
                      str(error)[:200],
                      getattr(error, "__notes__", "")[:3],
                      flush=True)
        if len(wrong) == len(TARGETS):
            break
    print(dict(counts), flush=True)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
