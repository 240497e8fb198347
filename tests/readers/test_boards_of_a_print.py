"""Boards of a built print read back by GDAL, resvg and PDFium: the waste beside the picture, dies, counter-sheets."""

from __future__ import annotations

import io
import json
import math

import numpy as np
import pyogrio.raw
import pypdfium2
import pytest
import resvg_py
import shapely
from PIL import Image

from carvegen.interfaces.cli import main
from carvegen.interfaces.page import print_checks
from carvegen.prints.file.print_file import read_print
from tests.cases import SHELF, even_odd
from tests.cli.running import built_once
from tests.strategies import few

W, H, MARGIN, MIDDLE = 66.0, 46.0, 8.0, 47.0
PICTURE = shapely.box(0, 0, W, H)
SHEET = PICTURE.buffer(MARGIN, join_style="mitre")
#: Half the strip that a roller of 25 mm radius touches, sunk in by 0.3 mm: plane geometry, from the note's figures.
TOUCHED = math.sqrt(25**2 - (25 - 0.3) ** 2)
WORKED = ("CLEAR", "WALL ")
PRINT = """
[print]
name = "boards"
size_mm = [66, 46]
register_error_mm = 0.4
[register]
method = "METHOD"
prints = 20
MORE
[artwork]
in_front = ["POST", "MOON"]
[[layers]]
name = "POST"
shape = "box 12 0 10 30"
[[layers]]
name = "MOON"
shape = "circle 47 27 8"
[[blocks]]
name = "sky"
role = "background"
ink = "#a9bfcb"
layers = ["*"]
material = "birch-plywood"
cutter = "laser-fine"
[[blocks]]
name = "key"
role = "key"
ink = "#1f2b3d"
layers = ["POST"]
material = "cherry"
cutter = "flat-3"
for = ["router", "hand"]
[[blocks]]
name = "die"
role = "emboss"
layers = ["MOON"]
material = "embossing-acrylic"
cutter = "laser-fine"
for = ["laser"]
depth_mm = 0.6
bevel_deg = 40
from = "SIDE"
counter_thickness_mm = 0.9
"""


def text_of(method, more="", side="back", text=PRINT):
    return text.replace("METHOD", method).replace("MORE", more).replace("SIDE", side)


@pytest.fixture(scope="module", params=few([("stops", "front"), ("stops", "back"), ("pins", "front")], 1), ids="-".join)
def print_of(request):
    method, side = request.param
    return method, side, built_once(text_of(method, side=side)) / "built"


def areas(path, layer: str) -> shapely.Geometry:
    """The areas that the closed lines of a layer enclose, even-odd, as GDAL reads them."""
    result = pyogrio.raw.read(path, columns=["Layer"])
    names, shapes = result[3][0], shapely.from_wkb(result[2])
    rings = [each for each, name in zip(shapes, names, strict=True) if name == layer]
    return even_odd([ring if ring.geom_type == "Polygon" else shapely.Polygon(ring.coords) for ring in rings])


def layers(path) -> set[str]:
    return set(pyogrio.raw.read(path, columns=["Layer"])[3][0])


def board_of(path):
    board = areas(path, "BOARD EDGE")
    return PICTURE if board.is_empty else board


def test_the_floor_of_a_die_runs_through_the_waste_and_only_stops_stand_outside_the_sheet(print_of):
    method, side, out = print_of
    floor = areas(out / "die" / "laser" / "block.dxf", "CUT AREA")
    stands = board_of(out / "die" / "laser" / "block.dxf").difference(floor)
    face = areas(out / "die" / "die" / "wall.dxf", "DIE FACE")
    middle = MIDDLE if side == "back" else W - MIDDLE
    pressed = shapely.union_all([part for part in shapely.get_parts(stands.intersection(SHEET)) if part.area > 0.01])
    assert pressed.centroid.coords[0] == pytest.approx((middle, 27.0), abs=0.01)
    assert pressed.area == pytest.approx(shapely.intersection(pressed, shapely.Point(middle, 27).buffer(8)).area)
    assert face.within(pressed)
    others = [part for part in shapely.get_parts(stands) if part.disjoint(pressed)]
    assert len(others) == (2 if method == "stops" else 0)
    for stop in others:
        assert stop.distance(SHEET) == pytest.approx(0, abs=0.002)
        assert stop.intersection(SHEET).area < 0.01


def test_a_stop_of_a_die_ends_below_its_face_and_the_sheet_lies_against_it(print_of):
    method, side, out = print_of
    stops = areas(out / "die" / "die" / "wall.dxf", "STOPS")
    note = (out / "die" / "die" / "note.md").read_text()
    if method != "stops":
        assert stops.is_empty
        return
    depth = float(next(line for line in note.splitlines() if line.startswith("| STOPS")).split("|")[2])
    assert 0 < depth < 0.6
    corner = (-MARGIN, -MARGIN) if side == "back" else (W + MARGIN, -MARGIN)
    assert stops.intersection(shapely.Point(corner).buffer(0.5)).area == pytest.approx(0.75 * math.pi * 0.25, rel=0.01)
    notch = areas(out / "sky" / "laser" / "block.dxf", "REGISTER STOP")  # on an ink block: mirrored
    sheet_side = shapely.box(-MARGIN, -MARGIN - 1, W + MARGIN, -MARGIN)
    assert notch.distance(sheet_side) < 0.002 and stops.distance(SHEET) < 0.002


@pytest.mark.parametrize("block", ["sky", "key"])
def test_a_moat_parts_the_picture_from_the_waste_on_every_ink_block(print_of, block):
    """Nothing that stands outside the picture is nearer to it than the roller reaches, in any file of a machine."""
    method, _, out = print_of
    machine = {"sky": "laser", "key": "router"}[block]
    path = out / block / machine / "block.dxf"
    waste = board_of(path).difference(PICTURE).difference(areas(path, "CUT AREA"))
    assert waste.area > 0.3 * board_of(path).difference(PICTURE).area
    assert waste.distance(PICTURE) >= TOUCHED - 0.002
    picture = drawn(out / block / machine / "block.svg")
    for distance in (0.3, 2.0, 3.5):
        assert ring_tones(picture, distance, method).max() < 200  # filled with the colour of CUT AREA
    assert ring_tones(picture, 6.0, method).min() > 240


def drawn(path, px=10):
    text = path.read_text().replace("font-family", "data-family")
    png = resvg_py.svg_to_bytes(svg_string=text, dpi=round(px * 25.4), background="#ffffff")
    return np.asarray(Image.open(io.BytesIO(bytes(png))).convert("L"), dtype=float)


def ring_tones(picture, distance, method, px=10):
    """Tones along a line beside the picture's left side, where no cross, name or stop is drawn."""
    edge = {"stops": 18.0, "pins": 22.0}[method] + 2.0  # the waste, and the file's margin round it
    y = np.linspace(0.65 * H, 0.85 * H, 60)
    points = np.column_stack([np.full(len(y), -distance), H - y])
    at = np.round((points + edge) * px).astype(int)
    return picture[at[:, 1], at[:, 0]]


def test_the_paths_of_laser_and_router_go_round_the_picture(print_of):
    """What the machine follows lowers the moat, too: at half its width beside every side lies a path or an area."""
    out = print_of[2]
    result = pyogrio.raw.read(out / "key" / "router" / "paths.dxf", columns=["Layer"])
    lines = [each for each, name in zip(shapely.from_wkb(result[2]), result[3][0], strict=True) if name[:5] in WORKED]
    cleared = shapely.union_all([shapely.force_2d(line).buffer(1.5) for line in lines])
    lowered = areas(out / "sky" / "laser" / "paths.dxf", "LOWER FLOOR")
    ring = PICTURE.buffer(2.0, join_style="mitre").exterior
    for covered in (cleared, lowered):
        assert ring.difference(covered).length < 0.5


def test_the_guide_shows_the_moat_in_grey(print_of):
    """PDFium draws the guide's sheet: beside the picture it is as grey as a cut, further out white as what stands."""
    out = print_of[2]
    document = pypdfium2.PdfDocument(out / "sky" / "hand" / "guide.pdf")
    greys = []
    for page in document:
        tones = np.asarray(page.render(scale=4, grayscale=True).to_numpy(), dtype=float)
        greys.append(((tones > 150) & (tones < 235)).sum() / (4 * 72 / 25.4) ** 2)
    groove = areas(out / "sky" / "laser" / "block.dxf", "CUT AREA").difference(PICTURE)
    white = W * H - shapely.from_wkb((out / "lands" / "sky.wkb").read_bytes()).area
    assert groove.area > TOUCHED * 2 * (W + H) - 200
    assert max(greys) == pytest.approx(white + groove.area, rel=0.06)  # crosses and outlines lie over the grey


#: The first; those that are too narrow, in the checks' own tests: checks/test_both_sides.py.
TOO_NARROW = [("moat_mm = 0", 0.0), ("moat_mm = 2.5", 2.5), ("paper_margin_mm = 5", 3.0)]


@pytest.mark.parametrize(("more", "missing"), few(TOO_NARROW, 1))
def test_a_moat_that_is_missing_or_too_narrow_is_told(tmp_path, more, missing):
    alone = PRINT[: PRINT.index('[[blocks]]\nname = "key"')] + 'for = ["laser"]\n'
    (tmp_path / "print.toml").write_text(text_of("stops", more, text=alone))
    result = print_checks.print_findings(
        read_print(tmp_path / "print.toml", SHELF), SHELF, tmp_path, say=lambda _: None
    )
    report = [each for each in result["sky"] if each.rule == "moat"]
    assert [one.measured for one in report] == pytest.approx([missing], abs=0.002)
    assert report[0].limit == pytest.approx(TOUCHED, abs=0.001)


def found_in(path, machine, rule):
    return [
        finding for finding in json.loads(path.read_text())["reports"][machine]["findings"] if finding["rule"] == rule
    ]


def test_a_moat_as_it_is_made_is_not_told(print_of):
    for block, machine in (("sky", "laser"), ("key", "router"), ("key", "hand"), ("die", "laser")):
        assert not found_in(print_of[2] / block / "report.json", machine, "moat")


def test_no_shoulder_stands_round_the_foot_of_a_die(print_of):
    """The wall of a die is bevelled by files of its own; beside the lands of an ink block a shoulder slopes them."""
    out = print_of[2]
    assert any(name.startswith("SHOULDER") for name in layers(out / "sky" / "laser" / "paths.dxf"))
    assert layers(out / "die" / "laser" / "paths.dxf") & {"LOWER FLOOR"}
    assert not any(name.startswith("SHOULDER") for name in layers(out / "die" / "laser" / "paths.dxf"))
    assert not found_in(out / "die" / "report.json", "laser", "clearing")
    assert not found_in(out / "die" / "report.json", "laser", "wall-angle")


def test_the_counter_sheet_has_material_and_thickness_of_its_own_and_one_word_on_them(print_of):
    out = print_of[2] / "die"
    for note in (out / "die" / "note.md", out / "counter" / "laser" / "note.md"):
        text = note.read_text()
        assert "grey board" in text and "0.9 mm" in text
        assert "1.1 mm" not in text
    assert "acrylic" not in (out / "counter" / "laser" / "note.md").read_text()
    assert "grey board" not in (out / "laser" / "note.md").read_text()
    cut = areas(out / "counter" / "laser" / "block.dxf", "CUT AREA")
    assert cut.is_empty


def test_a_counter_sheet_thinner_than_the_relief_is_refused(tmp_path, capsys):
    (tmp_path / "print.toml").write_text(
        PRINT.replace("METHOD", "stops").replace("MORE", "").replace("SIDE", "back").replace("= 0.9", "= 0.5")
    )
    with pytest.raises(SystemExit) as done:
        main(["build", str(tmp_path / "print.toml"), "--out", str(tmp_path / "built")])
    assert done.value.code == 2
    assert "counter_thickness_mm" in capsys.readouterr().err
    assert not (tmp_path / "built").exists()
