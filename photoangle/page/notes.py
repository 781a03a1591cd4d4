"""car.toml changed from the page: one value at a time, the user's comments kept, checked before it is written
whole."""

from __future__ import annotations

import threading
import tomllib
from pathlib import Path

import tomlkit
import tomlkit.exceptions

from calib.files import toml_text, write_whole
from photoangle.carfile.kinds import Context, Key, Refused, Use
from photoangle.carfile.reader import CarFileError, key_at, names_below, parse_carfile
from photoangle.carfile.symlinks import fixed_link
from photoangle.page.names import is_state

_lock = threading.Lock()


class NotTaken(ValueError):
    """A value that is not written: what and what to do."""

    def __init__(self, what, do=""):
        super().__init__(what)
        self.what, self.do = what, do


def key_of(path):
    """The schema's Key at a path of keys, such as ("front-left", "tape", "set", "hub_to_arch").  Raises
    NotTaken."""
    key = None if path[1:2] == (
        "tape",) and not is_state(path[2] if len(path) > 2 else None) else key_at(path)
    if not isinstance(key, Key) or Use.PAGE not in key.use:
        raise NotTaken("this cannot be written from the page", "write it into car.toml yourself")
    return key


def fields_below(path, units):
    """(path, title, example) of every key right below a path, such as ("front-left", "link"), that the page
    may write."""
    out = []
    for name, key in (names_below(key_at(path)) or {}).items():
        if isinstance(key, Key) and Use.PAGE in key.use:
            title, example = name.replace("_deg", ", deg").replace("_", " "), key.example_in(units)
            out.append(("/".join((*path, name)), f"{title} ({key.words})" if key.words else title,
                        example[0] if isinstance(example, list) else example))
    return out


def parts_of(corner, units):
    """(title, words, fields as from `fields_below`) of a corner's sections that have such keys."""
    parts = [(name, getattr(key, "words", "")
              or getattr(key, "heading", ""), fields_below((corner, name), units))
             for name, key in names_below(key_at((corner,))).items()]
    return [(name.replace("_", " "), words, fields) for name, words, fields in parts if fields]


def read_as(path, written, units):
    """What a length was read as, in words; nothing for other kinds."""
    return key_of(path).read_as(written, Context(units)) if written else ""


def set_value(root, path, text):
    """Write one value into car.toml, or take it out where the text is empty.

    Parameters: root: car folder; path: tuple of keys; text: as typed.  Returns the text as written.
    Raises NotTaken, with car.toml as it was, and OSError.
    """
    value = _value(key_of(path), str(text).strip()[:80])
    file = Path(root) / "car.toml"
    link = fixed_link(root)
    if link is not None:
        raise NotTaken(f"{link.where}: {link.what}", link.do)
    with _lock:
        try:
            before = toml_text(file) if file.exists() else ""
            table = tomllib.loads(before)
            document = tomlkit.parse(before)
        except (ValueError, RecursionError, tomlkit.exceptions.TOMLKitError) as error:
            raise NotTaken(f"car.toml cannot be understood: {error}", "mend it first") from error
        _put(document, path, value, tomlkit.table)
        _put(table, path, value, dict)
        after = tomlkit.dumps(document)
        try:
            same = tomllib.loads(after) == table
        except tomllib.TOMLDecodeError:
            same = False
        if not same:
            raise NotTaken("car.toml is laid out so that the page cannot change it safely",
                           "write it in by hand")
        try:
            parse_carfile(table)
        except CarFileError as error:
            raise NotTaken(error.what, error.do) from error
        write_whole(file, after)
    return "" if value is None else str(value)


def _value(key, text):
    if not text:
        return None
    if any(not c.isprintable() for c in text):
        raise NotTaken("this has characters in it that cannot be read", "type it again")
    try:
        return key.from_text(text)
    except Refused as refused:
        raise NotTaken(refused.what.removeprefix(": "), refused.do) from refused


def _put(table, path, value, new):
    for key in path[:-1]:
        if key not in table:
            if value is None:
                return
            table[key] = new()
        table = table[key]
        if not isinstance(table, dict):
            raise NotTaken(f"{key} in car.toml is no section", "mend it first")
    if value is None:
        table.pop(path[-1], None)
    else:
        table[path[-1]] = value
