"""A user's own kit file: tags they already have, told in a small TOML file.

    family = "DICT_6X6_250"     # an OpenCV dictionary; or as people write it: 6x6_250, tag36h11
    size = "50 mm"              # of every marker that does not say otherwise
    any_id = true               # any other id of the family is a spare marker

    [[marker]]
    id = 23
    size = "2 in"
    role = "top_left"           # one of the roles; left out: a marker without a role
    offset_mm = [0, 45]         # the joint in the tag's own plane: x right, y down
    side = "right"              # left out: "either"

    [card]                      # left out: no card
    columns = 5
    rows = 7
    square = "40 mm"
    tag = "20 mm"
    first_id = 0
    legacy = true
    family = "DICT_6X6_250"
    x_line = "200 mm"           # print-check lines; left out: the board's own width
    y_line = "280 mm"           # and height, which a rule can measure as well

A size is the side of the black square. A bare number is millimetres.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Mapping

from calib.files import toml_text
from calib.kit import FAMILIES, CardSpec, Kit, KitError, Role, Slot, family_named, form_of, unnamed_role
from calib.lengths import LengthError, parse_length, unit_of

_SMALLEST_MM, _LARGEST_MM = 3.0, 3000.0

_TOP_KEYS = ("family", "size", "any_id", "marker", "card")
_MARKER_KEYS = ("id", "size", "role", "offset_mm", "side")
_CARD_KEYS = ("columns", "rows", "square", "tag", "first_id", "legacy", "family",
              "x_line", "y_line")


def read_kit(path: str | os.PathLike, roles: Mapping[str, Role]) -> Kit:
    """Read and check a kit file; ``roles``, by their keys, are those that its markers may have.

    Raises KitError, with what is wrong, where and what to do, for anything that the file
    can have wrong: missing, not TOML, unknown keys, wrong kinds of value, ids that the
    family does not have or that are used twice.
    """
    where = os.fspath(path)
    data = _load(where)
    _known(data, _TOP_KEYS, where)
    family = _family(data, where)
    default_mm = length_mm(data["size"], f"{where}: size") if "size" in data else None
    any_id = _typed(data, "any_id", bool, where, False)
    card = _card(_typed(data, "card", dict, where, None), family, f"{where}: [card]")
    taken = set(card.tag_ids) if card and card.family == family else set()

    slots: dict[int, Slot] = {}
    for n, row in enumerate(_typed(data, "marker", list, where, []), start=1):
        at = f"{where}: [[marker]] number {n}"
        tag_id, slot = _marker(row, family, default_mm, roles, at)
        if tag_id in slots:
            raise KitError(at, f"id {tag_id} is used twice", "give every marker its own id")
        if tag_id in taken:
            raise KitError(at, f"id {tag_id} is one of the card's own tags",
                           "use another id, or set the card's first_id")
        slots[tag_id] = slot

    if any_id and default_mm is None:
        raise KitError(where, "any_id needs to know how large the tags are",
                       'add a line like  size = "50 mm"  at the top')
    if not slots and not any_id and card is None:
        raise KitError(where, "no marker and no card",
                       "add a [[marker]] with its id and size, or  any_id = true")
    return Kit(family, dict(sorted(slots.items())), card, default_mm if any_id else None)


def length_mm(value: object, where: str) -> float:
    """A printed length in mm from "50 mm", "2 in", "1 3/4 in", "5 cm" or a number (mm).

    Raises KitError for anything else, and for lengths that cannot be meant."""
    try:
        mm = parse_length(value)
    except LengthError as error:
        raise KitError(where, f"this should be a length: {error.what}",
                       'write it like "50 mm" or "2 in"') from error
    if isinstance(value, str) and unit_of(value) is None:
        raise KitError(where, f'"{value}" has no unit', 'write it like "50 mm" or "2 in"')
    if not _SMALLEST_MM <= mm <= _LARGEST_MM:
        raise KitError(where, f"{mm:g} mm cannot be right",
                       'a bare number is millimetres: for inches write "2 in"')
    return mm


def _load(where: str) -> dict:
    try:
        # utf-8-sig: some editors put a byte-order mark in front.
        return tomllib.loads(toml_text(where))
    except OSError as error:
        raise KitError(where, f"cannot be read ({error.strerror})",
                       "check the file's name and folder") from error
    except UnicodeDecodeError as error:
        raise KitError(where, "is not plain UTF-8 text",
                       "save it as plain text, encoding UTF-8") from error
    except RecursionError as error:
        raise KitError(where, "is nested too deeply", "start from a fresh one") from error
    except ValueError as error:  # tomllib's own, and a whole number of thousands of digits
        raise KitError(where, f"not understood: {error}",
                       'look at that line; names and lengths stand in quotes, as in size = "50 mm"'
                       ) from error


def _known(table: dict, keys: tuple[str, ...], where: str) -> None:
    for key in table:
        if key not in keys:
            raise KitError(where, f'unknown key "{key}"', _nearest(key, keys))


def _nearest(word: str, known) -> str:
    known = list(known)
    close = difflib.get_close_matches(word, known, 1, 0.5)
    return f'did you mean "{close[0]}"?' if close else "known are: " + ", ".join(known)


_KINDS = {bool: "true or false", int: "a whole number", str: "a name in quotes",
          list: "a list", dict: "a section, as in [card]"}


def _typed(table: dict, key: str, kind: type, where: str, default):
    if key not in table:
        return default
    value = table[key]
    # bool is an int in Python, but "id = true" is a slip.
    if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
        do = "start each with [[marker]]" if key == "marker" else f"write {_KINDS[kind]}"
        raise KitError(where, f'"{key}" has the wrong kind of value', do)
    return value


def _needed(table: dict, key: str, where: str) -> None:
    if key not in table:
        raise KitError(where, f'"{key}" is missing', f"add a line  {key} = ...")


def _family(table: dict, where: str, default: str | None = None) -> str:
    if default is None:
        _needed(table, "family", where)
    name = _typed(table, "family", str, where, default)
    family = family_named(name)
    if family is None:
        raise KitError(where, f'unknown family "{name}"', _nearest(name, FAMILIES))
    return family


def _marker(row: object, family: str, default_mm: float | None, roles: Mapping[str, Role],
            where: str) -> tuple[int, Slot]:
    if not isinstance(row, dict):
        raise KitError(where, '"marker" has the wrong kind of value', "start each with [[marker]]")
    _known(row, _MARKER_KEYS, where)
    _needed(row, "id", where)
    tag_id = _typed(row, "id", int, where, None)
    _id_fits(tag_id, tag_id, family, where)
    size = length_mm(row["size"], f"{where}, size") if "size" in row else default_mm
    if size is None:
        raise KitError(where, "no size", 'add  size = "50 mm"  (the side of the black square)')

    key = _typed(row, "role", str, where, None)
    if key is not None and key not in roles:
        raise KitError(where, f'unknown role "{key}"', _nearest(key, roles))
    role = roles[key] if key else unnamed_role(tag_id)

    side = _typed(row, "side", str, where, "either")
    if side not in ("either", "right"):
        raise KitError(where, f'unknown side "{side}"', 'write "either" or "right"')
    joint = _typed(row, "offset_mm", list, where, [0, 0])
    numbers = [v for v in joint if isinstance(v, (int, float)) and not isinstance(v, bool)]
    if len(joint) != 2 or len(numbers) != 2 or not all(abs(v) <= _LARGEST_MM for v in numbers):
        raise KitError(where, "offset_mm is not two numbers",
                       "write  offset_mm = [x, y], x to the right and y down on the tag, in mm")
    joint_xy = (float(joint[0]), float(joint[1]))
    return tag_id, Slot(role, form_of(size, joint_xy), size, family, joint_xy, side)


def _card(table: dict | None, family: str, where: str) -> CardSpec | None:
    if table is None:
        return None
    _known(table, _CARD_KEYS, where)
    for key in ("columns", "rows", "square", "tag"):
        _needed(table, key, where)
    columns = _typed(table, "columns", int, where, None)
    rows = _typed(table, "rows", int, where, None)
    if not (3 <= columns <= 100 and 3 <= rows <= 100):
        raise KitError(where, f"a card of {columns} by {rows} squares cannot be used",
                       "count the squares along and down, black and white: 3 to 100 of each")
    square = length_mm(table["square"], f"{where}, square")
    tag = length_mm(table["tag"], f"{where}, tag")
    if tag >= square:
        raise KitError(where, f"its tags ({tag:g} mm) do not fit its squares ({square:g} mm)",
                       "measure the side of one chessboard square and of one tag's black square")
    card = CardSpec(
        columns, rows, square, tag,
        first_id=_typed(table, "first_id", int, where, 0),
        legacy=_typed(table, "legacy", bool, where, False),
        family=_family(table, where, family),
        x_line_mm=(length_mm(table["x_line"], f"{where}, x_line") if "x_line" in table
                   else columns * square),
        y_line_mm=(length_mm(table["y_line"], f"{where}, y_line") if "y_line" in table
                   else rows * square),
    )
    _id_fits(card.tag_ids[0], card.tag_ids[-1], card.family, where)
    return card


def _id_fits(first: int, last: int, family: str, where: str) -> None:
    count = FAMILIES[family][1]
    if first < 0 or last >= count:
        wrong = first if first < 0 else last
        raise KitError(where, f"{family} has no id {wrong}", f"its ids are 0 to {count - 1}")
