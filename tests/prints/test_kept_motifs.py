"""Kept snow on a drawing that has changed: where a thing went snow falls, where it came it hides, all else stays."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.marking.kept_file import marks_of
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
DEPTH
settings = { snow = 0.15, largest_mm = 2.0 }
"""
BEHIND_ALL, AS_NEW = "front = false", 'far_behind = ["*"]\nmiddle_behind = ["BOAT"]'  #: as `carvegen new` writes it
HERE, THERE = shapely.box(8, 6, 20, 22), shapely.box(38, 14, 50, 30)  #: the boat, before and after
FAR = shapely.union(HERE, THERE).buffer(2.0 + 0.5)  #: a flake and a land round both


def pictured(path):
    print_ = read_print(path, SHELF)
    return print_, picture_of(print_, setups_of(print_, SHELF), say=lambda _: None)


def flakes(path):
    return geometry.parts(pictured(path)[1].whites[0].shapes)


def change(path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def kept(folder, depth: str = BEHIND_ALL):
    """A print with its snow kept, and the flakes of it."""
    path = folder / "print.toml"
    path.write_text(PRINT.replace("DEPTH", depth), encoding="utf-8")
    print_, picture = pictured(path)
    keep(print_, picture.motifs, [])
    return path, geometry.parts(picture.whites[0].shapes)


def share(shapes, area) -> float:
    return float(shapely.area(shapely.intersection(shapes, area)).sum() / area.area)


@pytest.mark.parametrize("depth", [BEHIND_ALL, AS_NEW])
def test_where_a_boat_lay_snow_falls_and_where_it_lies_now_it_hides_the_flakes(tmp_path, depth):
    path, old = kept(tmp_path, depth)
    change(path, "box 8 6 12 16", "box 38 14 12 16")
    new = flakes(path)
    change(path, 'kept = "kept/snowfall-1.svg"', "")
    fresh = flakes(path)
    if depth == BEHIND_ALL:
        assert share(old, HERE) < 1e-4
        assert share(new, THERE) < 1e-4
    assert share(new, HERE) == pytest.approx(share(fresh, HERE), abs=0.03)
    assert share(new, THERE) == pytest.approx(share(fresh, THERE), abs=0.03)
    assert share(new, HERE) > share(old, HERE) + 0.02
    ends = shapely.length(shapely.intersection(shapely.boundary(new), HERE.boundary.buffer(0.01)))
    assert ends.sum() < 0.02 * HERE.length, "no flake ends where the boat was"
    stays = old[shapely.disjoint(old, FAR)]
    assert len(stays) > 20
    assert set(marks_of(stays)) <= set(marks_of(new))
    assert len(geometry.close_pairs(new, 0.28)[0]) == 0


def test_a_flake_that_she_moved_stays_unless_something_hides_it_now(tmp_path):
    """One onto the boat, which then goes away; another where it comes to lie."""
    path, old = kept(tmp_path)
    file = tmp_path / "kept/snowfall-1.svg"
    far = old[shapely.disjoint(old, FAR)]
    some = far[np.argsort(-shapely.area(far))[:2]]
    text = file.read_text(encoding="utf-8")
    for shape, place in zip(some.tolist(), ((14, 14), (44, 22)), strict=True):
        at = shape.centroid
        found = next(line for line in text.splitlines() if _holds(line, shape))
        move = f'<path transform="translate({place[0] - at.x:.3f} {at.y - place[1]:.3f})"'
        text = text.replace(found, found.replace("<path", move, 1))
    file.write_text(text, encoding="utf-8")
    moved = affinity.translate(some[0], 14 - some[0].centroid.x, 14 - some[0].centroid.y)
    assert shapely.area(shapely.intersection(flakes(path), moved)).sum() > 0.95 * moved.area
    change(path, "box 8 6 12 16", "box 38 14 12 16")
    new = flakes(path)
    assert shapely.area(shapely.intersection(new, moved)).sum() > 0.95 * moved.area
    assert share(new, THERE) < 1e-4


def _holds(line: str, shape) -> bool:
    """Whether a line of the file draws a shape: its first corner, from the upper left."""
    x, y = shapely.get_coordinates(shape)[0]
    return "<path" in line and f"{x:g} {40 - y:g}" in line.replace(",", " ")


def test_it_grows_again_by_what_it_grew_by_and_that_is_remembered(tmp_path):
    """Thicker weather and another seed, said since, change nothing of it, nor once it is kept again."""
    path, old = kept(tmp_path)
    change(path, "snow = 0.15", "snow = 0.5")
    change(path, "seed = 4", "seed = 5")
    for place in ("box 38 14 12 16", "box 24 4 12 16"):
        change(path, "box 8 6 12 16" if "38" in place else "box 38 14 12 16", place)
        print_, picture = pictured(path)
        assert share(picture.whites[0].shapes, HERE) < 0.3
        keep(print_, picture.motifs, [])
    assert share(flakes(path), THERE) == pytest.approx(share(old, THERE), abs=0.02)
