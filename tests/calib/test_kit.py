"""The kit's data against OpenCV's own boards, and the messages of a user's kit file."""

import subprocess
import sys

import numpy as np
import pytest

from calib.kit import (
    FAMILIES,
    CardSpec,
    KitError,
    Role,
    build_kit,
    card_saddles_mm,
    card_tag_corners_mm,
    cells_across,
    family_named,
    quiet_mm,
    tag_corners_mm,
)
from calib.kit_file import length_mm, read_kit
from tests.calib.small_kit import BY_KEY, KIT, ROLES


def write(folder, text):
    path = folder / "kit.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_each_role_gets_an_id_in_every_form_and_set():
    assert KIT.ids_of_role("top_right") == (101, 201, 301, 331, 401, 501)
    assert KIT.slot(331).joint_xy_mm == (0.0, 45.0) and KIT.slot(101).joint_xy_mm == (0.0, 0.0)
    assert KIT.slot(102) is None and len(KIT.marker_ids()) == 6 * len(ROLES)
    assert not set(KIT.marker_ids()) & set(KIT.card_ids())


@pytest.mark.parametrize("number", [None, -1, 30, 1])
def test_numbers_that_no_kit_can_print(number):
    with pytest.raises(ValueError, match="one_more"):
        build_kit((*ROLES, Role(number, "one_more", "one more", "anywhere", "frame")))


def test_families_are_opencvs():
    cv2 = pytest.importorskip("cv2")
    for name, (cells, count) in FAMILIES.items():
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))
        assert (dictionary.markerSize, len(dictionary.bytesList)) == (cells, count), name


def test_cells_and_white_edge():
    assert cells_across("DICT_APRILTAG_36h11") == 8
    assert quiet_mm(30.0) == pytest.approx(1.25 * 30 / 8)
    with pytest.raises(KeyError):
        cells_across("DICT_NONE")


def test_tag_corners_run_as_opencvs():
    assert tag_corners_mm(30.0).tolist() == [[-15, -15, 0], [15, -15, 0], [15, 15, 0], [-15, 15, 0]]


@pytest.mark.parametrize(
    "card",
    [
        CardSpec(),
        CardSpec(9, 6, 28.0, 20.0, legacy=True),
        CardSpec(5, 7, 40.0, 20.0, first_id=3, legacy=True, family="DICT_6X6_250"),
        CardSpec(5, 8, 30.0, 22.0, first_id=1, family="DICT_4X4_50"),
        CardSpec(8, 4, 30.0, 22.0, legacy=True, family="DICT_5X5_100"),
    ],
)
def test_card_is_opencvs_board(card):
    cv2 = pytest.importorskip("cv2")
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.family))
    ids = np.array(card.tag_ids)
    board = cv2.aruco.CharucoBoard((card.columns, card.rows), card.square_mm, card.tag_mm,
                                   dictionary, ids)
    board.setLegacyPattern(card.legacy)
    assert len(board.getIds()) == len(ids)
    np.testing.assert_allclose(card_saddles_mm(card), board.getChessboardCorners(), atol=1e-4)
    np.testing.assert_allclose(card_tag_corners_mm(card), np.array(board.getObjPoints()), atol=1e-4)


def test_default_card_has_forty_saddles():
    saddles = card_saddles_mm(CardSpec())
    assert saddles.shape == (40, 3)
    assert saddles[1].tolist() == [56.0, 28.0, 0.0] and saddles[8].tolist() == [28.0, 56.0, 0.0]
    assert (CardSpec().width_mm, CardSpec().height_mm) == (252.0, 168.0)


OWN_KIT = """
family = "DICT_6X6_250"
size = "50 mm"
[[marker]]
id = 23
size = "2 in"
role = "top_left"
offset_mm = [0, 45.5]
[[marker]]
id = 24
side = "right"
[card]
columns = 5
rows = 7
square = "40 mm"
tag = 20
first_id = 0
legacy = true
family = "DICT_4X4_50"
x_line = "8 in"
"""


def test_own_kit(tmp_path):
    kit = read_kit(write(tmp_path, OWN_KIT), BY_KEY)
    assert kit.marker_ids() == (23, 24)
    eye, other = kit.slot(23), kit.slot(24)
    assert (eye.role.key, eye.form, eye.joint_xy_mm) == ("top_left", "plate", (0.0, 45.5))
    assert eye.size_mm == pytest.approx(50.8)
    assert (other.role.key, other.role.number, other.role.body) == ("marker_24", None, "spare")
    assert (other.size_mm, other.side, other.form) == (50.0, "right", "large")
    assert kit.slot(25) is None
    assert kit.card == CardSpec(5, 7, 40.0, 20.0, 0, True, "DICT_4X4_50", 8 * 25.4, 280.0)
    assert kit.families() == ("DICT_6X6_250", "DICT_4X4_50")
    assert kit.expected_ids("DICT_4X4_50") == tuple(range(17))


def test_any_id_takes_the_rest_of_the_family_but_not_the_cards_tags(tmp_path):
    kit = read_kit(write(tmp_path, """
        family = "DICT_4X4_50"
        size = "15 mm"
        any_id = true
        [[marker]]
        id = 40
        role = "other"
        [card]
        columns = 5
        rows = 4
        square = 30
        tag = 20
    """), BY_KEY)
    assert kit.slot(40).role.key == "other"
    assert kit.slot(12).role.key == "marker_12" and kit.slot(12).form == "small"
    assert kit.slot(3) is None, "a tag of the card"
    assert kit.slot(50) is None, "beyond the family"
    assert kit.marker_ids() == tuple(range(10, 50))


def test_editor_marks_at_the_start_are_no_fault(tmp_path):
    path = tmp_path / "kit.toml"
    path.write_bytes(b"\xef\xbb\xbffamily = \"DICT_4X4_50\"\r\nsize = 20\r\nany_id = true\r\n")
    assert read_kit(path, BY_KEY).slot(7).size_mm == 20.0


@pytest.mark.parametrize(
    "value, mm",
    [("50 mm", 50), ("50mm", 50), ("2 in", 50.8), ("1.5in", 38.1), ('1.5"', 38.1), ("5 cm", 50),
     (30, 30), (18.5, 18.5), (" 4 inches ", 101.6), ("2 IN", 50.8), ("1,5 in", 38.1), ("1 3/16 in", 30.1625)],
)
def test_lengths(value, mm):
    assert length_mm(value, "here") == pytest.approx(mm)


@pytest.mark.parametrize(
    "value", ["50", "11/8 in", "large", "", "-3 mm", True, [50], None, 2, 0, float("nan"), 1e9]
)
def test_lengths_that_are_refused(value):
    with pytest.raises(KitError):
        length_mm(value, "here")


FAMILY = 'family = "DICT_4X4_50"\n'
MARKER = "[[marker]]\nid = 3\nsize = 20\n"
CARD = "[card]\ncolumns = 5\nrows = 7\nsquare = 40\ntag = 20\n"


@pytest.mark.parametrize(
    "text, says, do",
    [
        (MARKER, '"family" is missing', "family ="),
        ('family = "DICT_APRILTAG_35H11"', "unknown family", '"DICT_APRILTAG_36h11"'),
        ("family = 6", '"family" has the wrong kind', "quotes"),
        (FAMILY + 'sise = "2 in"', 'unknown key "sise"', '"size"'),
        (FAMILY + "size = true", "should be a length", "50 mm"),
        (FAMILY + 'any_id = "yes"', '"any_id" has the wrong kind', "true or false"),
        (FAMILY + "any_id = true", "how large", "size ="),
        (FAMILY, "no marker and no card", "[[marker]]"),
        (FAMILY + "[marker]\nid = 3", '"marker" has the wrong kind', "[[marker]]"),
        (FAMILY + "marker = [3]", '"marker" has the wrong kind', "[[marker]]"),
        (FAMILY + "[[marker]]\nsize = 20", '"id" is missing', "id ="),
        (FAMILY + "[[marker]]\nid = true\nsize = 20", '"id" has the wrong kind', "whole number"),
        (FAMILY + "[[marker]]\nid = 3", "no size", "size ="),
        (FAMILY + "[[marker]]\nid = 50\nsize = 20", "has no id 50", "0 to 49"),
        (FAMILY + "[[marker]]\nid = -1\nsize = 20", "has no id -1", "0 to 49"),
        (FAMILY + MARKER + 'role = "top_lef"', 'unknown role "top_lef"', '"top_left"'),
        (FAMILY + MARKER + 'side = "left"', 'unknown side "left"', '"either"'),
        (FAMILY + MARKER + "offset_mm = [0]", "not two numbers", "[x, y]"),
        (FAMILY + MARKER + "offset_mm = [0, inf]", "not two numbers", "[x, y]"),
        (FAMILY + MARKER + "colour = 1", 'unknown key "colour"', "known are: id"),
        (FAMILY + MARKER + MARKER, "id 3 is used twice", "own id"),
        (FAMILY + MARKER + CARD, "one of the card's own tags", "first_id"),
        (FAMILY + CARD + "colums = 5", 'unknown key "colums"', '"columns"'),
        (FAMILY + "card = 5", '"card" has the wrong kind', "[card]"),
        (FAMILY + "[card]\ncolumns = 5\nrows = 7\nsquare = 40", '"tag" is missing', "tag ="),
        (FAMILY + CARD.replace("5", "2"), "2 by 7 squares", "count"),
        (FAMILY + CARD.replace("tag = 20", "tag = 40"), "do not fit", "measure"),
        (FAMILY + CARD + "first_id = 40", "has no id 56", "0 to 49"),
        (FAMILY + "size = 50 mm", "not understood", "quotes"),
    ],
)
def test_faults_are_named_with_what_to_do(tmp_path, text, says, do):
    path = write(tmp_path, text)
    with pytest.raises(KitError) as caught:
        read_kit(path, BY_KEY)
    error = caught.value
    assert says in error.what and do in error.do
    assert error.where.startswith(str(path))
    assert str(error) == f"{error.where}: {error.what}; {error.do}"


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(KitError, match="cannot be read"):
        read_kit(tmp_path / "none.toml", BY_KEY)
    path = tmp_path / "kit.toml"
    path.write_bytes(b"family = \"\xff\xfe\"")
    with pytest.raises(KitError, match="UTF-8"):
        read_kit(path, BY_KEY)


def test_nothing_heavy_is_imported_for_a_role_name_or_a_layout():
    code = (
        "import sys, calib.kit, calib.kit_file, calib.sheets.pdf\n"
        "from tests.calib.small_kit import PLAN\n"
        "calib.sheets.layout.pages_of(PLAN, 'markers')\n"
        "heavy = {'numpy', 'cv2', 'reportlab'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize("written, family", [
    ("tag36h11", "DICT_APRILTAG_36h11"), ("AprilTag 25h9", "DICT_APRILTAG_25h9"), ("4x4_50", "DICT_4X4_50"),
    ("dict_5x5_1000", "DICT_5X5_1000"), ("aruco original", "DICT_ARUCO_ORIGINAL"), ("4x4_60", None)])
def test_families_go_by_the_names_that_people_write(written, family):
    assert family_named(written) == family
    assert len({family_named(f) for f in FAMILIES}) == len(FAMILIES)
