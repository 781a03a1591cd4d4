"""Options that several commands share, checked."""

from __future__ import annotations

import difflib

from photoangle.core.errors import CannotUse
from photoangle.core.options import PhotoOptions
from photoangle.core.roles import ROLE_BY_KEY
from photoangle.core.states import CORNERS


def photo_options(options) -> PhotoOptions:
    """PhotoOptions of a command's options (`MeasureOptions`, `CompareOptions`), checked.  Raises
    InputError."""
    roles = named_roles(options.dots, "--dots")
    check_corner(options.corner)
    return PhotoOptions(options.kit_path, options.car_root, options.planar, roles, options.level,
                        options.corner)


def check_corner(corner):
    """Raises InputError where --corner names none."""
    if corner is not None and corner not in CORNERS:
        raise CannotUse("--corner", f"{corner!r} is no corner", "use one of " + ", ".join(CORNERS))


def named_roles(text, option):
    """Role keys of an option that lists them.  Raises InputError for a name that is none."""
    names = tuple(n.strip().replace(" ", "_") for n in text.split(",")) if text else ()
    for name in names:
        if name not in ROLE_BY_KEY:
            near = difflib.get_close_matches(name, ROLE_BY_KEY, 1, 0.4)
            raise CannotUse(option, f"{name!r} is no role",
                            f"did you mean {near[0]}?" if near else "see the kit's sheet for the roles")
    if len(set(names)) != len(names):
        raise CannotUse(option, "a role is named twice", "name each once")
    return names
