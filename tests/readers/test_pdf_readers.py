"""The PDF guide read by pypdf and rendered by PDFium."""

import dataclasses
import io
from functools import cache

import numpy as np
import pypdf
import pypdfium2
import pytest
import shapely

from carvegen.base.units import PAPERS
from carvegen.writers.guide.guide_pdf import guide_pdf
from carvegen.writers.guide.guide_samples import HATCH_TONE, OUTLINE_MM
from carvegen.writers.guide.hand_guide import TONES, hand_guide
from carvegen.writers.pdf.tiles import (
    FOOT_MM,
    HEAD_MM,
    UNPRINTED_MM,
    plan,
)
from tests.readers.landing import HEIGHT, WIDTH, as_block_carries, jetty_block, landing_job, many_flakes
from tests.strategies import MANY, few

FINE_DPI = 600  #: where lengths are to be true to 0.05 mm and edges are counted
FINE_PX_PER_MM = FINE_DPI / 25.4
DPI = 300
PX_PER_MM = DPI / 25.4


def page_picture(data: bytes, page: int, dpi: int = DPI, *, left_mm: float = 0, top_mm: float = 0) -> np.ndarray:
    """Grey values of one page, as PDFium draws it; first row uppermost; -1 is the last.

    What lies left of `left_mm` and above `top_mm` is left out.
    """
    document = pypdfium2.PdfDocument(data)
    out = (left_mm * 72 / 25.4, 0, 0, top_mm * 72 / 25.4)
    bitmap = document[page % len(document)].render(scale=dpi / 72, crop=out)
    grey = np.array(bitmap.to_pil().convert("L"))
    document.close()
    return grey


@cache
def flakes_guide(matrix: str):
    """The guide of a face full of flakes, made once."""
    return hand_guide(landing_job(many_flakes(80), kind="hand"), matrix)


@cache
def flakes_pdf(paper: str) -> bytes:
    return guide_pdf(flakes_guide("carbon"), paper)


@cache
def jetty_pdf() -> bytes:
    return guide_pdf(hand_guide(landing_job(kind="hand"), "carbon"))


@pytest.mark.parametrize("paper", few(sorted(PAPERS, reverse=True), 1))
def test_pages_are_the_papers_size_and_as_many_as_planned(paper):
    guide = flakes_guide("carbon")
    sheets = plan(guide.bounds, paper)
    reader = pypdf.PdfReader(io.BytesIO(flakes_pdf(paper)))
    texts = [page.extract_text() for page in reader.pages]
    assert "Zones, in the order of the hand" in texts[1]  # all that is to be read fits on the first page
    assert [f"column {k} of {len(sheets.tiles)}" in texts[k - 1 - len(sheets.tiles)] for k in (1, 2)] == [True, True]
    assert not any("column" in text for text in texts[: -len(sheets.tiles)])
    for page in reader.pages:
        size = sorted((float(page.mediabox.width), float(page.mediabox.height)))
        assert size == pytest.approx([side / 25.4 * 72 for side in sorted(PAPERS[paper])], abs=0.01)


def test_every_page_says_how_to_check_the_scale_and_which_way_it_reads():
    job = landing_job(kind="hand", grain="side")
    transfers = (
        ("carbon", "reads backwards here: that is right, it will read forwards in the print", "mirrored"),
        ("tracing", "reads forwards here", "as the print reads"),
        ("glued", "reads backwards here: that is right, it will read forwards in the print", "mirrored"),
        ("face-down", "reads forwards here", "as the print reads"),
    )
    for side, reads, page_word in transfers if MANY else transfers[:2]:
        pages = [
            " ".join(page.extract_text().split())
            for page in pypdf.PdfReader(io.BytesIO(guide_pdf(hand_guide(job, side)))).pages
        ]
        assert all("measure me: 100 mm, print at 100 %, do not fit" in text for text in pages)
        assert reads in pages[0]
        assert "V-tool of 60 degrees" in pages[0]
        assert "1.2 mm" in pages[0]
        assert "grain" in pages[0]
        assert page_word in pages[-1]


@pytest.mark.parametrize("page", [0, 1])
def test_the_check_bar_is_100_mm_on_paper(page):
    grey = page_picture(jetty_pdf(), page, FINE_DPI, top_mm=150)
    row = grey.shape[0] - round(
        (UNPRINTED_MM + 10) * FINE_PX_PER_MM
    )  # through the bar, 9…11 mm above the unprinted edge
    dark = np.flatnonzero(grey[row, : round(150 * FINE_PX_PER_MM)] < 128)
    assert (dark[-1] - dark[0] + 1) / FINE_PX_PER_MM == pytest.approx(100, abs=0.05)
    assert len(dark) == dark[-1] - dark[0] + 1


def test_the_upright_bar_is_100_mm_too():
    grey = page_picture(jetty_pdf(), 0, FINE_DPI, left_mm=190)
    dark = np.flatnonzero(grey[:, round((210 - UNPRINTED_MM - 1 - 190) * FINE_PX_PER_MM)] < 128)
    above_map = dark[dark < grey.shape[0] - round((UNPRINTED_MM + FOOT_MM - 1) * FINE_PX_PER_MM)]
    assert (above_map[-1] - above_map[0] + 1) / FINE_PX_PER_MM == pytest.approx(100, abs=0.05)


@pytest.mark.parametrize(
    ("matrix", "mirrored"), few([("carbon", True), ("glued", True), ("face-down", False), ("tracing", False)], 2)
)  # which side each of them shows: test_guide_pages.py
def test_the_toned_area_is_the_cuts_area_on_the_right_side(matrix, mirrored):
    """All the ink on the face: the zones' tones within, and the line of 0.1 mm that lies half outside each edge."""
    block = jetty_block()
    job = landing_job(type(block)(name="x", width_mm=WIDTH, height_mm=HEIGHT, cuts=block.cuts), kind="hand")
    guide = dataclasses.replace(hand_guide(job, matrix), labels=(), borders=np.empty((0, 4)))  # ink, too
    grey = page_picture(guide_pdf(guide), -len(plan(guide.bounds, "A4").tiles), FINE_DPI)
    around = -guide.bounds[0]
    left, top = (round((UNPRINTED_MM + extra + 0.5) * FINE_PX_PER_MM) for extra in (around, HEAD_MM + around))
    face = grey[top : top + round((HEIGHT - 1) * FINE_PX_PER_MM), left : left + round((WIDTH - 1) * FINE_PX_PER_MM)]
    ink = 1 - face / 255
    shapes = as_block_carries(block.cuts) if mirrored else block.cuts
    outer, inner = (shapely.union_all(shapely.buffer(shapes, by)) for by in (OUTLINE_MM / 2, -OUTLINE_MM / 2))
    zones = [shapely.union_all(zone) & inner for zone in (guide.zones.fine, guide.zones.edges, guide.zones.floors)]
    assert sum(zone.area for zone in zones) == pytest.approx(inner.area, rel=2e-3)
    wanted = (1 - HATCH_TONE) * (outer.area - inner.area)
    wanted += sum((1 - tone) * zone.area for tone, zone in zip(TONES, zones, strict=True))
    assert ink.sum() / FINE_PX_PER_MM**2 == pytest.approx(wanted, rel=5e-3)
    band = outer.difference(inner)
    centre = (1 - HATCH_TONE) * band.area * band.centroid.x
    for tone, zone in zip(TONES, zones, strict=True):
        centre += (1 - tone) * zone.area * (zone.centroid.x if zone.area else 0)
        solid = np.count_nonzero(face == round(tone * 255)) / FINE_PX_PER_MM**2
        assert solid == pytest.approx(zone.area, rel=5e-2, abs=0.5)
    middle = (ink.sum(axis=0) * (np.arange(face.shape[1]) + 0.5)).sum() / ink.sum() / FINE_PX_PER_MM + 0.5
    assert middle == pytest.approx(centre / wanted, abs=0.1)


def test_neighbouring_sheets_show_the_same_strip():
    guide = flakes_guide("carbon")
    data, sheets = flakes_pdf("A4"), plan(guide.bounds, "A4")
    first, second = sheets.tiles[:2]
    assert first.row == second.row
    overlap = first.right - second.left
    assert overlap >= 10
    strips = []
    for page, tile in enumerate((first, second), start=-len(sheets.tiles)):
        grey = page_picture(data, page).astype(float)
        x = round((UNPRINTED_MM + second.left - tile.left + 1) * PX_PER_MM)
        y = round((UNPRINTED_MM + HEAD_MM + 20) * PX_PER_MM)
        strips.append(grey[y : y + round(100 * PX_PER_MM), x : x + round((overlap - 2) * PX_PER_MM)])
    assert np.ptp(strips[0]) > 30
    shifts = [np.abs(strips[0][:, 2:-2] - np.roll(strips[1], by, axis=1)[:, 2:-2]).mean() for by in (-1, 0, 1)]
    assert min(shifts) < 3


def test_no_word_lies_under_the_upright_bar():
    """Boxes of the letters as PDFium finds them; the bar is 2 mm wide, at the right edge of what is printed."""
    document = pypdfium2.PdfDocument(flakes_pdf("A4"))
    text = document[0].get_textpage()
    right = max(text.get_charbox(k)[2] for k in range(text.count_chars()))
    assert right / 72 * 25.4 < PAPERS["A4"][0] - UNPRINTED_MM - 2
    text.close()
    document.close()


@pytest.mark.parametrize("paper", few(sorted(PAPERS), 1))
def test_many_words_stay_on_their_page(paper):
    """Every finding that a check has words for, and openings: nothing runs into the foot or off the page."""
    guide = flakes_guide("carbon")
    long = dataclasses.replace(guide, findings=guide.steps + guide.facts)
    document = pypdfium2.PdfDocument(guide_pdf(long, paper))
    text = document[0].get_textpage()
    letters = [text.get_charbox(k)[1] / 72 * 25.4 for k in range(text.count_chars())]
    whole = text.get_text_range()
    said = whole.replace("\r", " ").index("\nRings ")
    assert min(letters[said : said + 400]) > UNPRINTED_MM + FOOT_MM
    text.close()
    document.close()
