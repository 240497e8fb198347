"""The marking sheet's layout: what lies where, its code of dots, and its pages as pypdf and PDFium find them."""

from __future__ import annotations

import io

import numpy as np
import pypdf
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from carvegen.base.errors import InputError
from carvegen.base.units import PAPERS
from carvegen.marking.marks import Meaning
from carvegen.marking.pencil.layout import DOT_MM, RING_MM, MarkingSheet, decoded, formats
from tests.pencil_sheets import grey_page, printed, printed_afresh

EVERY = [form for paper in PAPERS for form in formats(paper)]
SMALL = MarkingSheet(name="trial", window=(0.0, 0.0, 90.0, 70.0))
sizes = st.tuples(st.floats(20, 700), st.floats(20, 700))


@pytest.mark.parametrize("form", EVERY, ids=str)
def test_nothing_on_a_page_lies_over_something_else_or_off_the_paper(form):
    dots = shapely.points(np.vstack([form.code_dots, form.plain_dots]))
    things = [shapely.box(*form.room)]
    things += [shapely.box(box.left, box.bottom, box.left + box.width, box.bottom + box.height) for box in form.boxes]
    things += [*shapely.buffer(shapely.points(form.corners), RING_MM + 1), *shapely.buffer(dots, DOT_MM + 0.5)]
    tree = shapely.STRtree(things)
    one, other = tree.query(things, predicate="intersects")
    assert (one == other).all()
    assert shapely.within(things, shapely.box(0, 0, *form.size).buffer(-7)).all()
    assert [box.meaning for box in form.boxes] == list(Meaning)


@given(sizes, st.sampled_from(sorted(PAPERS)))
def test_the_pages_show_all_of_the_print_and_each_fits_into_its_room(size, paper):
    sheet = MarkingSheet(name="x", window=(3.0, 3.0, 3 + size[0], 3 + size[1]))
    form = sheet.best(paper)
    pages = sheet.pages(form)
    shown = shapely.union_all([shapely.box(*page.shown) for page in pages])
    assert shapely.area(shapely.difference(shapely.box(*sheet.window), shown)) < 1e-6
    for page in pages:
        left, bottom, right, top = np.array(page.shown) + np.tile(page.origin, 2)
        assert left >= form.room[0] - 1e-6 and right <= form.room[2] + 1e-6
        assert bottom >= form.room[1] - 1e-6 and top <= form.room[3] + 1e-6
    assert len(pages) <= min(len(sheet.pages(each)) for each in formats(paper))


@given(sizes, st.sampled_from(EVERY), st.integers(0, 23))
def test_the_dots_say_format_page_and_print_and_one_wrong_dot_says_nothing(size, form, wrong):
    sheet = MarkingSheet(name="x", window=(0.0, 0.0, *size))
    for page in sheet.pages(form)[-2:]:
        dots = sheet.code(form, page)
        assert decoded(dots) == (form.number, page.number, sheet.sign)
        dots[wrong] = not dots[wrong]
        assert decoded(dots) is None


def test_an_unknown_paper_and_a_print_of_too_many_pages_are_refused():
    with pytest.raises(InputError, match="known paper"):
        SMALL.best("A9")
    huge = MarkingSheet(name="x", window=(0.0, 0.0, 2500.0, 2500.0))
    with pytest.raises(InputError, match="at most 64 sheets"):
        huge.pages(huge.best("A4"))


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_the_pdf_has_pages_of_its_paper_and_says_what_each_box_is_for(paper):
    """ISO 216: A4 is 210 x 297 mm; Letter is 8.5 x 11 in. Read by pypdf."""
    reader = pypdf.PdfReader(io.BytesIO(printed(SMALL, paper)))
    form = SMALL.best(paper)
    assert len(reader.pages) == 1
    size = [float(side) * 25.4 / 72 for side in reader.pages[0].mediabox[2:]]
    assert size == pytest.approx(form.size, abs=0.01)
    text = reader.pages[0].extract_text()
    assert all(meaning in text for meaning in Meaning)
    assert printed_afresh(SMALL, paper) == printed(SMALL, paper), "the same bytes"


def test_marks_and_dots_are_where_the_layout_says_and_the_picture_is_pale():
    """Drawn by PDFium: the middles of what is black, and the darkest tone where the picture is."""
    dpi, form = 150.0, SMALL.best("A4")
    light = grey_page(SMALL, 1, dpi)
    px, high = dpi / 25.4, form.size[1]
    label, count = ndimage.label(light < 0.3)
    at = np.array(ndimage.center_of_mass(1 - light, label, range(1, count + 1)))
    middles = np.column_stack([(at[:, 1] + 0.5) / px, high - (at[:, 0] + 0.5) / px])
    for place in np.vstack([form.corners, form.code_dots, form.plain_dots]):
        assert np.hypot(*(middles - place).T).min() < 0.05
    page = SMALL.pages(form)[0]
    left, bottom, right, top = np.array(page.shown) + np.tile(page.origin, 2)
    picture = light[
        int((high - top + 1) * px) : int((high - bottom - 1) * px), int((left + 1) * px) : int((right - 1) * px)
    ]
    assert picture.min() > 0.25, "a thin line"
    assert np.quantile(picture, 0.3) > 0.7, "the tint, between the lines"
    assert np.quantile(picture, 0.3) < 0.99
