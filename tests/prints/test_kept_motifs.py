"""Kept snow on a drawing that has changed: where a thing went snow falls, where it came it hides, all else stays."""

from __future__ import annotations

import shapely

from carvegen import geometry
from carvegen.prints.cut_blocks import picture_of, setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.keeping import keep
from tests.cases import SHELF

PRINT = """
[print]
name = "mooring"
size_mm = [60, 40]
seed = 4
[[layers]]
name = "BOAT"
shape = "box 8 6 12 16"
[[blocks]]
name = "key"
role = "key"
ink = "#1f2b3d"
layers = ["BOAT"]
material = "linoleum"
cutter = "v-60"
for = ["hand"]
[[blocks]]
name = "sky"
role = "background"
ink = "#a9bfcb"
layers = ["*"]
material = "linoleum"
cutter = "v-60"
for = ["hand"]
[[motifs]]
motif = "snowfall"
front = false
settings = { snow = 0.15, largest_mm = 2.0 }
"""
HERE, THERE = shapely.box(8, 6, 20, 22), shapely.box(38, 14, 50, 30)  #: the boat, before and after


def pictured(path):
    print_ = read_print(path, SHELF)
    return print_, picture_of(print_, setups_of(print_, SHELF), say=lambda _: None)


def test_where_a_boat_lay_snow_falls_and_where_it_lies_now_it_hides_the_flakes(tmp_path):
    path = tmp_path / "print.toml"
    path.write_text(PRINT, encoding="utf-8")
    print_, before = pictured(path)
    keep(print_, before.motifs, [])
    path.write_text(path.read_text(encoding="utf-8").replace("box 8 6 12 16", "box 38 14 12 16"), encoding="utf-8")
    old, new = (geometry.parts(picture.whites[0].shapes) for picture in (before, pictured(path)[1]))
    assert shapely.area(shapely.intersection(old, HERE)).sum() < 0.01
    assert shapely.area(shapely.intersection(new, THERE)).sum() < 0.01
    share = shapely.area(shapely.intersection(new, HERE)).sum() / HERE.area
    assert 0.05 < share < 0.3, "of what was asked for, in so small a place"
    edge = shapely.box(8, 6, 20, 22).boundary  # no flake ends where the boat was
    ends = shapely.length(shapely.intersection(shapely.boundary(new), edge.buffer(0.01)))
    assert ends.sum() < 0.02 * edge.length
    far = shapely.union(HERE, THERE).buffer(2.0 + 0.5)  # a flake and a land
    stays = old[shapely.disjoint(old, far)]
    assert len(stays) > 20
    assert {shape.wkb for shape in stays} <= {shape.wkb for shape in new}
    assert len(geometry.close_pairs(new, 0.28)[0]) == 0
