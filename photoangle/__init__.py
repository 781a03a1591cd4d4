"""Photoangle: angles of a car's suspension parts from photos of printed markers.

`detect`, `learn_lens`, `measure`, `link`, `compare` and `read_car` are the whole job for Python;
`photoangle.api` says more. They are loaded when first used, so that importing the package, and the command
line's help, cost nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calib.errors import InputError
    from photoangle.api import (
        CompareResult,
        Detected,
        LinkResult,
        compare,
        detect,
        learn_lens,
        link,
        link_by_tape,
        measure,
        read_car,
    )
    from photoangle.core.figure import Figure
    from photoangle.core.findings import Finding
    from photoangle.core.kit import default_kit, read_kit
    from photoangle.core.options import LinkRequest, PhotoOptions
    from photoangle.geometry.states import StateResult
    from photoangle.pipeline import Measurement

__version__ = "0.2.0"
__all__ = [
    "CompareResult",
    "Detected",
    "Figure",
    "Finding",
    "InputError",
    "LinkRequest",
    "LinkResult",
    "Measurement",
    "PhotoOptions",
    "StateResult",
    "compare",
    "default_kit",
    "detect",
    "learn_lens",
    "link",
    "link_by_tape",
    "measure",
    "read_car",
    "read_kit",
]

_HOMES = {
    "InputError": "calib.errors",
    "Figure": "photoangle.core.figure",
    "Finding": "photoangle.core.findings",
    "default_kit": "photoangle.core.kit",
    "read_kit": "photoangle.core.kit",
    "PhotoOptions": "photoangle.core.options",
    "LinkRequest": "photoangle.core.options",
    "StateResult": "photoangle.geometry.states",
    "Measurement": "photoangle.pipeline",
}


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(_HOMES.get(name, "photoangle.api")), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
