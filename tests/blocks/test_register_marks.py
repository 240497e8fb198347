"""Register by the marks alone: blocks printed askew on pixels, found again by others' tools; flips are caught."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pytest
import resvg_py
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from PIL import Image
from scipy import ndimage
from skimage.transform import EuclideanTransform, estimate_transform

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.block import Block
from carvegen.blocks.job import setups_for
from carvegen.blocks.register_marks import (
    die_register,
    name_mark,
    register_for,
    sheet_of,
    with_moat,
)
from carvegen.blocks.views import View, seen
from carvegen.facts.printing import USUAL
from carvegen.facts.profiles import Library
from carvegen.facts.register import METHODS, RegisterPlan
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.paths import Work
from carvegen.toolpaths.promises import broken
from carvegen.toolpaths.register_lines import register_lines, register_places
from carvegen.toolpaths.settings import PathSettings
from carvegen.writers.block.block_drawing import machine_svg
from carvegen.writers.note.block_note import machine_note
from carvegen.writers.sheet import register_shapes
from carvegen.writers.whole_print.templates import block_template, paper_template, template_pdf, template_svg
from tests import cases
from tests.strategies import few

SIZE = (80.0, 60.0)
PX = 10  #: pixels in a millimetre
MARGIN = 20.0  #: what the file shows round the picture: its waste of 18 mm, and 2 mm
NS = {"s": "http://www.w3.org/2000/svg"}
SHARED = [shapely.Point(20, 40).buffer(4), shapely.box(50, 10, 62, 18)]  #: cut into every block alike


def job_for(number: int, name: str, method: str = "stops"):
    own = shapely.Point(15 + 12 * number, 53).buffer(3)
    cuts = np.array([*SHARED, own], dtype=object)
    register = register_for(RegisterPlan(method=method), SIZE, f"{number} {name}")
    block = Block(name=name, width_mm=SIZE[0], height_mm=SIZE[1], cuts=cuts, register=register)
    return cases.setup("linoleum", "flat-1").on(block)


def printed(job, *, mirrored=True, shift=(0.0, 0.0), turn=0.0):
    """What the written file prints: drawn by resvg, turned over as printing does, laid askew; ink 1, paper 0."""
    root = etree.fromstring(machine_svg(job).encode())
    for layer in root.xpath('//s:g[@id="NOTES"] | //s:g[@id="BLOCK-EDGE"] | //s:g[@id="BOARD-EDGE"]', namespaces=NS):
        layer.getparent().remove(layer)
    text = etree.tostring(root).decode()
    png = resvg_py.svg_to_bytes(svg_string=text, dpi=round(PX * 25.4), background="#ffffff")
    ink = 1 - np.asarray(Image.open(io.BytesIO(bytes(png))).convert("L"), dtype=float) / 255
    ink = ink[: round((SIZE[1] + 2 * MARGIN) * PX), : round((SIZE[0] + 2 * MARGIN) * PX)]
    if mirrored:
        ink = ink[:, ::-1]
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    back = np.array([[c, -s], [s, c]])
    middle = np.array(ink.shape) / 2
    return ndimage.affine_transform(ink, back, offset=middle - back @ (middle + np.array(shift) * PX), order=1)


def cross_at(ink, near):
    """The middle of the cross near a place, by its lines: where the darkest row and column meet, to a part of a pixel.

    A line's middle is the mean of its darkness, in a window on each arm, and the arms are fitted straight.
    """
    row, column = near
    half, arm = round(1.6 * PX), round(3.5 * PX)
    ends = []
    for sign in (-1, 1):
        window = ink[row - half : row + half, column + sign * arm - PX // 3 : column + sign * arm + PX // 3 + 1]
        ends.append(((window * np.arange(row - half, row + half)[:, None]).sum() / window.sum(), column + sign * arm))
    ups = []
    for sign in (-1, 1):
        window = ink[row + sign * arm - PX // 3 : row + sign * arm + PX // 3 + 1, column - half : column + half]
        ups.append((row + sign * arm, (window * np.arange(column - half, column + half)).sum() / window.sum()))
    (r0, c0), (r1, c1) = ends
    (v0, u0), (v1, u1) = ups
    slope, lean = (r1 - r0) / (c1 - c0), (u1 - u0) / (v1 - v0)
    r = (r0 + slope * (u0 - lean * v0 - c0)) / (1 - slope * lean)
    return r, u0 + lean * (r - v0)


def crosses(ink):
    """All four, in pixels: right, up, left, down is fixed by the sheet."""
    w, h = SIZE
    places = [(w / 2, h + 7), (w + 7, h / 2), (w / 2, -7), (-7, h / 2)]
    pixels = [(round((MARGIN + h - y) * PX), round((MARGIN + x) * PX)) for x, y in places]
    return np.array([cross_at(ink, at) for at in pixels])


@pytest.mark.parametrize("seed", few([1, 2], 1))
def test_blocks_laid_askew_are_found_again_by_their_marks_alone(seed):
    """Shifted by up to 0.8 mm and turned by up to 0.5 degrees; fitted by scikit-image; pictures agree to 0.05 mm."""
    rng = np.random.default_rng(seed)
    first = printed(job_for(1, "sky"))
    for number, name in few([(2, "tone"), (3, "key")], 1):
        shift, turn = rng.uniform(-0.8, 0.8, 2), rng.uniform(-0.5, 0.5)
        other = printed(job_for(number, name), shift=shift, turn=turn)
        fit = estimate_transform("euclidean", crosses(other), crosses(first))
        assert isinstance(fit, EuclideanTransform)
        assert abs(math.degrees(fit.rotation)) == pytest.approx(abs(turn), abs=0.03)
        inverse = np.linalg.inv(fit.params)
        again = ndimage.affine_transform(other, inverse[:2, :2], offset=inverse[:2, 2], order=1)
        for shape in SHARED:
            assert np.hypot(*(middle(again, shape) - middle(first, shape))) / PX < 0.05
            if np.hypot(*shift) > 0.2:
                assert np.hypot(*(middle(other, shape) - middle(first, shape))) / PX > 0.1


def middle(ink, shape):
    """The centroid of what prints about a shape that every block has."""
    left, bottom, right, top = shape.bounds
    rows = slice(round((MARGIN + SIZE[1] - top - 1.5) * PX), round((MARGIN + SIZE[1] - bottom + 1.5) * PX))
    columns = slice(round((MARGIN + left - 1.5) * PX), round((MARGIN + right + 1.5) * PX))
    row, column = ndimage.center_of_mass(ink[rows, columns])
    return np.array([row + rows.start, column + columns.start])


def test_a_flipped_block_is_caught_by_the_arrow():
    """The window over the arrow holds ink in the print, and none if the block was turned over once more or less."""
    right = printed(job_for(1, "sky"))
    wrong = printed(job_for(1, "sky"), mirrored=False)
    x, y = SIZE[0] / 2 + 10, SIZE[1] + 6.7

    def dark(ink):
        row, column = round((MARGIN + SIZE[1] - y) * PX), round((MARGIN + x) * PX)
        return ink[row - PX : row + PX, column - 3 * PX : column + 3 * PX].mean()

    assert dark(right) > 0.1
    assert dark(wrong) < 0.01


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("size", [(80.0, 60.0), (60.0, 80.0), (200.0, 150.0)])
def test_stops_are_alike_on_all_blocks_clear_of_the_picture_and_on_the_board(method, size):
    one, other = (register_for(RegisterPlan(method=method), size, label) for label in ("1 sky", "2 tone"))
    assert shapely.equals_exact(shapely.multipolygons(one.stops), shapely.multipolygons(other.stops), 0)
    face = shapely.box(0, 0, *size)
    board = face.buffer(one.waste_mm, join_style="mitre")
    for stop in one.stops:
        assert stop.distance(face) >= 2 - 1e-6
        assert board.contains(stop)
        assert board.exterior.distance(stop) >= 6 - 1e-6
    assert len(one.stops) == {"crosses": 0, "stops": 2, "pins": 2}[method]


def test_the_sheet_lies_against_three_places_of_the_stops():
    """A corner and a side: the sheet's corner is the corner stop's, and its long side runs along the edge stop."""
    plan = RegisterPlan(method="stops")
    corner, edge = register_for(plan, (200.0, 150.0), "").stops
    sheet = sheet_of(plan, (200.0, 150.0))
    margin = plan.paper_margin_mm
    assert sheet.bounds == (-margin, -margin, 200 + margin, 150 + margin)
    assert corner.bounds[:2] == sheet.bounds[:2]
    assert edge.bounds[1] == sheet.bounds[1]
    apart = edge.centroid.x - sheet.bounds[0]
    assert apart == pytest.approx(0.75 * 200)  # stops far apart turn the sheet less: similar triangles


def test_no_sheet_fits_pins_turned_or_flipped():
    """Pins do not stand alike from both ends: the set turned by half or mirrored is another."""
    pins = shapely.multipolygons(register_for(RegisterPlan(method="pins"), (200.0, 150.0), "").stops)
    turned = shapely.transform(pins, lambda xy: np.array([200.0, 150.0]) - xy)
    mirrored = shapely.transform(pins, lambda xy: xy * (-1, 1) + (200.0, 0.0))
    for other in (turned, mirrored):
        assert pins.intersection(other).area < 0.5 * pins.area


def test_too_little_waste_is_told():
    with pytest.raises(InputError, match=r"14 mm or more"):
        register_for(RegisterPlan(method="stops", waste_mm=5.0), SIZE, "")


def test_a_stamp_has_crosses_only():
    with pytest.raises(InputError, match=r"must be crosses"):
        register_for(RegisterPlan(method="pins"), (40.0, 30.0), "")
    assert len(register_for(RegisterPlan(), (40.0, 30.0), "").stops) == 0


def test_the_note_says_how_to_catch_a_flip_and_how_large_the_board_is():
    text = machine_note(job_for(1, "sky"), None, {})
    assert "arrow above the block points to the left" in text
    assert "116 x 96 mm" in text  # 80 x 60 and 18 mm all round
    assert "corner stop" in text
    assert "REGISTER STOP" in text and "BOARD EDGE" in text


def test_a_name_has_room_or_is_left_out():
    for width in (5.0, 20.0, 30.0, 60.0, 300.0):
        mark = name_mark((width, 40.0), "12 background-of-the-sky")
        if len(mark):
            left, bottom, right, top = shapely.total_bounds(mark)
            assert width / 2 < left and right <= width and bottom > 40 and top < 54


@pytest.mark.parametrize("method", METHODS)
def test_templates_are_mirrors_of_one_another_at_true_size(method):
    """Read back by lxml; the boards' in block view, the sheets' in print view, each the other mirrored."""
    plan = RegisterPlan(method=method)
    board, sheet = block_template("landing", plan, (200.0, 150.0)), paper_template("landing", plan, (200.0, 150.0))
    stops = {t.view.value: part for t in (board, sheet) for part in t.parts if part.name == "REGISTER STOP"}
    if method != "crosses":
        one = shapely.multipolygons(stops["block"].shapes)
        other = shapely.transform(shapely.multipolygons(stops["print"].shapes), lambda xy: xy * (-1, 1) + (200.0, 0.0))
        assert one.symmetric_difference(other).area < 1e-6
    for template in (board, sheet):
        root = etree.fromstring(template_svg(template).encode())
        assert root.get("width").endswith("mm")
        assert root.get("viewBox").split()[2] == root.get("width").removesuffix("mm")
        bar = root.xpath('//s:g[@id="NOTES"]/s:polygon', namespaces=NS)[0].get("points").split()
        x = [float(pair.split(",")[0]) for pair in bar]
        assert max(x) - min(x) == pytest.approx(100)
        words = " ".join(root.xpath("//s:text/text()", namespaces=NS))
        assert f"{template.view.value} view" in words


def test_template_pages_have_true_size():
    """Read by pypdf: A4, words on the first page; a large print takes more sheets."""
    from pypdf import PdfReader

    small = PdfReader(io.BytesIO(template_pdf(block_template("landing", RegisterPlan(method="stops"), (100.0, 80.0)))))
    large = PdfReader(io.BytesIO(template_pdf(block_template("landing", RegisterPlan(method="stops"), (400.0, 300.0)))))
    assert len(small.pages) == 2
    assert len(large.pages) > 4
    width, height = sorted(float(side) / 72 * 25.4 for side in small.pages[0].mediabox[2:])
    assert (width, height) == pytest.approx((210, 297), abs=0.1)
    assert "measure me: 100 mm" in small.pages[1].extract_text()
    assert "corner stop" in small.pages[0].extract_text()


def test_the_same_marks_and_another_name_on_the_next_block():
    one, other = job_for(1, "sky"), job_for(2, "tone")
    assert machine_svg(one) != machine_svg(replace(one, block=replace(one.block, register=other.block.register)))


@pytest.mark.parametrize("method", sorted(METHODS))
@pytest.mark.parametrize("wide", [3.0, USUAL.moat_mm, 6.0])
def test_arrow_name_and_crosses_lie_clear_of_the_groove(method, wide):
    plain = register_for(RegisterPlan(method=method, waste_mm=25.0), SIZE, "1 sky")
    register = with_moat(plain, SIZE, wide)
    block = Block(
        name="sky", width_mm=SIZE[0], height_mm=SIZE[1], cuts=np.array(SHARED, dtype=object), register=register
    )
    groove = shapely.box(0, 0, *SIZE).buffer(wide, quad_segs=64)
    assert len(register.mark) == len(plain.mark) > 1
    assert shapely.distance(groove, register.mark).min() >= 0.99
    assert shapely.box(-25, -25, SIZE[0] + 25, SIZE[1] + 25).contains(shapely.union_all(register.mark))
    lines = register_lines(block)
    assert len(lines.start) == 9
    assert shapely.distance(groove, shapely.linestrings(lines.xyz[:, :2].reshape(-1, 2, 2))).min() >= 0.49
    crosses = register_shapes(seen(block, View.PRINT))[:4]
    assert len(crosses) == 4 and shapely.distance(groove, crosses).min() >= 0.49
    middles = shapely.points(register_places(*SIZE))
    assert (shapely.distance(crosses, middles) == 0).all()


def test_marks_stay_where_the_waste_has_no_room_beside_the_groove():
    plain = register_for(RegisterPlan(waste_mm=8.0), SIZE, "1 sky")
    narrow = with_moat(plain, SIZE, 7.5)
    assert [each.wkb for each in narrow.mark] == [one.wkb for one in plain.mark]
    block = Block(name="sky", width_mm=SIZE[0], height_mm=SIZE[1], cuts=np.array(SHARED, dtype=object), register=narrow)
    whole = replace(block, register=plain)
    assert register_lines(block).xyz.tolist() == register_lines(whole).xyz.tolist()


@pytest.mark.parametrize(
    ("material", "cutter"), [("birch-plywood", "laser-fine"), ("cherry", "flat-3"), ("cherry", "v-60")]
)
def test_paths_keep_their_promises_in_the_groove_beside_the_picture(material, cutter):
    """A cut that ends at the picture's edge runs on into the groove; nothing goes into the waste that stands."""
    register = with_moat(register_for(RegisterPlan(method="stops"), SIZE, "1 sky"), SIZE, USUAL.moat_mm)
    cuts = geometry.snapped(geometry.polygon_array([*SHARED, shapely.box(70, 20, 80, 35)]))
    block = Block(name="sky", width_mm=SIZE[0], height_mm=SIZE[1], cuts=cuts, register=register)
    kind = "laser" if cutter == "laser-fine" else "router"
    setup = setups_for(Library(), material=material, cutter=cutter, kinds=[kind])[0]
    plan = plan_for(setup.on(block), PathSettings())
    assert plan is not None
    assert broken(plan, PathSettings()) == ()
    lines = [step.paths for step in plan.operations if step.work is not Work.SCORE]
    for x, y in ((-2.0, 40.0), (82.0, 27.0), (30.0, 62.0), (60.0, -2.0)):
        assert shapely.union_all(block.lowered).contains(shapely.Point(x, y))
    lowest = min(line.xyz[:, 1].min() for line in lines)
    assert -USUAL.moat_mm < lowest < -1
    assert len(shapely.get_parts(shapely.union_all(block.lowered))) == 3


@settings(deadline=None)
@given(
    method=st.sampled_from(sorted(METHODS)), width=st.floats(50, 400), height=st.floats(40, 400),
    margin=st.floats(4, 40), more=st.floats(0, 30), wide=st.floats(0.5, 12),
)  # fmt: skip
def test_the_waste_of_any_board_is_groove_or_waste_and_of_any_die_floor_or_stop(
    method: str, width: float, height: float, margin: float, more: float, wide: float
) -> None:
    """The groove is as wide as asked but at stops; in the waste of a die only stops stand, just outside the sheet."""
    size = (round(width, 3), round(height, 3))
    plan = RegisterPlan(method=method, paper_margin_mm=margin, waste_mm=margin + 20 + more)
    register, face = register_for(plan, size, "1 sky"), shapely.box(0, 0, *size)
    board = face.buffer(register.waste_mm, join_style="mitre")
    inked = with_moat(register, size, wide)
    stands = board.difference(face).difference(shapely.union_all(inked.lowered))
    free = min([wide, *shapely.distance(register.stops, face).tolist()])
    assert stands.distance(face) == pytest.approx(free, abs=0.002)
    assert free >= min(wide, 4.0 if margin >= 6 else 2.0) - 0.002
    die = die_register(register, plan, size)
    both = [shapely.union_all(die.lowered), shapely.union_all(die.pads)]
    assert sum(each.area for each in both) == pytest.approx(board.area - face.area, rel=1e-4)
    assert len(die.pads) == (2 if method == "stops" else 0)
    sheet = sheet_of(plan, size)
    for pad in die.pads:
        assert pad.intersection(sheet).area < 0.01 and pad.distance(sheet) < 0.002
        assert board.buffer(0.002).contains(pad)
