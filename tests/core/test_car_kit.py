"""The car's roles, and the kit that is printed for them."""

import subprocess
import sys

import pytest

from calib.kit import FAMILIES
from photoangle.core.kit import default_kit, read_kit
from photoangle.core.roles import BODIES, ROLE_BY_KEY, ROLES


def test_roles_are_numbered_in_order_and_ride_on_known_bodies():
    assert [role.number for role in ROLES] == list(range(30))
    assert len(ROLE_BY_KEY) == 30
    assert {role.body for role in ROLES} <= set(BODIES)
    assert ROLES[1].key == "bar_eye" and ROLES[11].key == "plumb_bottom"
    assert ROLES[19].key == "chassis" and ROLES[29].key == "spare_9"


@pytest.mark.parametrize(
    "tag_id, key, form, size_mm, side",
    [
        (101, "bar_eye", "large", 30.0, "either"),
        (201, "bar_eye", "small", 18.0, "either"),
        (301, "bar_eye", "plate", 30.0, "either"),
        (401, "bar_eye", "large", 30.0, "right"),
        (501, "bar_eye", "small", 18.0, "right"),
        (331, "bar_eye", "plate", 30.0, "right"),
        (129, "spare_9", "large", 30.0, "either"),
        (529, "spare_9", "small", 18.0, "right"),
    ],
)
def test_ids_of_the_printed_kit(tag_id, key, form, size_mm, side):
    slot = default_kit().slot(tag_id)
    assert (slot.role.key, slot.form, slot.size_mm, slot.side) == (key, form, size_mm, side)
    assert slot.joint_xy_mm == ((0.0, 45.0) if form == "plate" else (0.0, 0.0))


def test_printed_kit_has_no_other_ids_and_all_fit_the_family():
    kit = default_kit()
    assert kit.slot(0) is None and kit.slot(130) is None and kit.slot(586) is None
    assert len(kit.marker_ids()) == 6 * 30
    assert not set(kit.marker_ids()) & set(kit.card_ids())
    assert kit.expected_ids() == tuple(sorted(kit.marker_ids() + kit.card_ids()))
    assert max(kit.expected_ids()) < FAMILIES[kit.family_name][1]
    assert kit.families() == ("DICT_APRILTAG_36h11",)
    assert kit.ids_of_role("bar_eye") == (101, 201, 301, 331, 401, 501)


def test_a_users_own_kit_has_the_cars_roles(tmp_path):
    path = tmp_path / "kit.toml"
    path.write_text('family = "DICT_4X4_50"\n[[marker]]\nid = 3\nsize = 20\nrole = "bar_eye"\n')
    assert read_kit(path).slot(3).role is ROLE_BY_KEY["bar_eye"]


def test_nothing_heavy_is_imported_for_a_role_name_or_the_printed_plan():
    code = (
        "import sys, photoangle.core.kit, photoangle.output.kit_pdf\n"
        "photoangle.core.kit.default_kit()\n"
        "heavy = {'numpy', 'cv2', 'reportlab'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
