"""What the models of car.toml have in common: keys named as in the file, only known ones, nothing changed
afterwards."""

from __future__ import annotations

import re
from dataclasses import is_dataclass
from functools import partial
from typing import TYPE_CHECKING

from pydantic import ConfigDict, model_validator
from pydantic.dataclasses import dataclass

from photoangle.carfile.kinds import Key, check_names


def _in_file(name):
    """A field's key in the file, which says no unit: ``link_length_mm`` is ``link_length``, a rate per mm is
    itself."""
    return re.sub(r"(?<!_per)_mm$", "", name)


if TYPE_CHECKING:  # a type checker does not look through the partial
    from dataclasses import dataclass as section
else:
    section = partial(dataclass, frozen=True,
                      config=ConfigDict(alias_generator=_in_file, populate_by_name=True))


@section
class Section:
    """A section of car.toml.  Made in code, its fields are taken as they are; read from a file, with a
    Context, they are checked."""

    @model_validator(mode="before")
    @classmethod
    def _only_known(cls, values, info):
        if info.context is not None:
            check_names(values, keys_of(cls))
        return values


def keys_of(model):
    """The keys of a Section as in the file: name -> Key, or the Section below it."""
    out = {}
    for name, field in model.__pydantic_fields__.items():
        key = next((m for m in field.metadata if isinstance(m, Key)), field.annotation)
        if isinstance(key, Key) or is_dataclass(key):
            out[field.alias or _in_file(name)] = key
    return out
