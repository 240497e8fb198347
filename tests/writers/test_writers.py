"""Writers: views, layers, words, and that the same input gives the same bytes."""

import dataclasses
import hashlib
import io
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from PIL import Image

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.finding_groups import grouped, letter_of
from carvegen.base.findings import Report
from carvegen.base.units import PAPERS
from carvegen.blocks.block import Block
from carvegen.blocks.layer_names import LAYERS, MACHINE_LAYERS, palette
from carvegen.blocks.register_marks import name_mark
from carvegen.blocks.views import View, seen
from carvegen.facts.cautions import deference
from carvegen.facts.profiles import Verdict
from carvegen.geometry import coverage as coverage_module
from carvegen.geometry.coverage import coverage
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.settings import PathSettings
from carvegen.writers.block import block_png
from carvegen.writers.block.block_drawing import machine_dxf, machine_svg, proof_svg
from carvegen.writers.block.block_png import INK, PAPER, proof_png, proof_raster
from carvegen.writers.block.ring_places import marks
from carvegen.writers.formats import coordinates
from carvegen.writers.formats.coordinates import ring_texts
from carvegen.writers.formats.png_bytes import png_bytes
from carvegen.writers.guide.guide_pdf import guide_pdf
from carvegen.writers.guide.guide_svg import guide_svg
from carvegen.writers.guide.hand_guide import TEST_WORD, hand_guide
from carvegen.writers.note.block_note import machine_note
from carvegen.writers.note.findings_table import findings_lines, findings_table
from carvegen.writers.pdf.tiles import OVERLAP_MM, plan
from carvegen.writers.proof import proof_sheet
from carvegen.writers.proof.proof_pages import block_sheet
from carvegen.writers.proof.proof_sheet import proof_sheet_html
from tests import cases
from tests.readers.landing import (
    HEIGHT,
    WIDTH,
    as_block_carries,
    jetty_block,
    landing_job,
    landing_report,
    many_flakes,
)
from tests.strategies import takes_long

NS = {"s": "http://www.w3.org/2000/svg"}
ROOT = Path(__file__).parents[2]


def tree(text: str) -> etree._Element:
    return etree.fromstring(text.encode())


# --- numbers ---------------------------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.integers(-(10**7), 10**7), st.integers(-(10**7), 10**7)), min_size=1, max_size=30))
def test_numbers_are_written_as_python_would(steps):
    xy = np.array(steps) / 1000
    wanted = "".join(f"<{x + 0:.3f},{y + 0:.3f}>" for x, y in xy.tolist())
    assert ring_texts(xy, np.array([0, len(xy)]), before="<", between=",", after=">") == [wanted]


@pytest.mark.parametrize("ends", [(0, 9_999_999), (0, 10_000_000), (-999_999, 999_999), (-1_000_000, 1_000_000)])
def test_numbers_at_the_ends_of_a_word_are_written_as_python_would(ends: tuple[int, int]) -> None:
    steps = np.concatenate([np.linspace(*ends, 500).astype(int), ends, [min(ends[0] + 1, 0), 1, 999, 1000, 10_000]])
    xy = np.column_stack([steps, steps[::-1]]) / 1000
    wanted = "".join(f"{x + 0:.3f} {y + 0:.3f}," for x, y in xy.tolist())
    assert ring_texts(xy, np.array([0, len(xy)]), after=",") == [wanted]


def test_rings_are_told_apart_and_none_gives_none():
    xy = np.arange(12).reshape(6, 2)
    assert ring_texts(xy, np.array([0, 2, 2, 6]), after=";")[:2] == ["0.000 1.000;2.000 3.000;", ""]
    assert ring_texts(np.empty((0, 2)), np.array([0])) == []
    marked = ring_texts(xy, np.array([0, 2, 2, 6]), after=" l\n", first=" m\n", last=" z\n")
    assert marked[:2] == ["0.000 1.000 m\n2.000 3.000 z\n", ""]
    assert marked[2].split("\n") == ["4.000 5.000 m", "6.000 7.000 l", "8.000 9.000 l", "10.000 11.000 z", ""]


# --- views and layers ------------------------------------------------------------------------------------------------


def test_the_block_is_the_mirror_image_of_its_print():
    block = jetty_block()
    carried = seen(block, View.BLOCK)
    wanted = as_block_carries(block.cuts)
    assert shapely.equals_exact(shapely.normalize(carried.cuts), shapely.normalize(wanted), 1e-9).all()
    assert carried.places([(10, 20)]).tolist() == [[WIDTH - 10, 20]]
    assert carried.direction_deg(30) == 150
    shown = seen(landing_job(block), View.PRINT)
    assert shown.cuts is block.cuts
    assert shown.places([(10, 20)]).tolist() == [[10, 20]]


def test_mirroring_twice_is_nothing():
    block = jetty_block()
    once = seen(block, View.BLOCK)
    again = seen(Block(name="", width_mm=WIDTH, height_mm=HEIGHT, cuts=once.cuts), View.BLOCK)
    assert shapely.equals_exact(shapely.normalize(again.cuts), shapely.normalize(block.cuts), 1e-9).all()


def test_layer_names_fit_release_12_and_xml():
    for layer in LAYERS.values():
        assert re.fullmatch(r"[A-Z0-9$_-]{1,31}", layer.r12_name)
        assert re.fullmatch(r"[A-Z][A-Z-]*", layer.xml_name)
    assert len({layer.colour for layer in LAYERS.values()}) == len(LAYERS)


def test_the_shops_colours_go_before_ours():
    # DXF colour index 3 is green, 5 is blue (the released DXF reference's first seven colours)
    layers = palette({"CUT AREA": 3, "CUT-OUT": 5})
    assert layers["CUT AREA"].colour == "#00ff00"
    assert layers["CUT-OUT"].index == 5
    assert layers["REGISTER"] == LAYERS["REGISTER"]
    assert 'fill="#00ff00"' in machine_svg(landing_job(colours={"CUT AREA": 3}))


@pytest.mark.parametrize("wrong", [{"SNOW": 3}, {"CUT AREA": 0}, {"CUT AREA": 256}])
def test_wrong_layer_colours_are_told(wrong):
    with pytest.raises(InputError) as raised:
        palette(wrong)
    assert "layer_colours" in str(raised.value)


# --- machine SVG and proof -------------------------------------------------------------------------------------------


def test_a_machine_svg_holds_plain_closed_shapes_only():
    root = tree(machine_svg(landing_job()))
    tags = {element.tag.split("}")[1] for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "defs", "g", "path", "polygon", "text"}
    assert not root.xpath("//*[@transform or @href or @style]")
    assert [group.get("id") for group in root.xpath("s:g", namespaces=NS)] == [
        LAYERS[name].xml_name for name in ("CUT AREA", "CUT-OUT", "REGISTER", "BLOCK EDGE", "NOTES")
    ]
    assert [title.text for title in root.xpath("s:g/s:title", namespaces=NS)] == list(MACHINE_LAYERS)
    for path in root.xpath("//s:path", namespaces=NS):
        assert re.fullmatch(r"(M[\d. ]+Z)+", path.get("d"))


def test_each_shape_is_one_path_and_cut_areas_are_filled():
    block = jetty_block()
    root = tree(machine_svg(landing_job(block)))
    area = root.xpath('s:g[@id="CUT-AREA"]', namespaces=NS)[0]
    assert len(area.xpath("s:path", namespaces=NS)) == len(block.cuts)
    assert (area.get("stroke"), area.get("fill-rule")) == ("none", "evenodd")
    out = root.xpath('s:g[@id="CUT-OUT"]', namespaces=NS)[0]
    assert out.get("fill") == "none"
    assert float(out.get("stroke-width")) <= 0.1


def test_words_never_wear_the_colour_of_a_layer_that_is_cut():
    notes = etree.tostring(tree(machine_svg(landing_job())).xpath('s:g[@id="NOTES"]', namespaces=NS)[0]).decode()
    for name in ("CUT AREA", "CUT-OUT", "REGISTER", "BLOCK EDGE"):
        assert LAYERS[name].colour not in notes
        assert name in notes


def test_every_file_says_its_view_in_words():
    job = landing_job()
    assert "BLOCK VIEW: mirrored" in machine_svg(job)
    assert "BLOCK VIEW: mirrored" in machine_dxf(job)
    assert "PRINT VIEW" in proof_svg(job.block, Report(()))
    assert "BLOCK VIEW" in guide_svg(hand_guide(job, "glued"))
    assert "PRINT VIEW" in guide_svg(hand_guide(job, "face-down"))


def test_names_are_escaped():
    assert tree(machine_svg(landing_job(jetty_block(name='<sky> & "snow"')))) is not None


@pytest.mark.parametrize(("count", "ringed"), [(0, 0), (7, 7), (35, 20)])
def test_findings_are_ringed_and_lettered_or_counted(count, ringed):
    root = tree(proof_svg(jetty_block(), landing_report(count), most=20))
    group = root.xpath('s:g[@id="FINDING"]', namespaces=NS)[0]
    assert len(group.xpath("s:circle", namespaces=NS)) == 2 * ringed  # a light ring under a dark one
    labels = [text.text for text in group.xpath("s:text", namespaces=NS)]
    words = " ".join(text.text for text in root.xpath('s:g[@id="NOTES"]/s:text', namespaces=NS))
    assert len(labels) == ringed
    assert all(re.fullmatch("[A-Z]", label) and f"{label}: " in words for label in labels)
    assert ("and 15 more" in words) == (count == 35)


@pytest.mark.parametrize(("width", "height", "most"), [(30, 20, 8), (120, 80, 53), (600, 400, 200)])
def test_a_small_face_carries_fewer_rings(width, height, most):
    block = Block(name="", width_mm=width, height_mm=height, cuts=geometry.empty())
    root = tree(proof_svg(block, landing_report(230)))
    assert len(root.xpath('s:g[@id="FINDING"]/s:circle', namespaces=NS)) == 2 * most
    words = " ".join(text.text for text in root.xpath('s:g[@id="NOTES"]/s:text', namespaces=NS))
    assert f"and {230 - most} more" in words


def test_rings_surround_their_findings_and_labels_keep_apart():
    report = landing_report(25)
    result = marks(report, seen(jetty_block(), View.PRINT), most=200)
    letters = {id(place.finding): letter_of(k) for k, group in enumerate(grouped(report)) for place in group.places}
    for mark, finding in zip(result, report, strict=True):
        for end in (finding.at, finding.to):
            assert np.hypot(*np.subtract(mark.at, end)) < mark.radius
        assert mark.label == letters[id(finding)]
    boxes = shapely.box(*np.array([(m.box[0], m.box[1], m.box[0] + m.box[2], m.box[1] + m.box[3]) for m in result]).T)
    pairs = shapely.STRtree(boxes).query(boxes, predicate="overlaps")
    assert pairs.shape[1] <= 2


# --- DXF -------------------------------------------------------------------------------------------------------------


def test_an_unknown_release_is_told():
    with pytest.raises(InputError, match="release"):
        machine_dxf(landing_job(), "R9")


# --- picture ---------------------------------------------------------------------------------------------------------


def test_coverage_is_exact_on_known_shapes():
    square = geometry.polygon_array([shapely.box(0.5, 1.25, 2.5, 2)])
    assert coverage(square, (3, 2)).tolist() == [[0.375, 0.75, 0.375], [0, 0, 0]]
    triangle = geometry.polygon_array([shapely.Polygon([(0, 0), (2, 0), (0, 2)])])
    assert coverage(triangle, (2, 2)).tolist() == [[0.5, 0], [1, 0.5]]


def test_coverage_agrees_with_geos_pixel_by_pixel_even_over_the_edge():
    shapes = geometry.moved(jetty_block().cuts, (-20.3, -11.7))
    got = coverage(shapes, (70, 40))
    column, row = np.meshgrid(np.arange(70), np.arange(39, -1, -1))
    pixels = shapely.box(column, row, column + 1, row + 1)
    wanted = shapely.area(shapely.intersection(pixels, shapely.union_all(shapes)))
    assert np.abs(got - wanted).max() < 1e-6


def test_a_proof_picture_is_true_to_size_and_area():
    block = jetty_block()
    picture = Image.open(io.BytesIO(proof_png(block, px_per_mm=8)))
    assert picture.size == (960, 640)
    assert picture.info["dpi"][0] == pytest.approx(8 * 25.4, rel=1e-3)
    bare = Block(name="", width_mm=WIDTH, height_mm=HEIGHT, cuts=block.cuts)
    grey = np.asarray(Image.open(io.BytesIO(proof_png(bare, px_per_mm=8))).convert("RGB"), dtype=float)[..., 0]
    white = (grey.mean() - INK[0]) / (PAPER[0] - INK[0])
    assert white == pytest.approx(bare.white_share, rel=1e-3)


def test_the_page_shows_the_pixels_of_the_proof():
    """Taken from the picture, they are those of the land's own outlines; and they are taken, not drawn again."""
    job = cases.setup("linoleum", "v-60").on(jetty_block())
    raster = proof_raster(job.block, 10.0)
    assert raster.cut_outs is not None
    drawn = proof_sheet_html(block_sheet([job], {}, {}, []))
    assert proof_sheet_html(block_sheet([job], {}, {}, [], pixels=raster.land)) == drawn
    assert proof_sheet_html(block_sheet([job], {}, {}, [], pixels=~raster.land)) != drawn
    assert proof_png(job.block, raster=raster) == proof_png(job.block)


def test_a_proof_picture_is_in_print_view():
    picture = Image.open(io.BytesIO(proof_png(jetty_block(), px_per_mm=4)))
    assert picture.getpixel(((65 * 4), round((HEIGHT - 27) * 4))) == PAPER  # the jetty board, as drawn
    assert picture.getpixel(((13 * 4), round((HEIGHT - 68) * 4))) == PAPER  # the cut-out
    assert picture.getpixel(((95 * 4), round((HEIGHT - 58) * 4))) == INK  # inside the lamp's ring
    kept = picture.getpixel(((13 * 4), round((HEIGHT - 10) * 4)))
    assert INK[0] < kept[0] < (INK[0] + PAPER[0]) / 2


def test_a_corner_is_that_piece_of_the_whole():
    block = jetty_block()
    whole = Image.open(io.BytesIO(proof_png(block, px_per_mm=5)))
    piece = Image.open(io.BytesIO(proof_png(block, px_per_mm=5, corner=(80, 40, 30, 20))))
    wanted = np.asarray(whole.crop((400, (80 - 60) * 5, 550, (80 - 40) * 5)), dtype=int)
    assert np.abs(np.asarray(piece, dtype=int) - wanted).max() <= 1


def test_a_picture_of_no_size_is_told():
    with pytest.raises(InputError):
        proof_png(jetty_block(), px_per_mm=0.001)


# --- guide -----------------------------------------------------------------------------------------------------------


@given(width=st.floats(20, 900), height=st.floats(20, 900), paper=st.sampled_from(sorted(PAPERS)))
def test_sheets_cover_the_drawing_and_overlap(width, height, paper):
    sheets = plan((-10, -10, width, height), paper)
    tiles = [shapely.box(tile.left, tile.bottom, tile.right, tile.top) for tile in sheets.tiles]
    assert shapely.box(-10, -10, width, height).difference(shapely.union_all(tiles).buffer(1e-6)).area < 1e-9
    assert len(tiles) == sheets.rows * sheets.columns
    for x, y in sheets.joins:
        assert sum(tile.contains(shapely.Point(x, y).buffer(3.5)) for tile in tiles) in {2, 4}
    for one in sheets.tiles:
        for other in sheets.tiles:
            if (other.row, other.column) == (one.row, one.column + 1):
                assert one.right - other.left == pytest.approx(OVERLAP_MM)
                assert len([j for j in sheets.joins if other.left < j[0] < one.right]) >= 2


def test_a_block_with_waste_for_stops_goes_on_one_sheet():
    """200 x 150 mm and 18 mm of waste: too high for a sheet on its side with a foot, so the bar stands beside it."""
    bounds = (-19.0, -19.0, 219.0, 169.0)
    for paper in PAPERS:
        sheets = plan(bounds, paper)
        (tile,) = sheets.tiles
        assert (sheets.page[0] > sheets.page[1], sheets.foot_mm) == (True, 0.0)
        assert shapely.box(tile.left, tile.bottom, tile.right, tile.top).buffer(1e-6).contains(shapely.box(*bounds))
    assert plan((-10.0, -10.0, 110.0, 90.0), "A4").foot_mm > 0


@pytest.mark.parametrize(("matrix", "mirrored"), [("carbon", True), ("glued", True), ("face-down", False)])
def test_the_test_word_is_mirrored_with_the_picture(matrix, mirrored):
    root = tree(guide_svg(hand_guide(landing_job(kind="hand"), matrix)))
    (word,) = [text for text in root.iter("{*}text") if text.text == TEST_WORD]
    assert ("scale(-1" in word.get("transform")) == mirrored
    x = float(re.match(r"translate\(([\d.]+)", word.get("transform"))[1])
    assert (x > WIDTH / 2) == mirrored


def test_only_wood_with_a_grain_gets_an_arrow():
    assert 'id="GRAIN"' in guide_svg(hand_guide(landing_job(kind="hand", grain="side"), "carbon"))
    assert 'id="GRAIN"' not in guide_svg(hand_guide(landing_job(kind="hand"), "carbon"))


def test_the_arrow_turns_with_the_view():
    slopes = []
    for side in ("carbon", "face-down"):
        root = tree(guide_svg(hand_guide(landing_job(kind="hand", grain="side"), side)))
        line = root.xpath('s:g[@id="GRAIN"]/s:line', namespaces=NS)[0]
        x1, y1, x2, y2 = (float(line.get(key)) for key in ("x1", "y1", "x2", "y2"))
        slopes.append(-(y2 - y1) / (x2 - x1))  # SVG's y runs downwards
    assert slopes == pytest.approx([-np.tan(np.radians(20)), np.tan(np.radians(20))], abs=1e-3)


def test_unknown_ways_and_papers_are_told():
    job = landing_job(kind="hand")
    with pytest.raises(InputError):
        guide_svg(hand_guide(job, "wished"))
    with pytest.raises(InputError):
        guide_pdf(hand_guide(job, "carbon"), "A99")


# --- note and table --------------------------------------------------------------------------------------------------


def test_an_upright_stroke_in_a_name_ends_no_cell_of_a_table():
    """Cells as GitHub Flavored Markdown divides them: at each | that has no backslash before it."""
    setup_ = cases.setup("linoleum", "flat-1")
    job = dataclasses.replace(setup_, cutter=dataclasses.replace(setup_.cutter, name="my V | sharp\nnew")).on(
        jetty_block()
    )
    plan = plan_for(job, PathSettings())
    assert plan is not None
    finding = dataclasses.replace(landing_report(1).findings[0], remedy="cut | or\nleave it")
    rows = [row for row in machine_note(job, Report.of([finding]), {}, plan).splitlines() if row.startswith("|")]
    assert any(r"my V \| sharp new" in row for row in rows)
    assert any(r"cut \| or leave it" in row for row in rows)
    cells = [len(re.split(r"(?<!\\)\|", row)) for row in rows]
    heads = [k for k, row in enumerate(rows) if set(row) <= set("|-: ")]
    for head, end in zip(heads, [*(k - 1 for k in heads[1:]), len(rows)], strict=True):
        assert len(set(cells[head - 1 : end])) == 1


def test_what_must_be_asked_stands_on_top():
    note = machine_note(landing_job(), Report(()), {"sky.svg": "for the laser"})
    assert note.index("Open question") < note.index("What this is")
    assert "NOT DECLARED - ask before anything is cut" in note
    declared = machine_note(landing_job(declared="linseed oil, rosin, cork"), Report(()), {})
    assert "**linseed oil, rosin, cork**" in declared
    assert "NOT DECLARED" not in declared
    assert "Open question" not in machine_note(landing_job(verdict=Verdict.YES), Report(()), {})


def test_a_note_tells_each_kind_of_finding_once_with_its_worst_and_count():
    """30 findings: two rules, each with breaks and risks."""
    note = machine_note(landing_job(), landing_report(30), {})
    rows = [line for line in note.splitlines() if re.match(r"\| [A-Z] \| (land|foot) width", line)]
    assert len(rows) == 4
    assert sum(int(re.search(r"(\d+) places", row)[1]) for row in rows) == 30
    assert rows[0].startswith("| A | foot width: 0.2 mm, limit 0.5 mm | breaks | 10 places in")


def test_a_note_gives_measures_and_defers():
    block = jetty_block()
    note = machine_note(landing_job(block), landing_report(30), {"sky.svg": "for the laser"})
    lengths = shapely.length(block.cuts).sum()
    assert f"| {len(block.cuts)} | {lengths:.1f} |" in note
    assert f"White: {100 * block.white_share:.1f} %" in note
    for words in (
        "120 x 80 mm",
        "3.2 mm",
        "1.2 mm deep",
        "half the tool's included angle",
        "not offset for kerf",
        "Oil and cork smoke heavily.",
        "Trained people only.",
        "`sky.svg`: for the laser",
        "machine's manual, the shop's rules, local codes",
    ):
        assert words in note


@pytest.mark.parametrize("kind", ["laser", "router", "hand"])
def test_a_note_never_gives_power_or_speed(kind):
    note = machine_note(landing_job(kind=kind), landing_report(3), {})
    assert not re.search(r"\d\s*(W|watt|mm/s|mm/min|m/min|rpm|%\s*power)\b", note)


def test_a_hand_note_has_no_words_for_machines():
    note = machine_note(landing_job(kind="hand", verdict=Verdict.YES), landing_report(3), {"guide.pdf": "the guide"})
    assert deference("hand") in note
    assert not re.search(r"laser|kerf|operator|machine|spindle", note.replace(deference("hand"), "").lower())


def test_the_table_has_a_line_for_each_kind_and_severity():
    report = landing_report(30)
    lines = findings_table(report).splitlines()
    assert len(lines) == 1 + 4
    for line in lines[1:]:
        rule, severity = line.split()[:2]
        alike = [f for f in report if f.rule == rule and f.severity.label == severity]
        assert f"{min(f.measured for f in alike):.2f} mm" in line
        assert f"  {len(alike)} " in line
    assert findings_table(Report(())) == "No findings."
    assert findings_lines(Report(())) == ["No findings."]


# --- the same bytes --------------------------------------------------------------------------------------------------

_PRINT_HASHES = """
import dataclasses
import hashlib
from tests.writers.test_writers import everything
print(" ".join(hashlib.sha256(data).hexdigest() for data in everything()))
"""


def everything() -> list[bytes]:
    """Every kind of file, as bytes."""
    job, report = landing_job(grain="side"), landing_report(12)
    texts = [
        machine_svg(job),
        proof_svg(job.block, report),
        machine_dxf(job),
        machine_dxf(job, "R12"),
        guide_svg(hand_guide(job, "carbon")),
        machine_note(job, report, {"a.svg": "b"}),
        findings_table(report),
    ]
    return [
        *(text.encode() for text in texts),
        proof_png(job.block, px_per_mm=4),
        guide_pdf(hand_guide(job, "glued"), "Letter"),
    ]


@takes_long  # of one block's folder: tests/cli/test_fresh.py
def test_two_processes_write_the_same_bytes():
    here = [hashlib.sha256(data).hexdigest() for data in everything()]
    env = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", _PRINT_HASHES], env=env, cwd=ROOT, text=True, check=True, stdout=subprocess.PIPE
    )
    assert done.stdout.split() == here


def test_an_empty_block_can_be_written():
    empty = Block(name="blank", width_mm=50, height_mm=40, cuts=geometry.empty())
    job = landing_job(empty)
    assert "NOTES" in machine_dxf(job)
    for text in (machine_svg(job), proof_svg(empty, Report(())), guide_svg(hand_guide(job, "carbon"))):
        assert tree(text) is not None
    assert proof_png(empty, px_per_mm=2)
    assert guide_pdf(hand_guide(job, "carbon"))
    assert "White: 0.0 %" in machine_note(job, Report(()), {})


def test_many_flakes_all_arrive():
    block = many_flakes(2000)
    named = len(name_mark((300, 200), block.name))
    assert machine_svg(landing_job(block)).count("<path ") == len(block.cuts) + 4 + named + 1


@given(st.integers(0, 10_000))
def test_edges_are_cut_at_the_lines_of_pixels_as_one_by_one(seed) -> None:
    """Each edge by itself, its cuts sorted, is the slow twin: none, one and many, on the lines and along them."""
    rng = np.random.default_rng(seed)
    first, last = rng.uniform(-2, 6, (2, 40, 2))
    first[::5], last[::7] = np.round(first[::5]), np.round(last[::7])
    last[::3] = first[::3] + rng.uniform(-0.4, 0.4, (len(first[::3]), 2))
    (x, to_x), (y, to_y) = coverage_module._pieces(first.T, last.T, seed)
    starts, ends = np.column_stack([x, y]), np.column_stack([to_x, to_y])
    done = 0
    for a, b in zip(first, last, strict=True):
        low, high = np.minimum(a, b), np.maximum(a, b)
        at = [
            (whole - a[axis]) / (b[axis] - a[axis])
            for axis in (0, 1)
            for whole in np.arange(np.floor(low[axis]) + 1, np.ceil(high[axis]))
        ]
        share = np.array([0.0, *sorted(at), 1.0])
        places = a + share[:, None] * (b - a)
        count = len(share) - 1
        assert starts[done : done + count] == pytest.approx(places[:-1], abs=1e-6)
        assert ends[done : done + count] == pytest.approx(places[1:], abs=1e-6)
        done += count
    assert done == len(starts)


def test_the_sheets_picture_takes_as_few_bits_as_its_blocks() -> None:
    """Pixels read back are the blocks' bits, whatever the depth of the file."""
    for count, deep in ((1, 1), (2, 2), (3, 4), (4, 4), (7, 8)):
        bits = np.random.default_rng(count).integers(0, 2**count, (20, 31)).astype(np.uint16)
        data = proof_sheet._png_of(bits, count)
        assert data[24] == deep
        picture = Image.open(io.BytesIO(data))
        assert (np.asarray(picture.convert("RGB"))[..., 0] == bits).all()


def test_coordinates_written_part_by_part_are_those_written_at_once(monkeypatch) -> None:
    """Lines of all lengths, some of no points, some longer than a part; numbers of unlike length and sign."""
    rng = np.random.default_rng(2)
    start = np.concatenate([[0], np.cumsum(rng.choice([0, 1, 3, 40], 60))])
    xy = rng.uniform(-1, 1, (start[-1], 2)) * 10.0 ** rng.integers(-3, 4, (start[-1], 1))
    whole = ring_texts(xy, start, before="<", after=">")
    assert [text.count("<") for text in whole] == np.diff(start).tolist()
    for few in (1, 7, 50):
        monkeypatch.setattr(coordinates, "_AT_ONCE", few)
        assert ring_texts(xy, start, before="<", after=">") == whole


def test_a_flat_picture_is_read_back_as_it_was(tmp_path) -> None:
    """By Pillow and by its own bytes: pixels and pixels per mm."""
    pixels = np.random.default_rng(3).integers(0, 256, (13, 29, 3)).astype(np.uint8)
    with Image.open(io.BytesIO(png_bytes(Image.fromarray(pixels), px_per_mm=7.5, flat=True))) as picture:
        picture.verify()
    with Image.open(io.BytesIO(png_bytes(Image.fromarray(pixels), px_per_mm=7.5, flat=True))) as picture:
        assert picture.mode == "RGB"
        assert (np.asarray(picture) == pixels).all()
        assert picture.info["dpi"] == pytest.approx((7.5 * 25.4, 7.5 * 25.4), abs=0.02)
    assert "dpi" not in Image.open(io.BytesIO(png_bytes(Image.fromarray(pixels), flat=True))).info


def test_one_coat_is_a_table_of_its_tones_with_the_pixels_of_a_painted_picture() -> None:
    """Beside it the same with a second coat that covers nothing, which is painted."""
    shares = np.random.default_rng(4).uniform(0, 1, (50, 70))
    shares[:10], shares[10:20] = 0, 1
    coats, ground, how = [(shares, (251, 250, 246))], (38, 52, 71), {"px_per_mm": 10.0, "flat": True}
    table = Image.open(io.BytesIO(png_bytes(block_png._painted(coats, (70, 50), ground), **how)))
    coats.append((np.zeros((50, 70)), (1, 2, 3)))
    painted = Image.open(io.BytesIO(png_bytes(block_png._painted(coats, (70, 50), ground), **how)))
    assert (table.mode, painted.mode) == ("P", "RGB")
    assert (np.asarray(table.convert("RGB")) == np.asarray(painted)).all()
    assert table.info["dpi"] == painted.info["dpi"]
