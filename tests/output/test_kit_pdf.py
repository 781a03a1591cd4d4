"""The car's printed kit: every sheet that the plan lays out, and its words."""

import numpy as np
import pytest

from calib.kit import CardSpec
from calib.sheets import layout
from calib.sheets.art import broken, text_width_mm
from photoangle.core.kit import default_kit
from photoangle.core.roles import ROLES
from photoangle.output.kit_pdf import PLAN, draw_page, write_kit_pdf

pytest.importorskip("pypdfium2")

from tests.calib.printed import (
    Printed,
    all_pages,
    assert_cut_lines_apart,
    assert_margins_clear,
    assert_tags_in_place,
    assert_white_edges_clear,
)

PAPERS = ("A4", "Letter")


@pytest.fixture(scope="module", params=PAPERS)
def printed(request, tmp_path_factory):
    return Printed(PLAN, request.param, tmp_path_factory.mktemp("kit"), draw_page)


def test_tags_stand_as_laid_out_in_clear_white(printed):
    assert_tags_in_place(printed)
    assert_white_edges_clear(printed)
    assert_margins_clear(printed)
    assert_cut_lines_apart(printed.pages)


@pytest.mark.parametrize("paper", PAPERS)
def test_sheets_agree_with_the_kit_and_print_no_id_twice(paper):
    kit = default_kit()
    pages = all_pages(PLAN, paper)
    labels = [label for page in pages for label in page.labels]
    for label in labels:
        slot = kit.slot(label.tag.tag_id)
        assert (label.role, label.form, label.side) == (slot.role, slot.form, slot.side)
        assert label.tag.size_mm == slot.size_mm
        if slot.form == "plate":
            offset = np.subtract(label.tag.joint_mm, label.tag.centre_mm)
            np.testing.assert_allclose(offset, slot.joint_xy_mm, atol=1e-9)
    ids = [tag.tag_id for page in pages for tag in page.tags]
    assert len(ids) == len(set(ids))
    numbers = {role.number for role in ROLES}
    assert {100 + n for n in numbers} | {200 + n for n in numbers} <= set(ids)
    assert {300 + n for n in range(7)} | {330 + n for n in range(7)} <= set(ids)
    assert {500 + n for n in numbers} | {400 + n for n in range(10)} <= set(ids)
    assert set(CardSpec().tag_ids) <= set(ids)


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
    for page in layout.pages_of(PLAN, "markers"):
        for label in page.labels:
            size, words_size = (8.5, 7) if label.form == "small" else (11.5, 8)
            assert text_width_mm(label.role.title.upper(), size, True) < label.width_mm - 2
            assert len(broken(label.role.where, label.width_mm - 3, words_size)) <= 2


def test_it_is_the_plan_that_is_written(printed, tmp_path):
    assert write_kit_pdf(tmp_path / "kit.pdf", printed.paper).read_bytes() == printed.path.read_bytes()
    with pytest.raises(ValueError, match="how, card, where, first, markers, right"):
        write_kit_pdf(tmp_path / "kit.pdf", parts=("cards",))
