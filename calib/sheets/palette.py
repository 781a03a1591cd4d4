"""Colours of everything printed, drawn and shown: Okabe and Ito's palette (2008), made for colour-blind
readers.

They never carry a meaning alone: words, dashes or shapes stand beside them.
"""

from __future__ import annotations

BLACK, WHITE = "#000000", "#ffffff"
ORANGE, SKY, GREEN, YELLOW = "#e69f00", "#56b4e9", "#009e73", "#f0e442"
BLUE, VERMILION, PURPLE = "#0072b2", "#d55e00", "#cc79a7"
# Greys: for words of second rank, thin lines, tinted ground.
DARK, GREY, MID, LIGHT, PALE = "#404040", "#666666", "#808080", "#b8b8b8", "#e9e9e9"
