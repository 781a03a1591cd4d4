"""Control arm, drop link and anti-roll bar as pure mechanics; no images.

Chassis frame everywhere: x forward, y left, z up (ISO 8855), level as at ride height on a level floor;
millimetres, radians inside and degrees where a field says so.  Every figure's plus-or-minus is by sampling
(JCGM 101).
"""
