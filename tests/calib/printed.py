"""A kit's printed sheets, measured in their own pixels.

Pages are drawn at 10 pixels to the millimetre, tags are found by OpenCV, and every edge
is placed by the darkness along it: an edge pixel's grey says how much of it is ink.
"""

import cv2
import numpy as np
import pypdfium2 as pdfium

from calib.sheets import layout
from calib.sheets.pdf import write_kit_pdf

PX = 10  # pixels to the millimetre
# A hair less, or rounding makes the picture a pixel larger and stretches the page to it.
SCALE = PX * 25.4 / 72 * (1 - 1e-7)
TOLERANCE_MM = 0.1


def all_pages(plan, paper):
    """Every page that a plan prints, in order."""
    return [page for part in plan.parts for page in layout.pages_of(plan, part, paper)]


class Printed:
    """Every page of a kit as pixels, beside the layout that it was drawn from."""

    def __init__(self, plan, paper, folder, draw_extra=None):
        self.paper = paper
        self.path = write_kit_pdf(folder / f"{paper}.pdf", plan, paper, draw_extra=draw_extra)
        self.pages = all_pages(plan, paper)
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

    a, b, c, d = (round(v) for v in (left, top, right, bottom))
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


def assert_tags_in_place(printed):
    """Every tag is found, once, where and as large as the layout says."""
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


def assert_white_edges_clear(printed):
    """No ink in the white that a tag needs all round."""
    for page in printed.pages:
        picture = printed.pictures[page.name]
        for tag in page.tags:
            (edges,) = printed.found[page.name][tag.tag_id]
            left, top, right, bottom = (round(edge * PX) for edge in edges)
            quiet = int(1.25 * tag.size_mm / 8 * PX)
            around = picture[top - quiet:bottom + quiet, left - quiet:right + quiet].copy()
            around[quiet - 1:-quiet + 1, quiet - 1:-quiet + 1] = 255
            assert around.min() >= 250, (page.name, tag.tag_id)


def assert_margins_clear(printed):
    """Nothing is printed where a home printer cannot."""
    margin = int(layout.MARGIN_MM * PX)
    for name, picture in printed.pictures.items():
        inside = picture.copy()
        inside[margin:-margin, margin:-margin] = 255
        assert inside.min() >= 250, name


def assert_cut_lines_apart(pages):
    """No piece to cut out lies over another."""
    for page in pages:
        pieces = [*page.labels, *([page.strip] if page.strip else [])]
        for n, a in enumerate(pieces):
            for b in pieces[:n]:
                apart_x = max(a.left_mm, b.left_mm) - min(a.left_mm + a.width_mm, b.left_mm + b.width_mm)
                apart_y = max(a.top_mm, b.top_mm) - min(a.top_mm + a.height_mm, b.top_mm + b.height_mm)
                assert max(apart_x, apart_y) > -1e-9
