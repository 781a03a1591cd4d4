"""Control arm, drop link and anti-roll bar as pure mechanics; no images.

Chassis frame everywhere: x forward, y left, z up (ISO 8855), level as at ride height on a level floor;
millimetres, radians inside and degrees where a field says so.  Every figure's plus-or-minus is by sampling
(JCGM 101).

For programs that have the points from elsewhere:

    from photoangle.linkage import Corner, Travel, Wanted, closest, level_link, over_travel

    corner = Corner("front-left", "set", names, positions_mm, {"survey": covariance_mm2})
    advice = level_link(corner, Travel(-60.0, 45.0), Wanted(0.0, within_deg=3.0))
    result = over_travel(corner, Travel(-60.0, 45.0), change_mm=advice.change_mm)
    print(advice.sentence, closest(result))

``tests/examples/mechanics.py`` runs this.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from photoangle.linkage.adjuster import Adjuster as Adjuster
    from photoangle.linkage.advice import Advice as Advice
    from photoangle.linkage.advice import advise as level_link
    from photoangle.linkage.bar_stiffness import BarShape as BarShape
    from photoangle.linkage.bar_stiffness import bar_rate as bar_rate
    from photoangle.linkage.bar_stiffness import stiffness_ratio as stiffness_ratio
    from photoangle.linkage.bar_stiffness import wheel_rate as wheel_rate
    from photoangle.linkage.corner import Corner as Corner
    from photoangle.linkage.corner import KnownDirection as KnownDirection
    from photoangle.linkage.corner import Taped as Taped
    from photoangle.linkage.kinematics.lengths import Wanted as Wanted
    from photoangle.linkage.sampled import Sampling as Sampling
    from photoangle.linkage.travel import Limits as Limits
    from photoangle.linkage.travel import Travel as Travel
    from photoangle.linkage.travel import TravelResult as TravelResult
    from photoangle.linkage.travel import closest as closest
    from photoangle.linkage.travel import over_travel as over_travel

# Name -> where it is; loaded when asked for, so that a part of the package does not load the whole.
_FROM = {
    "Adjuster": "adjuster", "Advice": "advice", "BarShape": "bar_stiffness", "bar_rate": "bar_stiffness",
    "stiffness_ratio": "bar_stiffness", "wheel_rate": "bar_stiffness", "Corner": "corner",
    "KnownDirection": "corner", "Taped": "corner", "Wanted": "kinematics.lengths", "Sampling": "sampled",
    "Limits": "travel", "Travel": "travel", "TravelResult": "travel", "closest": "travel",
    "over_travel": "travel",
}
_CALLED = {"level_link": ("advice", "advise")}

__all__ = ["Adjuster", "Advice", "BarShape", "Corner", "KnownDirection", "Limits", "Sampling", "Taped",
           "Travel", "TravelResult", "Wanted", "bar_rate", "closest", "level_link", "over_travel",
           "stiffness_ratio", "wheel_rate"]


def __getattr__(name: str) -> Any:
    module, there = (_FROM[name], name) if name in _FROM else _CALLED.get(name, (None, None))
    if module is None or there is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{module}"), there)
