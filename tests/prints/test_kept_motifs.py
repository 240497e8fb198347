"""Kept snow on a drawing that has changed: where a thing went snow falls, where it came it hides, all else stays."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.marking.kept_file import marks_of
from carvegen.prints import kept_motifs
from carvegen.prints.cut_blocks import picture_of, setups_of, unmarked_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.keeping import keep
from tests.cases import SHELF, box
from tests.strategies import few

PRINT = """
[print]
name = "mooring"
size_mm = [48, 32]
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
MARK = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="48mm" height="32mm" viewBox="0 0 48 32">'
    '<g id="less"><rect id="a" x="36" y="4" width="6" height="2"/></g></svg>'
)
BEHIND_ALL, AS_NEW = "front = false", 'far_behind = ["*"]\nmiddle_behind = ["BOAT"]'  #: as `carvegen new` writes it
HERE, THERE = shapely.box(8, 6, 20, 22), shapely.box(32, 12, 44, 28)  #: the boat, before and after
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


@pytest.mark.parametrize("depth", few([BEHIND_ALL, AS_NEW], 1))
def test_where_a_boat_lay_snow_falls_and_where_it_lies_now_it_hides_the_flakes(tmp_path, depth):
    path, old = kept(tmp_path, depth)
    change(path, "box 8 6 12 16", "box 32 12 12 16")
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
    for shape, place in zip(some.tolist(), ((14, 14), (38, 20)), strict=True):
        at = shape.centroid
        result = next(line for line in text.splitlines() if _holds(line, shape))
        move = f'<path transform="translate({place[0] - at.x:.3f} {at.y - place[1]:.3f})"'
        text = text.replace(result, result.replace("<path", move, 1))
    file.write_text(text, encoding="utf-8")
    moved = affinity.translate(some[0], 14 - some[0].centroid.x, 14 - some[0].centroid.y)
    assert shapely.area(shapely.intersection(flakes(path), moved)).sum() > 0.95 * moved.area
    change(path, "box 8 6 12 16", "box 32 12 12 16")
    print_, picture = pictured(path)
    new = geometry.parts(picture.whites[0].shapes)
    assert shapely.area(shapely.intersection(new, moved)).sum() > 0.95 * moved.area
    assert share(new, THERE) < 1e-4
    keep(print_, picture.motifs, [])
    change(path, "box 32 12 12 16", f"box {moved.bounds[2] + 0.1:.2f} 10 4 8")  # beside it, no land away
    assert shapely.area(shapely.intersection(flakes(path), moved)).sum() > 0.95 * moved.area, "kept again it is hers"


def _holds(line: str, shape) -> bool:
    """Whether a line of the file draws a shape: its first corner, from the upper left."""
    x, y = shapely.get_coordinates(shape)[0]
    return "<path" in line and f"{x:g} {32 - y:g}" in line.replace(",", " ")


def test_flakes_make_room_for_other_snow_that_has_come_too_near(tmp_path):
    """A cap that has grown where the kept flakes lie, as where lying snow alone is kept again: a land parts them."""
    path, old = kept(tmp_path)
    lying = '[[motifs]]\nmotif = "snowload"\non = ["BOAT"]\npreset = "deep"\n[[motifs]]\nmotif = "snowfall"\n'
    change(path, '[[motifs]]\nmotif = "snowfall"\n', lying)
    _, picture = pictured(path)
    heaps, new = (geometry.parts(white.shapes) for white in picture.whites)
    assert (shapely.distance(geometry.union(heaps), old) < 0.2).any()
    assert (shapely.distance(geometry.union(heaps), new) > 0.28).all()
    far = old[shapely.distance(geometry.union(heaps), old) > 5]
    assert set(marks_of(far)) <= set(marks_of(new))


def test_other_snow_is_too_near_by_the_least_land_that_any_of_it_was_done_by(tmp_path, monkeypatch):
    """What a mark reaches that was done by a land of 0.2, before others came to cut it, kept no more; all else did."""
    path, old = kept(tmp_path)
    lands = list[np.ndarray]()
    monkeypatch.setattr(kept_motifs, "_too_near", lambda _, __, by_shape: lands.append(by_shape) or geometry.empty())
    pictured(path)
    (tmp_path / "marks.svg").write_text(MARK, encoding="utf-8")
    path.write_text(
        path.read_text(encoding="utf-8").replace("[[layers]]", '[marks]\nfiles = ["marks.svg"]\n[[layers]]', 1)
    )
    before = path.read_text(encoding="utf-8")
    for land in ("0.2", "9.0"):
        path.write_text(f'{before}marks_grew_by = ["{land} {land} 0.4 0.8 0.0 1 a"]\n')  # as it was written once
        pictured(path)
    by = "land_along_mm = 0.2, land_across_mm = 0.1, cut_mm = 0.4, dot_mm = 0.8, grain_deg = 0"
    path.write_text(f'{before}marks_grew_by = [{{ mark = "a", try = 1, {by} }}]\n')
    pictured(path)
    usual = lands[0][0]
    reached = shapely.dwithin(old, box(36, 26, 6, 2), usual + 2.0)
    assert 0 < reached.sum() < len(old)
    assert usual > 0.25
    for by_shape, least in zip(lands, (usual, 0.2, usual, 0.2), strict=True):
        assert by_shape.tolist() == np.where(reached, least, usual).tolist()


@pytest.mark.parametrize(
    "written",
    few(['"seed":-1', '"seed":true', '"kept":{"by_layer":1}', '"kept":{"__class__":1}', '"kept":{"level":-1.0}'], 2),
)
def test_what_somebody_wrote_into_the_file_crashes_nothing(tmp_path, written):
    path, _ = kept(tmp_path)
    file = tmp_path / "kept/snowfall-1.svg"
    name, before = written.split(":")[0], file.read_text(encoding="utf-8")
    text = re.sub(name + r":(\{[^}]*\}|[^,}]*)", written, before, count=1)
    assert text != before
    file.write_text(text, encoding="utf-8")
    change(path, "box 8 6 12 16", "box 32 12 12 16")
    assert share(flakes(path), THERE) < 1e-4


def test_it_grows_again_by_what_it_grew_by_and_that_is_remembered(tmp_path):
    """Thicker weather and another seed, said since, change nothing of it, nor once it is kept again."""
    path, old = kept(tmp_path)
    change(path, "snow = 0.15", "snow = 0.5")
    change(path, "seed = 4", "seed = 5")
    for place in ("box 32 12 12 16", "box 20 4 12 16"):
        change(path, "box 8 6 12 16" if "32" in place else "box 32 12 12 16", place)
        print_, picture = pictured(path)
        assert share(picture.whites[0].shapes, HERE) < 0.3
        keep(print_, picture.motifs, [])
    assert share(flakes(path), THERE) == pytest.approx(share(old, THERE), abs=0.02)


def test_unreadable_files_and_missing_room_are_all_told_before_anything_grows(tmp_path) -> None:
    """The first motif grows well; the second's file is torn, the third is hidden everywhere."""
    torn = '[[motifs]]\nmotif = "snowfall"\nkept = "torn.svg"\n'
    hidden = '[[motifs]]\nmotif = "snowfall"\nbehind = ["0", "24"]\n'
    halves = "".join(f'[[layers]]\nname = "{at}"\nshape = "box {at} 0 24 32"\n' for at in (0, 24))
    text = PRINT.replace("DEPTH", "").replace("[[blocks]]", f"{halves}[[blocks]]", 1) + torn + hidden
    path = tmp_path / "print.toml"
    path.write_text(text, encoding="utf-8")
    (tmp_path / "torn.svg").write_text("<svg", encoding="utf-8")
    print_, said = read_print(path, SHELF), []
    for see in (picture_of, unmarked_of):
        with pytest.raises(InputError, match=r"(?s)torn\.svg.*room") as raised:
            see(print_, setups_of(print_, SHELF), say=said.append)
        assert "the second motif" in raised.value.where
    assert said == []
