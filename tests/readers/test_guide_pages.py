"""The guide's pages as pypdf and PDFium find them: many findings, long names, samples, strokes to cut by, tables."""

from __future__ import annotations

import dataclasses
import io
import math
import re
from collections.abc import Callable
from functools import cache
from itertools import combinations, pairwise, product

import numpy as np
import pypdf
import pypdfium2
import pytest
import resvg_py
import shapely
from PIL import Image
from scipy import ndimage
from shapely import box

from carvegen import geometry
from carvegen.base.finding_groups import grouped, letter_of
from carvegen.base.findings import Finding, Report, Severity
from carvegen.blocks.block import Block
from carvegen.blocks.from_motif import Ground, loaded_block
from carvegen.blocks.job import Job, setups_for
from carvegen.blocks.test_strip import strip_for
from carvegen.blocks.views import View
from carvegen.delivery.strip_folder import deliver_strip
from carvegen.facts.profiles import Library
from carvegen.motifs.snowload import Settings
from carvegen.writers.guide.guide_pdf import guide_pdf
from carvegen.writers.guide.guide_svg import guide_svg
from carvegen.writers.guide.hand_guide import TONES, Guide, hand_guide
from carvegen.writers.note.block_note import machine_note
from carvegen.writers.pdf.tiles import (
    FOOT_MM,
    HEAD_MM,
    OVERLAP_MM,
    UNPRINTED_MM,
    plan,
)
from carvegen.writers.whole_print.templates import Part, Template, template_pdf
from tests.strategies import MANY, few, takes_long

PT = 25.4 / 72  #: millimetres in a point
DPI = 200
PX = DPI / 25.4
CROWD = 400  #: more findings than there is room for


def _job(*, name: str = "sky", size: tuple[float, float] = (120.0, 90.0), **more: object) -> Job:
    cuts = geometry.polygon_array([box(10, 10, 40, 40), box(50, 10, 51, 60)])
    block = Block(name=name, width_mm=size[0], height_mm=size[1], cuts=cuts, **more)
    return setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"])[0].on(block)


def _many(count: int, *, size: tuple[float, float] = (120.0, 90.0)) -> Report:
    """Findings strewn over a face, of five kinds and two severities."""
    rng = np.random.default_rng(5)
    places = rng.uniform((2, 2), np.array(size) - 2, (count, 2)).tolist()
    return Report.of(
        Finding(
            rule=f"rule-{k % 5}", severity=Severity(k % 2), at=(x, y), measured=0.1 + 0.01 * (k % 7), limit=0.5,
            unit="mm", why="too thin", remedy=f"do what helps against kind {'abcde'[k % 5]}",
        )
        for k, (x, y) in enumerate(places)
    )  # fmt: skip


def _texts(data: bytes) -> list[str]:
    """The words of each page as PDFium finds them."""
    document = pypdfium2.PdfDocument(data)
    words = []
    for page in document:
        text = page.get_textpage()
        words.append(" ".join(text.get_text_range().split()))
        text.close()
    document.close()
    return words


def _count(data: bytes) -> int:
    """How many pages."""
    document = pypdfium2.PdfDocument(data)
    count = len(document)
    document.close()
    return count


def _letters(data: bytes, page: int) -> list[tuple[str, float, float, float, float]]:
    """Each letter of a page with its box, mm: left, bottom, right, top."""
    document = pypdfium2.PdfDocument(data)
    text = document[page].get_textpage()
    whole = text.get_text_range()
    result = [(whole[k], *(side * PT for side in text.get_charbox(k))) for k in range(text.count_chars())]
    text.close()
    document.close()
    return result


def _picture(data: bytes, page: int) -> np.ndarray:
    document = pypdfium2.PdfDocument(data)
    grey = np.array(document[page].render(scale=DPI / 72).to_pil().convert("L"))
    document.close()
    return grey


def _heights_pt(data: bytes) -> set[float]:
    """The size of all letters, in points on the paper."""
    result: set[float] = set()

    def visit(text: str, cm: list[float], tm: list[float], _font: object, size: float) -> None:
        if text.strip():
            result.add(round(size * abs(tm[3] * cm[3]), 1))

    for page in pypdf.PdfReader(io.BytesIO(data)).pages:
        page.extract_text(visitor_text=visit)
    return result


@cache
def _plain() -> Guide:
    """The usual guide without findings, made once, as its pages are."""
    return _guide_for("carbon")


@cache
def _guide_for(matrix: str) -> Guide:
    """The same for another transfer."""
    return hand_guide(_job(), matrix)


@cache
def _plain_pdf() -> bytes:
    return guide_pdf(_plain())


@cache
def _crowded() -> tuple[Guide, bytes]:
    """The guide of more findings than there is room for, and its pages."""
    guide = hand_guide(_job(), "carbon", _many(CROWD))
    return guide, guide_pdf(guide)


def test_many_findings_are_told_kind_by_kind_and_nothing_is_set_smaller_than_eight_points():
    report, data = _many(CROWD), _crowded()[1]
    answer = " ".join(_texts(data))
    for place, group in enumerate(grouped(report)):
        assert f"{letter_of(place)}: {group.title}" in answer
        assert f"{group.count} places, at worst {group.worst.numbers}" in answer
    assert min(_heights_pt(data)) >= 8


@pytest.mark.parametrize("count", few([3, 40, 400], 2))
def test_no_two_numbers_lie_over_one_another_and_rings_are_few(count):
    marks = hand_guide(_job(), "carbon", _many(count)).marks
    for one, other in combinations(marks, 2):
        (a, b, w, h), (c, d, v, g) = one.box, other.box
        assert min(a + w, c + v) - max(a, c) < 0.3 or min(b + h, d + g) - max(b, d) < 0.3, (one.label, other.label)
    assert len(marks) <= 60


@pytest.mark.parametrize("matrix", ["carbon", "tracing"])
def test_every_finding_lies_in_a_ring_that_carries_its_letter(matrix):
    report = _many(40)
    guide = hand_guide(_job(), matrix, report)
    for k, group in enumerate(grouped(report)):
        for place in group.places:
            (x, y) = guide.shown.places([place.finding.at or (0, 0)])[0]
            mine = [mark for mark in guide.marks if math.dist(mark.at, (x, y)) <= mark.radius]
            assert any(letter_of(k) in mark.label.split(", ") for mark in mine)


def _dense(where: str) -> Job:
    """A block full of small cuts and a large one, with openings; its findings lie anywhere."""
    rng = np.random.default_rng(3)
    cuts = [box(4 * i + 1, 4 * j + 1, 4 * i + 1 + w, 4 * j + 1 + h) for i in range(14) for j in range(22)
            for w, h in [rng.uniform(0.8, 3.2, 2)]]  # fmt: skip
    cuts += [box(60, 5, 100, 60)] if where == "dense" else [box(57.5, 0, 120, 90)]
    cut_outs = geometry.polygon_array([box(104, 65, 110, 80)] if where == "dense" else [])
    return dataclasses.replace(
        _job(), block=Block(name="sky", width_mm=120.0, height_mm=90.0, cuts=geometry.polygon_array(cuts),
                            cut_outs=cut_outs),
    )  # fmt: skip


@cache
def _dense_guide(where: str, matrix: str) -> Guide:
    return hand_guide(_dense(where), matrix, _many(60))


def _same_where_drawn(with_marks: np.ndarray, without: np.ndarray) -> None:
    """Where the guide draws anything but a floor's even grey, marks change nothing; they are there, and readable."""
    assert with_marks.shape == without.shape
    floor = np.abs(without - 255 * TONES[-1]) < 1
    assert 0 < floor.mean() < 0.5
    drawn = (without < 250) & ~floor
    differs = np.abs(with_marks.astype(int) - without.astype(int)) > 3
    assert differs.sum() > 500, "rings and numbers are drawn"
    assert (differs & drawn).sum() == 0


_LAID = [("half of it cut", "tracing")]
_LAID += [("dense", "carbon"), ("dense", "tracing"), ("half of it cut", "carbon")] if MANY else []


@takes_long  # writers/test_ring_room.py has their room
@pytest.mark.parametrize(("where", "matrix"), _LAID)
def test_no_ring_and_no_number_covers_a_cut_or_an_edge(where, matrix):
    """Rendered by PDFium and by resvg with and without marks: no pixel that shows something else is changed."""
    guide = _dense_guide(where, matrix)
    bare = dataclasses.replace(guide, marks=())
    assert len(guide.marks) > 20
    marked, plain = guide_pdf(guide), guide_pdf(bare)
    sheets = _count(marked)
    assert sheets == _count(plain)
    _same_where_drawn(_picture(marked, sheets - 1), _picture(plain, sheets - 1))
    pictures = []
    for each in (guide, bare):
        png = resvg_py.svg_to_bytes(svg_string=guide_svg(each), dpi=DPI, background="#ffffff")
        pictures.append(np.array(Image.open(io.BytesIO(bytes(png))).convert("L")))
    _same_where_drawn(*pictures)


@takes_long  # writers/test_ring_room.py has their room
def test_rings_are_seen_and_numbers_stand_near_them_or_are_led_to():
    guide = _dense_guide("dense", "carbon")
    for mark in guide.marks:
        x, y, w, h = mark.box
        near = math.hypot(x + w / 2 - mark.at[0], y + h / 2 - mark.at[1])
        amid = shapely.distance(shapely.union_all(guide.shown.lowered).boundary, shapely.Point(mark.at)) > 8
        assert len(mark.lines) or amid, mark.label
        assert near < 75, mark.label  # half of the face, and the margin
    lengths = [np.hypot(*(each.lines[:, 2:] - each.lines[:, :2]).T).sum() for each in guide.marks]
    shares = [long / (2 * math.pi * one.radius) for long, one in zip(lengths, guide.marks, strict=True)]
    assert np.mean(np.array(shares) > 0.2) > 0.8
    assert {item.line_mm for item in guide.marks if item.breaks} == {0.3}
    assert {entry.line_mm for entry in guide.marks if not entry.breaks} == {0.15}


def test_words_that_are_too_many_run_on_to_a_further_page():
    guide = _plain()
    short = guide_pdf(guide)
    long = guide_pdf(dataclasses.replace(guide, findings=tuple(f"{k}. what was found there" for k in range(1, 91))))
    pages = _texts(long)
    assert len(pages) > _count(short)
    assert "90. what was found there" in " ".join(pages[:-1])
    for number, page in enumerate(pages):
        assert "measure me: 100 mm" in page
        low = min(box[2] for box in _letters(long, number) if box[0].strip())
        assert low > UNPRINTED_MM - 1, "nothing in what the printer leaves white"
    words = [box for box in _letters(long, 1) if box[0].isalpha() and box[2] > UNPRINTED_MM + FOOT_MM]
    assert words


@pytest.mark.parametrize(
    ("size", "name"), few(product([(120.0, 90.0), (220.0, 120.0)], ["x" * 200, "w w" * 66, "Ferry landing " * 14]), 3)
)
def test_a_long_name_stays_on_its_pages(name, size):
    data = guide_pdf(hand_guide(_job(name=name, size=size), "carbon"))
    square = geometry.polygon_array([box(0, 0, *size)])
    other = template_pdf(
        Template(
            title=name, view=View.BLOCK, words=(name,), parts=(Part(name="board", about="a board", shapes=square),)
        )
    )
    for one in (data, other):
        document = pypdf.PdfReader(io.BytesIO(one))
        for number, page in enumerate(document.pages):
            width = float(page.mediabox.width) * PT
            assert max(box[3] for box in _letters(one, number)) < width - UNPRINTED_MM + 0.5
    last = _texts(data)[-1]
    assert "grey = cut away" in last, "the name gives way, the rest stays"
    assert "…" in last


@takes_long
def test_samples_stand_before_the_words_in_the_drawings_own_tones():
    """Each of the three tones fills a sample of about 9 x 2.8 mm, and a third of one, on the page of words."""
    guide = _plain()
    grey = _picture(guide_pdf(guide), 0)
    for tone in TONES:
        flat = ndimage.binary_opening(np.abs(grey.astype(int) - round(tone * 255)) <= 1, np.ones((7, 7)))
        assert np.count_nonzero(flat) / PX**2 == pytest.approx(4 / 3 * 9 * 2.8, rel=0.15)
    groups = re.findall(r'id="SAMPLE-\d+"', guide_svg(guide))
    assert len(groups) == sum(bool(show.shows) for show in (*guide.shows, *guide.tools)) >= 4


def test_the_svg_has_a_box_to_tick_before_each_zone_of_its_list():
    """An empty square of 2.8 mm, drawn beside the words of each zone, as resvg shows it: a frame round white."""
    guide = _plain()
    rows = len(guide.tables[0].rows) - 1
    text = guide_svg(guide)
    result = re.findall(r'id="TICK-\d+".*?</g></g>', text)
    assert len(result) == rows >= 2
    png = resvg_py.svg_to_bytes(svg_string=text, dpi=DPI, background="#ffffff")
    grey = np.array(Image.open(io.BytesIO(bytes(png))).convert("L"))
    for group in result:
        x, y = (np.array(re.findall(rf'{axis}[12]="([\d.]+)"', group), dtype=float) for axis in "xy")
        left, top, right, bottom = x.min(), y.min(), x.max(), y.max()
        assert (right - left, bottom - top) == pytest.approx((2.8, 2.8), abs=0.01)
        inside = grey[round((top + 0.4) * PX) : round((bottom - 0.4) * PX), round((left + 0.4) * PX) :]
        assert inside[:, : round(2 * PX)].min() > 250, "room for a tick"
        assert grey[round((top + bottom) / 2 * PX), round(left * PX) - 2 :][:5].min() < 160, "its side is drawn"


#: What is done with the sheet, as pictures on paper: is it turned over on its way to the block?
LAID = {"carbon": False, "glued": False, "face-down": True, "tracing": True}  # common practice, no source


@pytest.mark.parametrize("matrix", LAID)
def test_a_sheet_laid_as_it_says_and_printed_gives_the_print_as_it_was_drawn(matrix: str):
    """PDFium's picture of the sheet, turned over where the transfer does, then turned by printing from the block."""
    cuts = [box(10, 10, 40, 40), box(50, 10, 51, 60)]
    paper, word, _ = _printed(matrix)
    for x, y in ((12, 12), (38, 38), (50.5, 50)):  # in the two cuts of `_job`
        assert shapely.intersects(shapely.union_all(cuts), shapely.Point(x, y))
        assert paper(x, y) < 240, "cut where the print is to be white"
        assert paper(120 - x, y) > 250, "and not where its mirror image would be"
    forwards = _printed("tracing")[1]
    assert np.corrcoef(word.ravel(), forwards.ravel())[0, 1] > 0.8, "the word reads alike in the print"
    assert np.corrcoef(word[:, ::-1].ravel(), forwards.ravel())[0, 1] < 0.6
    assert _runs_forwards(_printed("tracing")[2]), "and forwards, as the sheet to be traced shows it"


@cache
def _printed(matrix: str) -> tuple[Callable[[float, float], float], np.ndarray, bytes]:
    """The lightness of the print at a place in print view, mm, the picture of the word above it, and the pages."""
    guide = _guide_for(matrix)
    data = guide_pdf(guide)
    sheet = _picture(data, _count(data) - 1)
    left, top = round((UNPRINTED_MM - guide.bounds[0]) * PX), (UNPRINTED_MM + HEAD_MM + guide.bounds[3]) * PX
    around = sheet[:, left - round(5 * PX) : left + round(125 * PX)]  # as much beside the block on both sides
    on_block = around[:, ::-1] if LAID[matrix] else around
    paper = on_block[:, ::-1]
    word = paper[round(top - 98.5 * PX) : round(top - 92 * PX), round(4 * PX) : round(25 * PX)]
    return lambda x, y: float(paper[round(top - y * PX), round((5 + x) * PX)]), 255.0 - word, data


def _runs_forwards(data: bytes) -> bool:
    """Whether pypdf finds the letters of the test word one right of the other, unmirrored."""
    scales: list[float] = []

    def visit(text: str, cm: list[float], _tm: list[float], _font: object, _size: float) -> None:
        if text.strip() == "SNOW":
            scales.append(cm[0])

    pypdf.PdfReader(io.BytesIO(data)).pages[-1].extract_text(visitor_text=visit)
    return len(scales) == 1 and scales[0] > 0


def test_strokes_tell_where_a_sheet_is_cut_off_at_its_left_and_upper_side_and_nowhere_else():
    guide = hand_guide(_job(size=(300.0, 250.0)), "carbon")
    data, sheets = guide_pdf(guide), plan(guide.bounds, "A4")
    assert sheets.rows > 1
    assert sheets.columns > 1
    first = _count(data) - len(sheets.tiles)
    for number, tile in enumerate(sheets.tiles):
        grey = _picture(data, first + number)
        left, half = UNPRINTED_MM, OVERLAP_MM / 2
        top = sheets.page[1] - UNPRINTED_MM - FOOT_MM - (tile.top - tile.bottom)
        beside = grey[round((top + 2) * PX), round((left + half - 1) * PX) : round((left + half + 1) * PX)]
        above = grey[round((top + half - 1) * PX) : round((top + half + 1) * PX), round((left + 2) * PX)]
        assert (beside.min() < 140) == (tile.column > 1)
        assert (above.min() < 140) == (tile.row > 1)
    assert "cut it off from one to the other" in _texts(data)[0]


def test_a_single_sheet_says_nothing_of_rows_and_joins():
    words, _, drawing = _texts(_plain_pdf())  # between them the zones to tick
    assert "drawing: 1 sheet" in words + drawing, "not 1 sheet on three pages"
    assert "row 1" not in drawing
    assert "ringed cross" not in words


def test_steps_are_those_that_the_block_asks_for():
    plain = _plain().steps
    through = hand_guide(_job(cut_outs=geometry.polygon_array([box(70, 10, 90, 30)])), "carbon").steps
    assert not any("go through" in step for step in plain)
    assert any("go through" in step for step in through)
    fine = Block(name="x", width_mm=60, height_mm=40, cuts=geometry.polygon_array([box(10, 10, 11, 30)]))
    assert not any("floors" in step for step in hand_guide(dataclasses.replace(_job(), block=fine), "carbon").steps)


def test_the_first_page_tells_how_long_it_takes_by_hand():
    """Paces of the profile: 2 x (30 + 30) + 2 x (1 + 50) mm of outline, 9.5 cm2 to clear."""
    job = _job()
    stuff = job.material
    slow = 222 / stuff.hand_line_slow_mm_min + 9.5 / stuff.hand_clear_slow_cm2_min
    text = _texts(guide_pdf(hand_guide(job, "carbon")))[0]
    report = re.search(r"By hand it takes about (?:\d+ minutes if you are quick, )?(\d+) minutes", text)
    assert report
    assert float(report[1]) == pytest.approx(slow, abs=2.5)


def test_a_block_that_is_only_the_snow_of_a_key_drawing_says_that_the_rest_is_the_carvers():
    words, _, drawing = _texts(guide_pdf(hand_guide(_job(unfinished=True), "carbon")))
    assert "comes out of your key drawing" in words
    assert "cut your own drawing there, as ever" in words
    assert "leave standing, it prints" not in words
    assert "white is yours" in drawing
    assert "leave standing, it prints" in _texts(_plain_pdf())[0]
    assert "all else is yours to cut" in machine_note(_job(unfinished=True), None, {})


def test_only_the_key_block_of_snow_on_a_drawing_is_called_unfinished():
    """A post that the snow lies on: the sky's block is whole, the key's is only what the snow takes out."""
    setup_ = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"])[0]
    post = geometry.polygon_array([box(14, 5, 24, 20)])
    ground = Ground(name="snow", width_mm=40, height_mm=30, grow_from=post)
    made = {
        which: loaded_block(ground, Settings(), setup_.limits, np.random.default_rng(3), which=which)
        for which in ("sky", "key", "both")
    }
    assert {which: block.unfinished for which, block in made.items()} == {"sky": False, "key": True, "both": False}


@pytest.fixture(scope="module")
def strip_guide(tmp_path_factory) -> Callable[[str], bytes]:
    """The pages of a strip's guide for a transfer, made once."""

    @cache
    def made(transfer: str) -> bytes:
        setups = setups_for(Library(), material="cherry", cutter="v-60", kinds=["hand"])
        folder = tmp_path_factory.mktemp(transfer) / "strip"
        deliver_strip(setups, folder, transfer=transfer, paper="A4", dxf="R2000", say=lambda _: None)
        return (folder / "hand" / "guide.pdf").read_bytes()

    return made


def test_a_strips_guide_has_the_table_of_what_is_to_be_written_down(strip_guide):
    strip = strip_for(setups_for(Library(), material="cherry", cutter="v-60", kinds=["hand"])[0])
    text = " ".join(_texts(strip_guide("carbon")))
    for ladder in strip.ladders:
        assert " ".join(f"{size:g}" for size in ladder.sizes_mm) in text
    for option in ("--land-across", "--land-along", "--dot", "--cut", "--bar-face", "--floor-ends", "--date"):
        assert option in text
    assert "What the rungs show" in text


@pytest.mark.parametrize("transfer", ["carbon", "tracing"])
def test_a_strips_rungs_are_numbered_beside_them_in_both_views(strip_guide, transfer):
    """Where PDFium finds the figures; the land between two cuts has its number above its own middle."""
    data = strip_guide(transfer)
    block = strip_for(setups_for(Library(), material="cherry", cutter="v-60", kinds=["hand"])[0]).block
    around = UNPRINTED_MM + 12.0  # the drawing's lower left corner is that far from the block's
    digits = [
        (box[0], (box[1] + box[3]) / 2 - around, (box[2] + box[4]) / 2)
        for box in _letters(data, _count(data) - 1)
        if box[0] in "12345678"
    ]
    high = [cut.bounds for cut in block.cuts if abs(cut.bounds[3] - 78) < 0.01]
    lands = sorted(each for each in high if abs(each[2] - each[0] - 3) < 0.01)
    middles = [(one[2] + other[0]) / 2 for one, other in pairwise(lands)]
    assert len(middles) == 8
    for number, middle in enumerate(middles, start=1):
        x = block.width_mm - middle if transfer == "carbon" else middle
        assert any(item == str(number) and abs(at - x) < 0.5 for item, at, _ in digits), (number, x)


def test_a_guide_is_a_value_that_nothing_changes():
    guide = hand_guide(_job(), "carbon")
    assert isinstance(guide, Guide)
    before = guide_svg(guide)
    guide_pdf(guide)
    assert guide_svg(guide) == before


def test_a_pale_guide_uses_two_thirds_of_the_ink_in_the_cuts_at_most_and_still_divides_the_zones():
    """Grey values of PDFium across the wide cut: mirrored it lies from 80 to 110 mm, and from 10 to 40 mm up."""
    rows = []
    for saving in (False, True):
        guide = hand_guide(_job(), "carbon", saving=True) if saving else _plain()
        grey = _picture(guide_pdf(guide), 2).astype(float)
        y = round((UNPRINTED_MM + HEAD_MM + guide.bounds[3] - 25) * PX)
        left = round((UNPRINTED_MM - guide.bounds[0] + 80.5) * PX)
        rows.append(grey[y, left : left + round(29 * PX)])
    usual, pale = (255 - row for row in rows)
    assert pale.sum() < 0.67 * usual.sum()
    assert np.count_nonzero(np.diff(pale > np.median(pale) + 60)) == 4, "two lines, where the floor begins and ends"
    assert np.count_nonzero(np.diff(usual > np.median(usual) + 60)) == 0


def test_what_is_cut_already_is_pale_and_neither_counted_nor_timed():
    """The left half of the wide cut is there already: PDFium and resvg draw it near white, the other half grey."""
    old, width = box(10, 10, 25, 40), 120.0
    guide = hand_guide(_job(cut_before=geometry.polygon_array([old])), "carbon")
    whole = _plain()
    for picture, x0, y0 in _both_drawn(guide):
        light = [
            picture[round((y0 - 32.2) * PX), round((x0 + width - x) * PX) - 5 : round((x0 + width - x) * PX) + 5].mean()
            for x in (20, 38.8)
        ]
        assert 236 < light[0] < 250, "pale, and not the paper"
        assert light[1] < 232
    assert shapely.area(shapely.union_all(_every_zone(guide)).intersection(box(95, 10, 110, 40))) < 0.1
    assert "cut already" in " ".join(guide.legend)
    assert "cut already" not in " ".join(whole.legend)
    assert guide.facts[-1] != whole.facts[-1], "the time is that of what is left"
    half = hand_guide(_job(cut_before=geometry.polygon_array([box(50, 10, 51, 60)])), "carbon")
    assert whole.tables, "two zones have something to cut"
    assert not half.tables, "one zone is left"


def _both_drawn(guide: Guide) -> list[tuple[np.ndarray, float, float]]:
    """The drawing of the PDF and of the SVG in grey, and where on it the block's lower left corner lies, mm."""
    text = guide_svg(guide)
    png = resvg_py.svg_to_bytes(svg_string=text, dpi=DPI, background="#ffffff")
    edge = re.search(r'BLOCK EDGE</title>.*?points="([^"]+)"', text)
    assert edge is not None
    corners = np.array([word.split(",") for word in edge[1].split()], dtype=float)
    left, top = UNPRINTED_MM - guide.bounds[0], UNPRINTED_MM + HEAD_MM + guide.bounds[3]
    data = guide_pdf(guide)
    return [
        (_picture(data, _count(data) - 1), left, top),
        (np.array(Image.open(io.BytesIO(bytes(png))).convert("L")), corners[:, 0].min(), corners[:, 1].max()),
    ]


@pytest.mark.parametrize("matrix", ["carbon", "tracing"])
def test_every_patch_that_the_carver_decides_is_seen_and_not_taken_for_a_cut(matrix: str):
    """PDFium and resvg draw each, however small, with lines on white; small ones lie between two of the hatching's."""
    free = [box(60 + 5 * k, 70 + 0.31 * k, 60.6 + 5 * k, 70.6 + 0.31 * k) for k in range(8)] + [box(90, 20, 100, 30)]
    guide = hand_guide(_job(free=geometry.polygon_array(free)), matrix)
    hatched = shapely.STRtree(shapely.linestrings(guide.free_hatch.reshape(-1, 2, 2)))
    met = hatched.query(guide.shown.free, predicate="dwithin", distance=0.01)[0]
    assert len(np.unique(met)) == len(guide.shown.free), "a line goes through each"
    for picture, x0, y0 in _both_drawn(guide):
        for left, bottom, right, top in shapely.bounds(guide.shown.free):
            rows = slice(round((y0 - top - 0.1) * PX), round((y0 - bottom + 0.1) * PX) + 1)
            part = picture[rows, round((x0 + left - 0.1) * PX) : round((x0 + right + 0.1) * PX) + 1]
            assert part.min() < 215, "there are lines"
            whole = part.size / PX**2 > 4
            assert part.mean() > (225 if whole else 120), "and no tone"
            edge = picture[round((y0 - (bottom + top) / 2) * PX), round((x0 + left) * PX) - 2 :][:5]
            assert edge.min() < 215, "its side is drawn"


def _every_zone(guide: Guide) -> list[shapely.Polygon]:
    return [*guide.zones.fine, *guide.zones.edges, *guide.zones.floors]


def test_pages_of_words_stand_upright_whichever_way_the_drawing_lies():
    pages = pypdf.PdfReader(io.BytesIO(guide_pdf(hand_guide(_job(size=(200.0, 140.0)), "carbon")))).pages
    wide = [float(page.mediabox.width) > float(page.mediabox.height) for page in pages]
    assert wide[0] is False
    assert wide[-1] is True


def test_where_there_is_no_room_for_all_rings_every_kind_has_some_and_the_rest_are_counted():
    report = _many(CROWD)
    guide, data = _crowded()
    answer = " ".join(_texts(data))
    left = re.search(r"The worst are ringed; (\d+) more places", answer)
    assert left
    assert sum(mark.count for mark in guide.marks) + int(left[1]) == CROWD
    letters = {letter for mark in guide.marks for letter in mark.label.split(", ")}
    assert {letter_of(k) for k in range(len(grouped(report)))} <= letters
