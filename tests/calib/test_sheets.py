"""The printed sheets, measured in their own pixels.

Pages are drawn at 10 pixels to the millimetre, tags are found by OpenCV, and every edge
is placed by the darkness along it: an edge pixel's grey says how much of it is ink.
"""

import io
import os

import numpy as np
import pytest

from calib.kit import ROLES, CardSpec, cells_across, default_kit
from calib.sheets import layout
from calib.sheets import pdf as sheets
from calib.sheets.art import broken, cell_outlines, tag_cells, text_width_mm

cv2 = pytest.importorskip("cv2")
pdfium = pytest.importorskip("pypdfium2")
pytest.importorskip("reportlab")

PX = 10  # pixels to the millimetre
# A hair less, or rounding makes the picture a pixel larger and stretches the page to it.
SCALE = PX * 25.4 / 72 * (1 - 1e-7)
PAPERS = ("A4", "Letter")
TOLERANCE_MM = 0.1


class Printed:
    """Every page of a kit as pixels, beside the layout that it was drawn from."""

    def __init__(self, paper, folder):
        self.paper = paper
        self.path = sheets.write_kit_pdf(folder / f"{paper}.pdf", paper)
        self.pages = [page for part in sheets.PARTS for page in sheets.pages_of(part, paper)]
        document = pdfium.PdfDocument(self.path)
        assert len(document) == len(self.pages)
        self.sizes_pt = [page.get_size() for page in document]
        self.words = [page.get_textpage().get_text_bounded() for page in document]
        self.pictures = {
            page.name: drawn.render(scale=SCALE, grayscale=True).to_numpy().squeeze()
            for page, drawn in zip(self.pages, document, strict=True)
        }
        document.close()
        for page in self.pages:
            assert self.pictures[page.name].shape == (round(page.height_mm * PX),
                                                      round(page.width_mm * PX))
        self.found = {name: find_tags(picture) for name, picture in self.pictures.items()}

    def page(self, name):
        return next(page for page in self.pages if page.name == name)


@pytest.fixture(scope="module", params=PAPERS)
def printed(request, tmp_path_factory):
    return Printed(request.param, tmp_path_factory.mktemp("kit"))


def find_tags(picture):
    """{id: [(left, top, right, bottom) in mm, ...]} of the tags that OpenCV finds."""
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11))
    half = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    corners, ids, _ = detector.detectMarkers(half)
    found = {}
    for quad, tag_id in zip(corners, [] if ids is None else ids.ravel(), strict=True):
        (x0, y0), (x1, y1), (x2, y2), (x3, y3) = quad[0] * 2 + 1
        assert x0 < x1 and y0 < y3 and abs(y0 - y1) < 5 and x2 > x3 and y2 > y1, "not upright"
        found.setdefault(int(tag_id), []).append(tag_edges(picture, x0, y0, x2, y2))
    return found


def tag_edges(picture, left, top, right, bottom):
    """A tag's outer edges in mm, from a rough guess in pixels.

    Half a cell inside the edge is black, half a cell outside is white: the share of ink
    across that strip places the edge within it."""
    half = int((right - left) / 16)
    ink = 1 - picture / 255.0
    x, y = int((left + right) / 2), int((top + bottom) / 2)
    rows, columns = slice(y - half, y + half), slice(x - half, x + half)

    def edge(strip, start, dark_first):
        mean = strip.mean()
        return (start + len(strip) * (mean if dark_first else 1 - mean)) / PX

    a, b, c, d = (int(round(v)) for v in (left, top, right, bottom))
    return (
        edge(ink[rows, a - half:a + half].mean(axis=0), a - half, False),
        edge(ink[b - half:b + half, columns].mean(axis=1), b - half, False),
        edge(ink[rows, c - half:c + half].mean(axis=0), c - half, True),
        edge(ink[d - half:d + half, columns].mean(axis=1), d - half, True),
    )


def centre(edges):
    left, top, right, bottom = edges
    return np.array([(left + right) / 2, (top + bottom) / 2])


def dark_runs(profile):
    """Middles, in pixels, of the runs of a profile that hold ink."""
    ink = 1 - profile / 255.0
    marks = ink > 0.1
    starts = np.flatnonzero(marks & ~np.r_[False, marks[:-1]])
    ends = np.flatnonzero(marks & ~np.r_[marks[1:], False]) + 1
    return [float(np.average(np.arange(a, b) + 0.5, weights=ink[a:b]))
            for a, b in zip(starts, ends, strict=True)]


def test_pages_have_the_papers_size(printed):
    width, height = layout.PAPERS_MM[printed.paper]
    for page, (w, h) in zip(printed.pages, printed.sizes_pt, strict=True):
        wanted = (height, width) if page.name == "card" else (width, height)
        assert (w * 25.4 / 72, h * 25.4 / 72) == pytest.approx(wanted, abs=0.01)


def test_every_tag_is_found_in_its_place_and_size(printed):
    worst_place = worst_size = 0.0
    for page in printed.pages:
        found = printed.found[page.name]
        assert sorted(found) == sorted(tag.tag_id for tag in page.tags), page.name
        for tag in page.tags:
            (edges,) = found[tag.tag_id]
            left, top, right, bottom = edges
            worst_place = max(worst_place, np.abs(centre(edges) - tag.centre_mm).max())
            worst_size = max(worst_size, abs(right - left - tag.size_mm),
                             abs(bottom - top - tag.size_mm))
    assert worst_place < TOLERANCE_MM and worst_size < TOLERANCE_MM


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


def test_white_edges_are_clear_of_ink(printed):
    for page in printed.pages:
        picture = printed.pictures[page.name]
        for tag in page.tags:
            (edges,) = printed.found[page.name][tag.tag_id]
            left, top, right, bottom = (round(edge * PX) for edge in edges)
            quiet = int(1.25 * tag.size_mm / 8 * PX)
            around = picture[top - quiet:bottom + quiet, left - quiet:right + quiet].copy()
            around[quiet - 1:-quiet + 1, quiet - 1:-quiet + 1] = 255
            assert around.min() >= 250, (page.name, tag.tag_id)


def test_nothing_is_printed_near_the_papers_edge(printed):
    margin = int(layout.MARGIN_MM * PX)
    for name, picture in printed.pictures.items():
        inside = picture.copy()
        inside[margin:-margin, margin:-margin] = 255
        assert inside.min() >= 250, name


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
    kit = default_kit()
    labels = [label for part in sheets.PARTS for page in sheets.pages_of(part, paper)
              for label in page.labels]
    for label in labels:
        slot = kit.slot(label.tag.tag_id)
        assert (label.role, label.form, label.side) == (slot.role, slot.form, slot.side)
        assert label.tag.size_mm == slot.size_mm
        if slot.form == "plate":
            offset = np.subtract(label.tag.joint_mm, label.tag.centre_mm)
            np.testing.assert_allclose(offset, slot.joint_xy_mm, atol=1e-9)
    ids = [tag.tag_id for part in sheets.PARTS for page in sheets.pages_of(part, paper)
           for tag in page.tags]
    assert len(ids) == len(set(ids))
    numbers = {role.number for role in ROLES}
    assert {100 + n for n in numbers} | {200 + n for n in numbers} <= set(ids)
    assert {300 + n for n in range(7)} | {330 + n for n in range(7)} <= set(ids)
    assert {500 + n for n in numbers} | {400 + n for n in range(10)} <= set(ids)
    assert set(CardSpec().tag_ids) <= set(ids)


@pytest.mark.parametrize("paper", PAPERS)
def test_cut_lines_do_not_overlap(paper):
    for part in sheets.PARTS:
        for page in sheets.pages_of(part, paper):
            pieces = [*page.labels, *([page.strip] if page.strip else [])]
            for n, a in enumerate(pieces):
                for b in pieces[:n]:
                    apart_x = max(a.left_mm, b.left_mm) - min(a.left_mm + a.width_mm,
                                                              b.left_mm + b.width_mm)
                    apart_y = max(a.top_mm, b.top_mm) - min(a.top_mm + a.height_mm,
                                                            b.top_mm + b.height_mm)
                    assert max(apart_x, apart_y) > -1e-9


def test_words_are_on_the_pages(printed):
    words = dict(zip((page.name for page in printed.pages), printed.words, strict=True))
    for page in printed.pages:
        for label in page.labels:
            assert label.role.title.upper() in words[page.name]
            assert str(label.tag.tag_id) in words[page.name]
        if page.name.startswith("right"):
            assert "Only needed when both sides" in words[page.name]
    assert "should be 200.0 mm" in words["card"] and "should be 150.0 mm" in words["card"]
    where = " ".join(words["where"].split())
    for role in ROLES[:10] + ROLES[12:20]:
        assert f"{100 + role.number}" in where and role.title in where
    assert "also called a sway bar" in where and "end link" in where
    for caution in ("Chock the wheels", "never on a jack alone", "does not certify"):
        assert caution in where


def test_no_label_has_words_wider_than_itself():
    for page in sheets.pages_of("markers"):
        for label in page.labels:
            size, words_size = (8.5, 7) if label.form == "small" else (11.5, 8)
            assert text_width_mm(label.role.title.upper(), size, True) < label.width_mm - 2
            assert len(broken(label.role.where, label.width_mm - 3, words_size)) <= 2


def test_same_kit_same_bytes(printed, tmp_path):
    again = sheets.write_kit_pdf(tmp_path / "again.pdf", printed.paper)
    assert again.read_bytes() == printed.path.read_bytes()


def test_only_the_parts_asked_for(tmp_path):
    path = sheets.write_kit_pdf(tmp_path / "kit.pdf", parts=("card",))
    document = pdfium.PdfDocument(io.BytesIO(path.read_bytes()))
    assert len(document) == 1
    document.close()


def test_a_failed_write_leaves_what_was_there(tmp_path, monkeypatch):
    path = tmp_path / "kit.pdf"
    path.write_text("the old one")

    def fail(*_):
        raise OSError("no room")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(OSError, match="no room"):
        sheets.write_kit_pdf(path, parts=("card",))
    monkeypatch.undo()
    monkeypatch.setattr(sheets, "_draw_page", fail)
    with pytest.raises(OSError, match="no room"):
        sheets.write_kit_pdf(path, parts=("card",))
    assert [x.name for x in tmp_path.iterdir()] == ["kit.pdf"]
    assert path.read_text() == "the old one"


def test_misuse_is_refused(tmp_path):
    with pytest.raises(ValueError, match="A4, Letter"):
        sheets.write_kit_pdf(tmp_path / "kit.pdf", "A5")
    for parts in (("cards",), ()):
        with pytest.raises(ValueError, match="choose from"):
            sheets.write_kit_pdf(tmp_path / "kit.pdf", parts=parts)
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
