"""What a measuring run was made from, its photos and its notes: two runs can be told apart by cause."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from calib.files import fingerprint, toml_text
from photoangle import __version__
from photoangle.core.states import CORNERS

_FILES = {"lens profile": Path("lens") / "profile.json",
          "markers put right by hand": Path("corrections.json")}
_MOST_TEXT = 200


@dataclass(frozen=True)
class MadeFrom:
    """photos: "corner/state" -> fingerprint of its photos; notes: key of car.toml, or another thing that
    figures hang on -> what it said.  Both empty in the records of earlier programs."""

    photos: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, measurement) -> MadeFrom:
        """Of a pipeline.Measurement of a car folder."""
        photos = {s.name: " ".join(sorted(_print_of(s.paths[n]) for n in s.scene.photos if n in s.paths))
                  for s in measurement.states}
        notes = {"the program": __version__}
        root = measurement.root
        if root is not None:
            car = Path(root) / "car.toml"
            if car.exists():
                notes |= _flat(tomllib.loads(toml_text(car)))
            notes |= {name: _print_of(Path(root) / path) for name, path in _FILES.items()
                      if (Path(root) / path).exists()}
        return cls(photos, notes)

    def since(self, before: MadeFrom, state: str) -> tuple[bool | None, tuple[str, ...]]:
        """What is new for a state, "corner/state", against an earlier run.

        Returns (whether any photos are others, None where either run does not say; what else its figures
        hang on that is other: notes that are not of another corner, and photos of other states).
        """
        if not (self.photos.get(state) and before.photos.get(state)):
            return None, ()
        others = [c for c in CORNERS if c != state.split("/")[0]]
        notes = [k for k in sorted({*self.notes, *before.notes})
                 if self.notes.get(k) != before.notes.get(k) and k.split(".")[0] not in others]
        anew = [s for s in sorted({*self.photos, *before.photos})
                if self.photos.get(s) != before.photos.get(s)]
        return bool(anew), (*notes, *(f"photos of {s}" for s in anew if s != state))


def _print_of(path):
    """A file's fingerprint; a word for one that went away or was shut meanwhile."""
    try:
        return fingerprint(path)
    except OSError:
        return "gone"


def _flat(table, above=""):
    """Dotted key -> value as text."""
    out = {}
    for key, value in table.items():
        if isinstance(value, dict):
            out |= _flat(value, f"{above}{key}.")
        else:
            out[f"{above}{key}"] = str(value)[:_MOST_TEXT]
    return out
