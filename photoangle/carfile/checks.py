"""Checks that every section of car.toml goes through: known keys, types, ranges, lengths.

Each failure says where, what is wrong and what to do.
"""

from __future__ import annotations

import difflib
import math
import statistics

from calib.errors import InputError
from photoangle.carfile.lengths import Reading, TapeError, parse_length, parse_reading


class CarFileError(InputError):
    """A car.toml that cannot be used: where in it, what is wrong, what to do."""


class Checks:
    """Checks one table after the other; ``where`` starts every message."""

    def __init__(self, where):
        self.where, self.units, self.division, self.tape_class = where, "mm", 1.0, "II"

    def fail(self, key, what, do):
        raise CarFileError(f"{self.where}, {key}" if key else self.where, what, do)

    def known(self, table, keys, path):
        for key in table:
            if key not in keys:
                near = difflib.get_close_matches(str(key), keys, 1, 0.5)
                hint = f"did you mean {near[0]!r}?" if near else "known here: " + ", ".join(keys)
                self.fail(path, f"{key!r} is not known", hint)

    def table(self, table, key, path=""):
        value = table.get(key, {})
        if not isinstance(value, dict):
            self.fail(path, f"{key!r} should be a section", f"write it as [{path + '.' if path else ''}{key}]")
        return value

    def text(self, table, key, path, default):
        value = table.get(key, default)
        if value is not None and (not isinstance(value, str) or len(value) > 200):
            self.fail(path, f"{key} should be text", f"write it like {key} = \"...\"")
        return value

    def choice(self, table, key, path, choices, default):
        value = table.get(key, default)
        if value not in choices:
            self.fail(path, f"{key} = {value!r} is not one of the choices",
                      "use one of " + ", ".join(f'"{c}"' for c in choices))
        return value

    def length(self, table, key, path, default, least=None, most=None):
        if key not in table:
            return default
        try:
            value = parse_length(table[key], self.units)
        except TapeError as error:
            self.fail(path, f"{key}: {error}", "numbers without a unit are in " + self.units)
        if (least is not None and value < least) or (most is not None and value > most):
            other = "in" if self.units == "mm" else "mm"
            self.fail(path, f"{key} = {table[key]!r} is {value:.4g} mm; {least:g} to {most:g} mm are possible",
                      f"check the number and its unit (did you mean {other}?)")
        return value

    def number(self, table, key, path, default, least, most):
        value = table.get(key, default)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e9:
            self.fail(path, f"{key} should be a number", f"write it like {key} = 0.3")
        if not least <= value <= most:
            self.fail(path, f"{key} = {value:g} is out of range", f"it should be {least:g} to {most:g}")
        return float(value)

    def yes_or_no(self, table, key, path, default):
        value = table.get(key, default)
        if not isinstance(value, bool):
            self.fail(path, f"{key} should be true or false", f"write {key} = true")
        return value

    def some(self, value, path, key):
        """A value as a list of one, or the list of them that it is."""
        if not isinstance(value, list):
            return [value]
        if not 1 <= len(value) <= 20:
            self.fail(path, f"{key} has {len(value)} readings", "give one, or a list of up to 20")
        return value

    def reading(self, value, path, key, least, most):
        """A Reading; from a list of readings of one thing their mean, whose spread counts (JCGM 100, 4.2)."""
        if isinstance(value, list):
            each = [self.reading(v, path, key, least, most) for v in self.some(value, path, key)]
            values = [r.value_mm for r in each]
            spread = statistics.stdev(values) / math.sqrt(len(values)) if len(values) > 1 else 0.0
            return Reading(statistics.fmean(values), math.hypot(max(r.u_mm for r in each), spread),
                           ", ".join(r.text for r in each))
        try:
            reading = parse_reading(value, self.units, self.division, self.tape_class)
        except TapeError as error:
            self.fail(path, f"{key}: {error}", "numbers without a unit are in " + self.units)
        if not least <= reading.value_mm <= most:
            self.fail(path, f"{key} = {value!r} is {reading.value_mm:.4g} mm; {least:g} to {most:g} mm"
                            " are possible", "check the number and its unit")
        return reading
