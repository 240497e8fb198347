"""An emboss block in a print: no ink under it, the die the right way round, its wall and its counter-sheet."""

from __future__ import annotations

import json
import re

import ezdxf
import numpy as np
import pytest
import shapely
from lxml import etree

from carvegen.delivery import print_build
from carvegen.interfaces.page.print_checks import print_findings
from carvegen.prints.file.print_file import read_print
from tests.cases import SHELF, layer, small_print
from tests.cli.running import built_once, run
from tests.strategies import few

PRINT = small_print(
    '[artwork]\nin_front = ["POST", "MOON"]',
    layer("POST", "box 12 0 10 30"),
    layer("MOON", "circle 45 25 7"),
    blocks={"sky": ["*"], "key": ["POST"]},
    name="moon",
    register_error_mm=0.4,
    after="""
[[blocks]]
name = "die"
role = "emboss"
layers = ["MOON"]
material = "embossing-acrylic"
cutter = "laser-fine"
for = ["laser"]
depth_mm = 0.8
from = "SIDE"
[files]
paths = false
""",
)


DIE = '[[blocks]]\nname = "die"'
#: The same without its ink blocks.
ALONE = PRINT.partition("[[blocks]]")[0] + DIE + PRINT.partition(DIE)[2]


@pytest.fixture(params=few(["back", "front"], 1))
def built(request):
    return request.param, built_once(PRINT.replace("SIDE", request.param)) / "built"


def land(out, name: str):
    return shapely.from_wkb((out / "lands" / f"{name}.wkb").read_bytes())


def contours(path, layer: str) -> list[shapely.Polygon]:
    """Closed polylines of a layer, by ezdxf's reader."""
    result = ezdxf.readfile(path).modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    return [shapely.Polygon([(x, y) for x, y, *_ in line.get_points()]) for line in result]


def test_no_ink_runs_under_the_embossed_shape(built):
    """Snow as emboss: neighbours stop short of it (trade rule); no ink block prints where the moon is pressed."""
    moon = shapely.Point(45, 25).buffer(6.99, quad_segs=64)
    for name in ("sky", "key"):
        assert shapely.area(shapely.intersection(land(built[1], name), moon)) < 0.01


def test_a_die_that_presses_from_the_back_is_not_mirrored(built):
    """Blind printing from the back is not reversed: Phillips, The Technique of the Color Wood-cut (1926), ch. 3."""
    side, out = built
    middle = 45 if side == "back" else 60 - 45
    floor = contours(out / "die" / "laser" / "block.dxf", "CUT AREA")
    hole = min(floor, key=lambda each: each.area)
    assert hole.centroid.coords[0] == pytest.approx((middle, 25), abs=0.01)
    face = contours(out / "die" / "die" / "wall.dxf", "DIE FACE")
    assert face[0].centroid.coords[0] == pytest.approx((middle, 25), abs=0.01)
    counter = contours(out / "die" / "counter" / "laser" / "block.dxf", "CUT-OUT")
    assert counter[0].centroid.coords[0] == pytest.approx((60 - middle, 25), abs=0.01)


def test_the_counter_sheet_clears_the_foot_by_the_paper(built):
    """A disc of 7 mm, its foot 0.5 mm inside (the corner radius), and paper of 300 g/m2 beside it."""
    hole = contours(built[1] / "die" / "counter" / "laser" / "block.dxf", "CUT-OUT")[0]
    assert np.sqrt(hole.area / np.pi) == pytest.approx(7 - 0.5 + 300 / 0.55 / 1000, abs=0.02)


def test_every_ring_of_the_wall_says_its_depth(built):
    root = etree.parse(built[1] / "die" / "die" / "wall.svg").getroot()
    said = [node.text for node in root.iter("{http://www.w3.org/2000/svg}desc")]
    depths = [float(text.split()[2]) for text in said if text.startswith("lower to")]
    assert depths == pytest.approx([0.05 + 0.1 * k for k in range(8)])
    assert f"{'NOT MIRRORED' if built[0] == 'back' else 'mirrored'}" in etree.tostring(root).decode()


@pytest.mark.parametrize(("change", "rule"), [(("300", "120"), "emboss-paper"), (("0.8", "1.4"), "emboss-strain")])
def test_what_the_paper_can_not_bear_is_a_finding(tmp_path, change, rule):
    text = ALONE.replace("SIDE", "back").replace("register_error_mm = 0.4", "register_error_mm = 0.4\npaper_g_m2 = 300")
    if rule == "emboss-strain":
        text = text.replace(DIE, '[[blocks]]\nbevel_deg = 30\nname = "die"')
    (tmp_path / "print.toml").write_text(text.replace(*change))
    result = print_findings(read_print(tmp_path / "print.toml", SHELF), SHELF, tmp_path, say=lambda _: None)
    assert rule in {each.rule for each in result["die"]}


def test_the_dies_note_says_what_a_press_can_do_and_whom_to_ask(built):
    """Fingers, sleeves, someone trained, the manual, local codes; and what the paper bears is marked."""
    _, folder = built
    (note,) = [
        path.read_text(encoding="utf-8") for path in folder.rglob("note.md") if "blind embossing" in path.read_text()
    ]
    for words in ("Fingers off", "sleeves", "trained", "press's manual", "local codes"):
        assert note.count(words) == 1
    assert "10 to 15 % (common practice, no source)" in note


def two_moons(apart: float, *, method: str = "crosses", at: float = 25.0) -> str:
    """A die of two discs so far apart; on paper of 0.4 mm the counter-sheet's holes are 0.4 larger than each foot."""
    both = f'[[layers]]\nname = "STAR"\nshape = "circle {45 - 7 - apart - 5} {at} 5"\n{DIE}'
    text = ALONE.replace("SIDE", "back").replace("register_error_mm = 0.4", "register_error_mm = 0.4\npaper_mm = 0.4")
    text = text.replace('in_front = ["POST", "MOON"]', 'in_front = ["POST", "MOON", "STAR"]')
    text = text.replace('layers = ["MOON"]', 'layers = ["MOON", "STAR"]').replace(DIE, both, 1)
    return f'{text.replace("25 7", f"{at} 7")}\n[register]\nmethod = "{method}"\n'


def of_the_counter_sheet(report: dict) -> list[dict]:
    return [block for block in report["blocks"]["die"] if block["for"] == ["counter-sheet, laser"]]


@pytest.fixture
def undrawn(monkeypatch):
    """Builds that draw no proof of the print and no rubbing: their findings and the machines' files are looked at."""
    monkeypatch.setattr(print_build, "proof_files", lambda _: {"print.png": b""})
    monkeypatch.setattr(print_build, "rubbings", lambda _: {})


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("apart", few([1.2, 0.4], 1))
def test_holes_of_a_counter_sheet_too_close_together_are_told_and_end_in_an_exit_code(capsys, tmp_path, apart):
    """Feet lie 0.5 inside the shapes, holes 0.4 outside the feet: 0.2 more between holes than between shapes."""
    (tmp_path / "print.toml").write_text(two_moons(apart))
    for _ in range(2):  # built, and as it was built
        ran = run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built")
        assert ran.code == 1
        assert "ASK FIRST: die: counter-sheet, laser: The shop decides: plain card" in ran.out
        assert re.search(r"breaks Land too narrow [^;]*; for counter-sheet, laser", " ".join(ran.out.split())), ran.out
    report = of_the_counter_sheet(json.loads((tmp_path / "built" / "report.json").read_text()))
    report = [each for each in report if each["rule"] == "land-width"]
    assert {one["severity"] for one in report} == {"breaks"}
    holes = contours(tmp_path / "built" / "die" / "counter" / "laser" / "block.dxf", "CUT-OUT")
    middle = shapely.Point(60 - (45 - 7 - apart / 2), 25)
    if apart == 1.2:
        assert holes[0].distance(holes[1]) == pytest.approx(apart + 0.2, abs=0.01)
        assert [item["measured"] for item in report] == [pytest.approx(apart + 0.2, abs=0.01)]
    else:  # nearer than two of the smallest corners' radii, 1.0: one hole, with a point of card above and below
        assert [hole.contains(middle) for hole in holes] == [True]
        assert len(report) == 2


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(("method", "edge"), few([("crosses", True), ("stops", False)], 1))
def test_a_hole_near_the_pictures_edge_is_near_the_sheets_edge_only_without_waste(capsys, tmp_path, method, edge):
    (tmp_path / "print.toml").write_text(two_moons(6.0, method=method, at=7.5))
    run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built", "--json")
    report = of_the_counter_sheet(json.loads((tmp_path / "built" / "report.json").read_text()))
    assert any("edge" in each["between"] for each in report) == edge
