"""The embossing strip's files read back by GDAL: heights, slopes, corners, gaps as its page says; a paper's profile."""

from __future__ import annotations

import dataclasses
import functools
import json
import math

import numpy as np
import pyogrio.raw
import pytest
import shapely

from carvegen.blocks.embossing import embossing_strip
from carvegen.facts.profiles import Library
from carvegen.writers.note import embossing_page
from tests.cases import even_odd, once
from tests.cli.running import made, run
from tests.strategies import MANY, few, takes_long

ROWS = {"--relief": 67.5, "--bevel": 50.5, "--corner": 33.5, "--gap": 16.5}  #: heights of the rows' middles, mm
FIRST, PITCH = 15.75, 15.5
STRIP = ("strip", "--emboss", "cotton-300", "--material", "embossing-acrylic", "--cutter", "laser-fine",
         "--for", "laser")  # fmt: skip
PAPER = ("profiles", "measured", "paper", "--like", "cotton-300", "--name", "my-cotton", "--date", "2026-11-20")


#: Every third piece of each row, the last among them; all of them where there is time for many.
LADDERS = tuple(
    dataclasses.replace(row, sizes=row.sizes if MANY else row.sizes[1::3]) for row in embossing_strip.LADDERS
)


@pytest.fixture(scope="module")
def strip():
    with pytest.MonkeyPatch.context() as patched:
        for room in (embossing_strip, embossing_page):
            patched.setattr(room, "LADDERS", LADDERS)
        return made("embossing strip", *STRIP)


@pytest.fixture(scope="module")
def page(strip):
    """The sizes of each row, by the option that keeps them, as the page's table says."""
    lines = (strip / "how-to-read.md").read_text().splitlines()
    cells = [[cell.strip() for cell in line.split("|")[1:-1]] for line in lines if line.startswith("| ")]
    return {row[-1].strip("`"): [float(size) for size in row[1:-2]] for row in cells if row[-1].startswith("`--")}


@pytest.fixture(scope="module")
def relief(strip):
    """All that is lowered with its depth, by GDAL: areas even-odd from the closed lines of each layer."""
    asked = {}
    svg = (strip / "wall.svg").read_text()
    for part in svg.split("<g ")[1:]:
        if "STEP" in part.split(">")[0] and "lower to" in part:
            asked[part.split("<title>")[1].split("</title>")[0]] = float(part.split("lower to ")[1].split(" mm")[0])
    assert len(asked) > 25

    def read():
        result = [(areas(strip / "wall.dxf", name), depth) for name, depth in asked.items()]
        return [*result, (areas(strip / "laser" / "block.dxf", "CUT AREA"), 1.25)]

    return once(("relief of the strip", str(strip)), read)


@functools.cache
def rings_of(path):
    result = pyogrio.raw.read(path, columns=["Layer"])
    lines = zip(shapely.from_wkb(result[2]), result[3][0], strict=True)
    kinds = ("Polygon", "LineString")
    return [(shapely.Polygon(shapely.get_coordinates(each)), name) for each, name in lines if each.geom_type in kinds]


@functools.cache
def areas(path, layer):
    return even_odd([ring for ring, name in rings_of(path) if name == layer])


def depth_at(relief, x, y):
    """How deep it is lowered there; 0 where nothing is."""
    met = [depth for area, depth in relief if area.covers(shapely.Point(x, y))]
    assert len(met) <= 1
    return met[0] if met else 0.0


def middles(option):
    return [(FIRST + PITCH * k, ROWS[option]) for k in range(len(LADDERS[0].sizes))]


@takes_long  # every step, slope and gap is read below
def test_all_of_the_strip_is_said_once(relief):
    """Floor, faces and steps lie beside one another: together with the highest face they are the whole plate."""
    together = sum(area.area for area, _ in relief)
    top = 140 * 84 - shapely.union_all([area for area, _ in relief]).area
    assert together + top == pytest.approx(140 * 84, abs=0.05)
    assert 40 < top < 64  # the highest piece's flat face, 8 x 8 mm less its rounded edge and corners


def test_every_step_is_as_high_as_the_page_says(relief, page):
    heights = [1.25 - depth_at(relief, x, y) for x, y in middles("--relief")]
    assert heights == pytest.approx(page["--relief"], abs=1e-6)


def test_every_slope_leans_as_the_page_says(relief, page):
    """From the lower half of the wall's stair, where no edge is rounded: its run beside its depth."""
    for (x, y), said in zip(middles("--bevel"), page["--bevel"], strict=True):
        ray = shapely.LineString([(x, y), (x + 7.5, y)])
        ends = {
            depth: ray.intersection(area).bounds[2] for area, depth in relief if depth < 1.25 and ray.intersects(area)
        }
        low, high = 1.025, 1.225  # middles of steps of 0.05 mm
        lean = math.degrees(math.atan2(ends[high] - ends[low], high - low))
        assert lean == pytest.approx(said, abs=1.0)


def test_every_gap_is_as_wide_as_the_page_says(strip, page):
    feet = shapely.box(0, 0, 140, 84).difference(areas(strip / "laser" / "block.dxf", "CUT AREA"))
    for (x, y), said in zip(middles("--gap"), page["--gap"], strict=True):
        two = [part for part in shapely.get_parts(feet) if part.distance(shapely.Point(x, y)) < 5]
        assert len(two) == 2
        assert two[0].distance(two[1]) == pytest.approx(said, abs=0.003)


def test_corners_are_as_sharp_as_the_page_says_and_no_sharper(strip, page):
    """A disc of the radius reaches all of the foot's notches from without; a disc a fifth larger does not."""
    feet = shapely.box(0, 0, 140, 84).difference(areas(strip / "laser" / "block.dxf", "CUT AREA"))
    for (x, y), said in zip(middles("--corner"), page["--corner"], strict=True):
        foot = min(shapely.get_parts(feet), key=lambda part: part.distance(shapely.Point(x, y)))
        missed = [closed(foot, radius).area - foot.area for radius in (0.98 * said, 1.2 * said)]
        assert missed[0] < 5e-3
        assert missed[1] > 4 * missed[0] + 1e-4


def closed(shape, radius):
    return shape.buffer(radius, quad_segs=64).buffer(-radius, quad_segs=64)


@takes_long  # blocks/embossing/test_pressing.py
def test_the_counter_sheet_leaves_the_papers_thickness_beside_every_foot(strip):
    feet = shapely.box(0, 0, 140, 84).difference(areas(strip / "laser" / "block.dxf", "CUT AREA"))
    holes = areas(strip / "counter" / "laser" / "block.dxf", "CUT-OUT")
    holes = shapely.transform(holes, lambda xy: np.array([140.0, 0]) + xy * (-1, 1))
    assert holes.boundary.distance(feet) == pytest.approx(0.55, abs=0.004)
    beside = feet.buffer(0.55, quad_segs=32)
    assert beside.difference(holes).area < 0.5
    assert (
        holes.difference(beside.buffer(1.0, quad_segs=32).buffer(-1.0, quad_segs=32)).area < 0.5
    )  # corners inward: round


def test_what_tore_is_kept_as_a_profile_of_the_paper_with_its_day(capsys, tmp_path):
    own = str(tmp_path / "own")
    assert run(capsys, *PAPER, "--relief", "0.5", "--bevel", "40", "--gap", "1.6", "--out", own).code == 0
    paper = Library([tmp_path / "own"]).paper("my-cotton")
    assert (paper.relief_largest_mm, paper.bevel_least_deg, paper.gap_least_mm) == (0.5, 40, 1.6)
    assert paper.corner_least_mm == Library().paper("cotton-300").corner_least_mm
    assert paper.sources["relief_largest_mm"] == "measured by the user, 2026-11-20"
    assert paper.sources["corner_least_mm"] == "common practice, no source"


@pytest.mark.parametrize(("option", "value"), [("--relief", "0.7"), ("--bevel", "5"), ("--gap", "0.1")])
def test_what_is_not_on_the_strip_is_refused(capsys, tmp_path, option, value):
    done = run(capsys, *PAPER, option, value, "--out", str(tmp_path / "own"))
    assert done.code == 2
    assert option in done.err and "must be one of the strip's" in done.err
    assert not list(tmp_path.rglob("*.toml"))


MOON = """
[print]
name = "moon"
size_mm = [60, 40]
paper_profile = "my-cotton"
[[layers]]
name = "MOON"
shape = "circle 30 20 9"
[[blocks]]
name = "die"
role = "emboss"
layers = ["MOON"]
material = "embossing-acrylic"
cutter = "laser-fine"
for = ["laser"]
depth_mm = DEPTH
bevel_deg = BEVEL
corner_mm = 0.5
"""


#: The first asks for more than the paper bore in both; each by itself, and none: test_pressing.py.
HELD = [(0.6, 35, {"emboss-depth", "emboss-bevel"}), (0.5, 40, set())]


@takes_long  # the rules by themselves: tests/blocks/embossing/test_pressing.py
@pytest.mark.parametrize(("depth", "bevel", "rules"), few(HELD, 1))
def test_a_die_is_held_against_what_its_paper_bore(capsys, tmp_path, depth, bevel, rules):
    own = str(tmp_path / "own")
    assert run(capsys, *PAPER, "--relief", "0.5", "--bevel", "40", "--thickness", "0.62", "--out", own).code == 0
    (tmp_path / "print.toml").write_text(MOON.replace("DEPTH", str(depth)).replace("BEVEL", str(bevel)))
    done = run(capsys, "build", tmp_path / "print.toml", "--profiles", own, "--out", tmp_path / "built", "--json")
    report = json.loads(done.out)["report"]["findings"]
    assert {each["rule"] for each in report if each["rule"].startswith("emboss")} == rules
    assert all(one["severity"] == "breaks" for one in report if one["rule"] in rules)
    assert done.code == (1 if rules else 0)
    assert "0.62 mm thick" in (tmp_path / "built" / "die" / "die" / "note.md").read_text()


def test_a_plate_too_thin_for_the_highest_step_is_refused(capsys, tmp_path):
    done = run(capsys, *STRIP, "--thickness", "2", "--out", tmp_path / "no")
    assert done.code == 2
    assert "1.25 mm deep" in done.err
    assert not (tmp_path / "no").exists()
