"""Words stand out from their ground, in light and dark."""

import re

from tests.conftest import ROOT


def luminance(rgb):
    """Relative luminance of WCAG 2.2; rgb as 3 or 6 hexadecimal digits."""
    rgb = "".join(2 * c for c in rgb) if len(rgb) == 3 else rgb
    parts = [int(rgb[k:k + 2], 16) / 255 for k in (0, 2, 4)]
    return sum(w * (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055)**2.4)
               for w, c in zip((0.2126, 0.7152, 0.0722), parts, strict=False))


def test_words_stand_out_in_light_and_dark():
    css = (ROOT / "photoangle" / "page" / "static" / "page.css").read_text()
    blocks = re.findall(r":root \{([^}]*)\}", css)
    assert len(blocks) == 2
    for block in blocks:
        colour = dict(re.findall(r"--([\w-]+): #([0-9a-f]+)", block))
        for ink, ground in (("ink", "paper"), ("quiet", "paper"), ("deep", "paper"), ("deep-ink", "deep"),
                            ("warn", "paper"), ("ink", "soft"), ("quiet", "soft"), ("warn", "soft")):
            low, high = sorted(luminance(colour[n]) for n in (ink, ground))
            assert (high + 0.05) / (low + 0.05) >= 4.5, (ink, ground)  # WCAG 2.2, 1.4.3


def contrast(one, other):
    low, high = sorted(luminance(c) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def test_graphics_stand_out_in_sunlight():
    """Each part by its own colour or by its edge, each verdict's shape, edges of fields (WCAG 2.2, 1.4.11)."""
    css = (ROOT / "photoangle" / "page" / "static" / "page.css").read_text()
    parts = dict(re.findall(r"\.(arm|rod|lower) \{ stroke: #([0-9a-f]+)", css))
    assert parts == {"arm": "e69f00", "rod": "009e73", "lower": "56b4e9"}
    for block in re.findall(r":root \{([^}]*)\}", css):
        colour = dict(re.findall(r"--([\w-]+): #([0-9a-f]+)", block))
        for name, own in parts.items():
            assert max(contrast(own, colour["paper"]), contrast(colour["edge"], colour["paper"])) >= 3, name
        for shape in ("good", "bad", "unsure", "deep"):
            assert contrast(colour[shape], colour["paper"]) >= 4.5, shape  # a letter stands in it
        assert contrast(colour["line"], colour["paper"]) >= 3
