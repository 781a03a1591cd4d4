"""What a plan prints: tags, check lines, plates and the strip, measured in the page's own pixels."""

import io
import os

import numpy as np
import pytest

from calib.kit import CardSpec, cells_across
from calib.sheets import layout, pdf
from calib.sheets.art import cell_outlines, tag_cells
from calib.sheets.pdf import write_kit_pdf
from tests.calib.small_kit import KIT, PLAN

cv2 = pytest.importorskip("cv2")
pdfium = pytest.importorskip("pypdfium2")
pytest.importorskip("reportlab")

from tests.calib.printed import (
    PX,
    TOLERANCE_MM,
    Printed,
    all_pages,
    assert_cut_lines_apart,
    assert_margins_clear,
    assert_tags_in_place,
    assert_white_edges_clear,
    centre,
    dark_runs,
)

PAPERS = ("A4", "Letter")


@pytest.fixture(scope="module", params=PAPERS)
def printed(request, tmp_path_factory):
    return Printed(PLAN, request.param, tmp_path_factory.mktemp("kit"))


def test_pages_have_the_papers_size(printed):
    width, height = layout.PAPERS_MM[printed.paper]
    for page, (w, h) in zip(printed.pages, printed.sizes_pt, strict=True):
        wanted = (height, width) if page.name == "card" else (width, height)
        assert (w * 25.4 / 72, h * 25.4 / 72) == pytest.approx(wanted, abs=0.01)


def test_tags_stand_as_laid_out_in_clear_white(printed):
    assert_tags_in_place(printed)
    assert_white_edges_clear(printed)
    assert_margins_clear(printed)
    assert_cut_lines_apart(printed.pages)


def test_every_cell_is_as_the_family_says(printed):
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for page in printed.pages:
        for tag in page.tags:
            (left, top), cells = tag.corners_mm[0], cells_across(tag.family)
            at = (np.arange(cells) + 0.5) * tag.size_mm / cells
            rows, columns = ((start + at) * PX for start in (top, left))
            seen = printed.pictures[page.name][np.ix_(rows.astype(int), columns.astype(int))]
            wanted = cv2.aruco.generateImageMarker(dictionary, tag.tag_id, cells)
            assert np.array_equal(seen, wanted), tag.tag_id


def test_check_lines_have_their_length(printed):
    for page in printed.pages:
        picture = printed.pictures[page.name]
        for line in page.check_lines:
            upright = line.along == "y"
            x, y = line.start_mm[::-1] if upright else line.start_mm
            turned = picture.T if upright else picture
            # Beside the line there are only its ticks, and the words in the middle.
            rows = slice(int((y - 1.1) * PX), int((y - 0.4) * PX))
            first = int((x - 3) * PX)
            band = turned[rows, first:int((x + line.length_mm + 3) * PX)].mean(axis=0)
            runs = dark_runs(band)
            assert (runs[-1] - runs[0]) / PX == pytest.approx(line.length_mm, abs=0.05)
            assert (first + runs[0]) / PX == pytest.approx(x, abs=0.05)


def test_check_lines_are_those_of_the_card(printed):
    card = printed.page("card")
    assert sorted((x.along, x.length_mm) for x in card.check_lines) == [("x", 200.0), ("y", 150.0)]
    for page in printed.pages:
        if page.labels:
            assert [line.length_mm for line in page.check_lines] == [layout.SHEET_LINE_MM]


def test_cards_saddles_are_where_opencvs_board_has_them(printed):
    card, picture = printed.page("card"), printed.pictures["card"]
    board = opencv_board()
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(picture)
    assert ids.ravel().tolist() == list(range(40))
    seen_mm = (corners.reshape(-1, 2) + 0.5) / PX - card.card_origin_mm
    wanted = np.array(board.getChessboardCorners())[:, :2]
    off_mm = seen_mm - wanted
    # OpenCV 4's detector counts from a pixel's corner, OpenCV 5's from its centre
    assert min(np.abs(off_mm).max(), np.abs(off_mm - 0.5 / PX).max()) < 0.02


def test_card_is_opencvs_drawing(printed):
    page, picture = printed.page("card"), printed.pictures["card"]
    width, height = round(page.card.width_mm * PX), round(page.card.height_mm * PX)
    drawn = opencv_board().generateImage((width, height))
    left, top = (int(v * PX) for v in page.card_origin_mm)
    ours = picture[top:top + height, left:left + width]
    # Pixels on an edge may differ: leave two pixels either side of every edge out.
    edges = cv2.dilate(cv2.morphologyEx(drawn, cv2.MORPH_GRADIENT, np.ones((3, 3))),
                       np.ones((3, 3)))
    edges[[0, -1]] = edges[:, [0, -1]] = 1
    assert np.array_equal(ours[edges == 0], drawn[edges == 0])
    # Centred on the sheet.
    assert page.card_origin_mm == pytest.approx(
        ((page.width_mm - 252) / 2, (page.height_mm - 168) / 2))


def opencv_board():
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return cv2.aruco.CharucoBoard((9, 6), 28.0, 20.0, dictionary)


@pytest.mark.parametrize("name", ["plates", "right plates"])
def test_plates_cross_is_45_below_the_tags_centre(printed, name):
    picture = printed.pictures[name]
    for label in printed.page(name).labels:
        tag_centre = centre(printed.found[name][label.tag.tag_id][0])
        x, y = np.round((tag_centre + [0, 45]) * PX).astype(int)
        # Between the smallest ring and the cross's middle there is nothing but the cross.
        reach, away = 30, slice(10, 25)
        across = picture[y - reach:y + reach, x + away.start:x + away.stop].mean(axis=1)
        down = picture[y + away.start:y + away.stop, x - reach:x + reach].mean(axis=0)
        (row,), (column,) = dark_runs(across), dark_runs(down)
        cross = np.array([x - reach + column, y - reach + row]) / PX
        np.testing.assert_allclose(cross - tag_centre, [0.0, 45.0], atol=TOLERANCE_MM)


def test_plumb_tags_are_200_apart_on_the_line_from_hole_to_weight(printed):
    found = printed.found["first"]
    top, bottom = centre(found[110][0]), centre(found[111][0])
    np.testing.assert_allclose(bottom - top, [0.0, 200.0], atol=0.05)
    strip = printed.page("first").strip
    assert strip.hole_mm[0] == strip.weight_mm[0] == strip.top_tag.centre_mm[0]
    picture = printed.pictures["first"]
    for x, y in (strip.hole_mm, strip.weight_mm):
        rows = slice(int((y + 0.5) * PX), int((y + 1.5) * PX))
        start = int((x - 1.5) * PX)
        (run,) = dark_runs(picture[rows, start:start + 3 * PX].mean(axis=0))
        assert (start + run) / PX == pytest.approx(top[0], abs=0.05)


@pytest.mark.parametrize("paper", PAPERS)
def test_sheets_agree_with_the_kit_and_print_no_id_twice(paper):
    pages = all_pages(PLAN, paper)
    for label in (label for page in pages for label in page.labels):
        slot = KIT.slot(label.tag.tag_id)
        assert (label.role, label.form, label.side) == (slot.role, slot.form, slot.side)
        assert label.tag.size_mm == slot.size_mm
        if slot.form == "plate":
            offset = np.subtract(label.tag.joint_mm, label.tag.centre_mm)
            np.testing.assert_allclose(offset, slot.joint_xy_mm, atol=1e-9)
    ids = [tag.tag_id for page in pages for tag in page.tags]
    assert len(ids) == len(set(ids))
    assert {110, 111, 100, 101, 129, 200, 229, 300, 330, 359} | set(CardSpec().tag_ids) <= set(ids)


def test_words_come_from_the_plan(printed):
    words = {
        page.name: " ".join(said.split())
        for page, said in zip(printed.pages, printed.words, strict=True)
    }
    for page in printed.pages:
        for label in page.labels:
            assert label.role.title.upper() in words[page.name]
            assert str(label.tag.tag_id) in words[page.name]
    assert "STRING TOP 110" in words["first"] and "STRING BOTTOM 111" in words["first"]
    assert "FIRST SET" in words["first"] and "Sheet 1" in words["first"]
    assert "2. Fit it." in words["plates"] and "Fit it" not in words["right plates"]
    assert "should be 200.0 mm" in words["card"] and "should be 150.0 mm" in words["card"]
    assert "A small kit" in words["card"] and not words["extra"].strip()


def test_the_caller_draws_the_extra_page(tmp_path):
    drawn = []
    write_kit_pdf(tmp_path / "kit.pdf",
                  PLAN,
                  parts=("extra",),
                  draw_extra=lambda pen, page: drawn.append(page))
    assert [(page.name, page.width_mm) for page in drawn] == [("extra", 210.0)]


def test_same_kit_same_bytes(printed, tmp_path):
    again = write_kit_pdf(tmp_path / "again.pdf", PLAN, printed.paper)
    assert again.read_bytes() == printed.path.read_bytes()


def test_only_the_parts_asked_for(tmp_path):
    path = write_kit_pdf(tmp_path / "kit.pdf", PLAN, parts=("card",))
    document = pdfium.PdfDocument(io.BytesIO(path.read_bytes()))
    assert len(document) == 1
    document.close()


def test_a_failed_write_leaves_what_was_there(tmp_path, monkeypatch):
    path = tmp_path / "kit.pdf"
    path.write_text("the old one")

    def fail(*_):
        raise OSError(28, "no room")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(OSError, match="no room"):
        write_kit_pdf(path, PLAN, parts=("card",))
    monkeypatch.undo()
    monkeypatch.setattr(pdf, "_draw_page", fail)
    with pytest.raises(OSError, match="no room"):
        write_kit_pdf(path, PLAN, parts=("card",))
    assert [x.name for x in tmp_path.iterdir()] == ["kit.pdf"]
    assert path.read_text() == "the old one"


def test_misuse_is_refused(tmp_path):
    with pytest.raises(ValueError, match="A4, Letter"):
        write_kit_pdf(tmp_path / "kit.pdf", PLAN, "A5")
    for parts in (("cards",), ()):
        with pytest.raises(ValueError, match="choose from"):
            write_kit_pdf(tmp_path / "kit.pdf", PLAN, parts=parts)
    assert not list(tmp_path.iterdir())


def test_outlines_of_cells_enclose_just_the_black_ones():
    cells = tag_cells("DICT_APRILTAG_36h11", 101)
    outlines = cell_outlines(cells)
    for r, row in enumerate(cells):
        for c, black in enumerate(row):
            inside = sum(crosses(outline, c + 0.5, r + 0.5) for outline in outlines) % 2
            assert inside == black


def crosses(outline, x, y):
    """How often a ray to the right of (x, y) meets the outline."""
    pairs = zip(outline, outline[1:] + outline[:1], strict=True)
    return sum(a[0] == b[0] and a[0] > x and min(a[1], b[1]) < y < max(a[1], b[1])
               for a, b in pairs)
