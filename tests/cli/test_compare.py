"""Compare from the command line: two builds, a machine file and a build, and a picture of a block against its plan."""

from __future__ import annotations

import json

import pytest
import shapely
from PIL import Image

from carvegen.base.colour import Ink
from carvegen.blocks.comparison import difference
from carvegen.writers.whole_print.print_png import Coat, print_png, turned_png
from tests.cli.running import run

FACE = shapely.box(0, 0, 60, 40)
BEFORE = shapely.difference(FACE, shapely.box(10, 10, 20, 20))
AFTER = shapely.union(shapely.difference(BEFORE, shapely.box(40, 5, 44, 10)), shapely.box(10, 10, 13, 12))


def built(folder, **lands):
    (folder / "lands").mkdir(parents=True)
    for name, land in lands.items():
        (folder / "lands" / f"{name}.wkb").write_bytes(shapely.to_wkb(land))
    return folder


def scanned(path, land, *, turned=False):
    ink = Ink(colour=(20, 30, 50), opacity=1.0)
    data = print_png((250, 250, 245), [Coat(ink=ink, land=land)], (0, 0, 60, 40))
    path.write_bytes(turned_png(data) if turned else data)
    return path


def test_two_builds_say_what_is_newly_cut_and_newly_land(tmp_path, capsys):
    one, other = built(tmp_path / "a", key=BEFORE, sky=FACE), built(tmp_path / "b", key=AFTER, sky=FACE, tone=FACE)
    ran = run(capsys, "compare", one, other, "--json", "--picture", tmp_path / "seen.png")
    report = json.loads(ran.out)
    key, sky = report["blocks"]
    assert ran.code == 1
    assert (key["newly_cut_mm2"], key["newly_land_mm2"]) == pytest.approx((20, 6))
    assert {place["newly"]: place["at_mm"] for place in key["places"]} == {"cut": [42.0, 7.5], "land": [11.5, 11.0]}
    assert not sky["differs"]
    assert report["only_in_b"] == ["tone"]
    with Image.open(tmp_path / "seen.png") as picture:
        ochre, teal = picture.getpixel((420, 325)), picture.getpixel((115, 290))
    assert ochre[0] > ochre[2] + 60
    assert teal[2] > teal[0] + 20


def test_areas_are_told_in_square_millimetres(tmp_path, capsys):
    report = run(capsys, "compare", built(tmp_path / "a", key=BEFORE), built(tmp_path / "b", key=AFTER)).out
    assert "20.00 mm² newly cut, 6.00 mm² newly land" in report
    assert "mm2" not in report


def test_what_is_the_same_exits_with_none(tmp_path, capsys):
    assert run(capsys, "compare", built(tmp_path / "a", key=BEFORE), built(tmp_path / "b", key=BEFORE)).code == 0


@pytest.mark.parametrize("turned", [False, True])
def test_a_scan_of_the_block_or_the_proof_agrees_with_the_plan_or_says_where_not(tmp_path, capsys, turned):
    plan = built(tmp_path / "a", key=BEFORE)
    view = ("--view", "block") if turned else ()
    good = run(capsys, "compare", plan, scanned(tmp_path / "good.png", BEFORE, turned=turned), *view)
    assert good.code == 0, good.out
    wrong = run(capsys, "compare", plan, scanned(tmp_path / "bad.png", AFTER, turned=turned), *view, "--json")
    assert wrong.code == 1
    places = {place["newly"]: place["at_mm"] for place in json.loads(wrong.out)["blocks"][0]["places"]}
    assert places["cut"] == pytest.approx([42.0, 7.5], abs=0.4)
    assert places["land"] == pytest.approx([11.5, 11.0], abs=0.4)


def test_strips_within_the_tolerance_are_not_told():
    moved = shapely.difference(FACE, shapely.box(10.05, 10, 20.05, 20))
    assert not difference("key", BEFORE, moved, 0.06).any
    assert difference("key", BEFORE, moved, 0.02).any


def test_a_folder_that_is_no_build_is_told(tmp_path, capsys):
    (tmp_path / "none").mkdir()
    ran = run(capsys, "compare", tmp_path / "none", tmp_path / "none")
    assert ran.code == 2
    assert "holds no built print" in ran.err


def test_a_new_block_is_spoken_of_only_where_something_is_cut(tmp_path, capsys):
    """A plan that nobody has cut loses nothing; a scan, or a block that the build keeps as cut, does."""
    one, other = built(tmp_path / "a", key=BEFORE), built(tmp_path / "b", key=AFTER)
    said = run(capsys, "compare", one, other).out
    assert "can't be put back" not in said
    assert "if nothing is cut yet, cut B" in said
    (one / "cut").mkdir()
    (one / "cut" / "key.wkb").write_bytes((one / "lands" / "key.wkb").read_bytes())
    assert "can't be put back: a new block" in run(capsys, "compare", one, other).out
    scan = scanned(tmp_path / "cut.png", BEFORE)
    assert "can't be put back: a new block" in run(capsys, "compare", scan, other).out


def test_a_blocks_own_folder_leads_to_the_whole_build(tmp_path, capsys):
    folder = built(tmp_path / "a", key=BEFORE)
    (folder / "key").mkdir()
    ran = run(capsys, "compare", folder / "key", folder)
    assert ran.code == 2
    assert f"{folder}, with --block key" in ran.err


def test_comparing_builds_tells_of_every_block(tmp_path, capsys, shares):
    """Both are read, then each block is compared in two halves."""
    lands = {"key": BEFORE, "sky": FACE}
    ran = run(capsys, "compare", built(tmp_path / "a", **lands), built(tmp_path / "b", **lands))
    assert "comparing: " in ran.err
    assert "% done" in ran.err
    assert shares == sorted(shares)
    assert {round(share, 2) for share in shares} == {0.42, 0.84, 0.88, 0.92, 0.96, 1.0}
