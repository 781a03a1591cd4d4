"""The kit in use: the printed one with this car's roles, or a user's own kit file with them."""

from __future__ import annotations

from os import PathLike

from calib import kit_file
from calib.kit import Kit, build_kit
from photoangle.core.roles import ROLE_BY_KEY, ROLES


def default_kit() -> Kit:
    """The kit that the project prints: all roles in all forms, both sets, and the card."""
    return build_kit(ROLES)


def read_kit(path: str | PathLike[str]) -> Kit:
    """A user's own kit file (TOML, see ``calib.kit_file``).  Raises KitError."""
    return kit_file.read_kit(path, ROLE_BY_KEY)
