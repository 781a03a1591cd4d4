"""What is kept between commands: found by what it was made from, and nothing but data."""

import os
import pickle
from pathlib import Path

import numpy as np
import pytest

from photoangle.carfile.store import Store
from photoangle.core.findings import NOTE, Finding


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "car" / "results" / "kept", tmp_path / "car")


def only_entry(store):
    (path,) = store.folder.glob("*.kept")
    return path


def test_comes_back_as_it_was(store):
    key = store.key("thing", 1)
    array = np.linspace(0, 1, 7) / 3
    store.put(key, (Finding(NOTE, "here", "what", "do"), {"a": array}))
    finding, arrays = store.get(key)
    assert finding == Finding(NOTE, "here", "what", "do")
    assert arrays["a"].tobytes() == array.tobytes()


def test_a_key_is_all_that_it_was_made_from(store):
    base = ("a", 1.0, np.array([1.0, 2.0]), (Path("x"), None), {"k": Finding(NOTE, "w", "x", "y")})
    same = ("a", 1.0, np.array([1.0, 2.0]), (Path("x"), None), {"k": Finding(NOTE, "w", "x", "y")})
    assert store.key("t", *base) == store.key("t", *same)
    others = [("b", *base[1:]), (*base[:1], np.nextafter(1.0, 2), *base[2:]),
              (*base[:2], np.array([1.0, np.nextafter(2.0, 3)]), *base[3:]),
              (*base[:2], np.array([[1.0], [2.0]]), *base[3:]),
              (*base[:3], (Path("y"), None), base[4]),
              (*base[:4], {"k": Finding(NOTE, "w", "x", "z")})]
    keys = {store.key("t", *base), store.key("other", *base), *(store.key("t", *o) for o in others)}
    assert len(keys) == 2 + len(others)


def test_two_texts_are_not_one(store):
    assert store.key("t", ("ab", "c")) != store.key("t", ("a", "bc"))
    assert store.key("t", [("a",), "b"]) != store.key("t", [("a", "b")])


def test_what_cannot_be_said_is_refused(store):
    with pytest.raises(TypeError):
        store.key("t", object())


@pytest.mark.parametrize("harm", ["cut", "changed", "empty", "grown"])
def test_a_harmed_entry_is_none(store, harm):
    key = store.key("t", 1)
    store.put(key, list(range(100)))
    path = only_entry(store)
    data = bytearray(path.read_bytes())
    if harm == "changed":
        data[-5] ^= 1
    path.write_bytes({"cut": data[:-1], "changed": data, "empty": b"", "grown": data + b"x"}[harm])
    assert store.get(key) is None


def test_an_entry_under_another_name_is_none(store):
    first, second = store.key("t", 1), store.key("t", 2)
    store.put(first, "first")
    os.rename(only_entry(store), store.folder / f"{second}.kept")
    assert store.get(second) is None


class Harm:
    def __reduce__(self):
        return os.system, ("touch harmed",)


@pytest.mark.parametrize("value", [Harm(), os.system, Path.unlink, pickle.loads])
def test_nothing_but_data_comes_out(store, tmp_path, monkeypatch, value):
    """A car folder from a stranger, its digests right: a call in it is not made."""
    monkeypatch.chdir(tmp_path)
    key = store.key("t", 1)
    store.put(key, value)
    assert only_entry(store).exists() and store.get(key) is None
    assert not (tmp_path / "harmed").exists()


def test_moves_with_its_folder(store, tmp_path):
    car = tmp_path / "car"
    key = store.key("t", 1)
    value = (car / "front-left" / "a.jpg", f"{car} front-left/droop", f"{car}pet", (str(car), "x"))
    store.put(key, value)
    assert store.get(key) == value
    there = car.rename(tmp_path / "elsewhere")
    moved = Store(there / "results" / "kept", there)
    assert moved.key("t", 1) == key
    assert moved.get(key) == (there / "front-left" / "a.jpg", f"{there} front-left/droop", f"{car}pet",
                              (str(there), "x"))


def test_never_grows_without_end(store, monkeypatch):
    monkeypatch.setattr("photoangle.carfile.store._MOST_BYTES", 50_000)
    keys = [store.key("t", n) for n in range(8)]
    for n, key in enumerate(keys):
        store.put(key, bytes(10_000))
        os.utime(store.folder / f"{key}.kept", (n, n))
    assert sum(p.stat().st_size for p in store.folder.iterdir()) <= 50_000
    assert store.get(keys[0]) is None and store.get(keys[-1]) is not None


def test_where_nothing_can_be_kept_nothing_happens(tmp_path):
    (tmp_path / "results").write_text("in the way")
    store = Store(tmp_path / "results" / "kept", tmp_path)
    key = store.key("t", 1)
    store.put(key, 1)
    assert store.get(key) is None
