"""A kit of five roles that knows nothing of cars, for the tests of what is printed."""

from calib.kit import SPARE, Role, build_kit
from calib.sheets.layout import CARD, KitPlan, SheetPlan

ROLES = (
    Role(0, "top_left", "top left", "at the frame's upper left corner", "frame"),
    Role(1, "top_right", "top right", "at the frame's upper right corner", "frame"),
    Role(10, "string_top", "string top", "on the string, the upper one", "string"),
    Role(11, "string_bottom", "string bottom", "on the string, straight below", "string"),
    Role(29, "other", "other", "anything else: write where it sits", SPARE),
)
BY_KEY = {role.key: role for role in ROLES}
KIT = build_kit(ROLES)
_ALL = tuple(BY_KEY)

PLAN = KitPlan(
    "A small kit",
    "the tests",
    BY_KEY,
    ("top_left",),
    ("string_top", "string_bottom"),
    {
        CARD: (),
        "extra": (),
        "markers": (
            SheetPlan(
                "first",
                ("top_left", "top_right", "other"),
                "large",
                "either",
                3,
                "Sheet 1",
                "Help.",
                strip=True,
            ),
            SheetPlan("small", _ALL, "small", "either", 5, "Small ones", "More help."),
            SheetPlan(
                "plates",
                ("top_left", "other"),
                "plate",
                "either",
                4,
                "Plates",
                "Help.",
                ("1. Glue it.", "2. Fit it."),
            ),
        ),
        "right": (SheetPlan("right plates", ("top_left", "other"), "plate", "right", 4, "Plates", "Help."),),
    },
)
