"""One colour a part, in photos, drawings and plots; the page's style sheet has the same."""

from __future__ import annotations

from calib.sheets.palette import GREEN, ORANGE, SKY, VERMILION

BAR_ARM, CONTROL_ARM, LINK, NEAREST = ORANGE, SKY, GREEN, VERMILION
