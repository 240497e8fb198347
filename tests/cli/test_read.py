"""``carvegen read``: what it says, what it writes, and what it refuses."""

from __future__ import annotations

import json
import re

import ezdxf
import numpy as np
import pytest
import shapely
from PIL import Image

from carvegen import geometry
from carvegen.artwork import read
from carvegen.base import progress
from tests.cli.running import run
from tests.strategies import few

INKS = {"key": (30, 30, 40), "tone": (90, 130, 170)}
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    '<g id="a"><title>jetty</title><rect x="2" y="2" width="10" height="5"/></g>'
    '<g id="b"><title>Töne &amp; lamp</title><path fill-rule="evenodd" d="M20 10h10v10h-10zM22 12h3v3h-3z"/></g></svg>'
)


@pytest.fixture
def scan(own_folder):
    """Two inks, 300 dots per inch, 40 x 30 mm: 100 x 200 and 150 x 100 pixels."""
    pixels = np.full((354, 472, 3), 240, np.uint8)
    pixels[50:250, 60:160] = INKS["key"]
    pixels[100:200, 250:400] = INKS["tone"]
    Image.fromarray(pixels).save(own_folder / "proof.png", dpi=(300, 300))
    return own_folder / "proof.png"


@pytest.mark.parametrize("ending", few(["dxf", "svg"], 1))
def test_inks_become_layers_of_a_clean_file(scan, capsys, ending):
    done = run(capsys, "read", scan, "--inks", "key,tone", "-o", f"out.{ending}", "--picture", "seen.png", "--json")
    assert done.code == 0, done.err
    report = json.loads(done.out)
    areas = {layer["name"]: layer["area_mm2"] for layer in report["layers"]}
    px2 = (25.4 / 300) ** 2
    assert areas == {"key": pytest.approx(20_000 * px2, rel=0.01), "tone": pytest.approx(15_000 * px2, rel=0.01)}
    assert any("300 dots per inch" in note for note in report["notes"])
    again = read(scan.with_name(f"out.{ending}"))
    assert list(again.layers) == list(areas)
    for name, shapes in again.layers.items():
        assert shapely.area(shapes).sum() == pytest.approx(areas[name], abs=0.01)
    seen = np.asarray(Image.open(scan.with_name("seen.png")))
    assert seen.shape == (300, 400, 3)
    assert (seen.sum(axis=2) < 300).mean() == pytest.approx(areas["key"] / 1200, rel=0.03)


def test_layers_of_a_drawing_keep_their_names_and_areas(own_folder, capsys):
    (own_folder / "a.svg").write_text(SVG, encoding="utf-8")
    first = json.loads(run(capsys, "read", "a.svg", "--json", "-o", "b.svg").out)
    assert [layer["name"] for layer in first["layers"]] == ["jetty", "Töne & lamp"]
    assert [layer["area_mm2"] for layer in first["layers"]] == [50.0, 91.0]
    assert (first["width_mm"], first["height_mm"]) == (40, 30)
    again = json.loads(run(capsys, "read", "b.svg", "--json", "-o", "c.dxf").out)
    assert again == {**first, "says_view": "print"}
    document = ezdxf.readfile(own_folder / "c.dxf")
    assert document.header["$INSUNITS"] == 4
    assert all(line.closed for line in document.modelspace().query("LWPOLYLINE"))
    assert len(document.modelspace().query("LWPOLYLINE")) == 3
    assert not document.audit().errors


def test_it_tells_in_words(scan, capsys):
    done = run(capsys, "read", scan, "--dpi", "600", "--view", "block", "--no-even")
    assert done.code == 0
    assert "Page 19.98 × 14.99 mm" in done.out
    assert "INK 1" in done.out
    assert "note: size by 600 dots per inch" in done.err
    assert "mirrored" in done.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["proof.png", "--dpi", "1"], "--dpi"),
        (["proof.png", "--speck", "-1"], "--speck"),
        (["proof.png", "--points", "1 2 3"], "--points"),
        (["proof.png", "--corners", "auto"], "--corners"),
        (["proof.png", "--inks", "99"], "--inks"),
        (["proof.png", "-o", "out.pdf"], "--out"),
        (["proof.png", "--picture", "proof.png"], "overwrite"),
        (["gone.png"], "not there"),
        (["plain.svg", "--dpi", "300"], "no picture but SVG"),
        (["bare.png"], "how large"),
    ],
)
def test_refusals_have_a_word_and_leave_nothing(scan, capsys, words, said):
    folder = scan.parent
    (folder / "plain.svg").write_text(SVG, encoding="utf-8")
    Image.open(scan).save(folder / "bare.png", dpi=(72, 72))
    before = sorted(path.name for path in folder.iterdir())
    done = run(capsys, "read", *words)
    assert done.code == 2
    assert said in done.err
    assert "Traceback" not in done.err
    assert sorted(path.name for path in folder.iterdir()) == before


def test_a_scan_can_be_kept_clear(scan, capsys):
    """A picture stands wherever a drawing may."""
    done = run(capsys, "snowfall", "--size", "40x30", "--material", "linoleum", "--cutter", "laser-fine",
               "--keep-clear", str(scan), "--clearance", "1", "--for", "laser", "--out", "sky", "--json")  # fmt: skip
    assert done.code in (0, 1), done.err
    written = read(scan.parent / "sky" / "laser" / "block.svg", without=["NOTES"], outlines=True)
    x0, y0 = shapely.total_bounds(written.layers["BLOCK EDGE"])[:2]
    cuts = geometry.mirrored(geometry.moved(written.layers["CUT AREA"], (-x0, -y0)), 40)
    dark = shapely.union_all(read(scan).shapes)
    assert dark.area > 200
    assert len(cuts) > 10
    assert shapely.distance(cuts, dark).min() > 0.9


@pytest.fixture
def one_block(own_folder, capsys):
    """A block of a few flakes, all in its left half, for a laser: its files and its proof."""
    (own_folder / "right.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
        '<rect id="k" x="15" width="25" height="30"/></svg>',
        encoding="utf-8",
    )
    done = run(capsys, "snowfall", "--size", "40x30", "--material", "linoleum", "--cutter", "laser-fine",
               "--keep-clear", "right.svg", "--for", "laser", "--out", "sky", "--json")  # fmt: skip
    assert done.code in (0, 1), done.err
    return own_folder / "sky"


@pytest.mark.parametrize("file", [f"laser/{name}.{kind}" for name in ("block", "paths") for kind in ("svg", "dxf")])
def test_a_file_that_says_block_view_is_read_as_that(one_block, capsys, file):
    """Cuts that print on the left lie on the right in the file; what is read, told and written is as it prints."""
    outlines = ["--outlines"] * file.endswith("svg")
    done = run(capsys, "read", one_block / file, *outlines, "-o", "clean.svg")
    assert done.code == 0, done.err
    assert "The file itself is in BLOCK VIEW, mirrored; here it is turned round, as it prints." in done.out
    assert ", print view" in done.out
    assert json.loads(run(capsys, "read", one_block / file, "--json").out)["says_view"] == "block"
    clean = read(one_block.parent / "clean.svg", outlines=True)
    middle = shapely.union_all(clean.layers["BLOCK EDGE"]).envelope.centroid.x
    assert clean.says_view == "print"
    (cuts,) = (clean.layers[name] for name in ("CUT AREA", "SHOULDER 1 OF 2") if name in clean.layers)
    assert shapely.bounds(cuts)[:, 2].max() < middle
    assert "BLOCK VIEW" not in run(capsys, "read", "clean.svg").out, "once is enough"


def test_one_thing_has_one_area_in_every_machine_file(one_block, capsys):
    """A thin closed edge stands for the face in a file of ours, as in DXF; in others it is a line."""
    svg, dxf = (
        {
            layer["name"]: layer["area_mm2"]
            for layer in json.loads(run(capsys, "read", one_block / file, "--json").out)["layers"]
        }
        for file in ("laser/block.svg", "laser/block.dxf")
    )
    assert svg["BLOCK EDGE"] == pytest.approx(40 * 30)
    assert svg == pytest.approx(dxf, rel=1e-3)
    line = '<path fill="none" stroke="#000" stroke-width="0.1" d="M5 5h10v10h-10z"/>'
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    for words, area in (("", 4.0), ("<desc>PRINT VIEW</desc>", 100.0)):
        (one_block / "own.svg").write_text(f"{head}{words}{line}</svg>", encoding="utf-8")
        (layer,) = json.loads(run(capsys, "read", one_block / "own.svg", "--json").out)["layers"]
        assert layer["area_mm2"] == pytest.approx(area, abs=0.1)


@pytest.mark.parametrize("file", ["proof.svg", "left.svg"])
def test_a_file_in_print_view_is_read_as_it_lies(one_block, capsys, file):
    (one_block / "left.svg").write_text(SVG, encoding="utf-8")
    first = read(one_block / file, without=["NOTES"])
    done = run(capsys, "read", one_block / file, "-o", "clean.svg")
    assert done.code == 0, done.err
    assert "BLOCK VIEW" not in done.out
    clean = read(one_block.parent / "clean.svg")
    for name, shapes in first.layers.items():
        assert shapely.union_all(shapes).symmetric_difference(shapely.union_all(clean.layers[name])).area < 0.01


NESTED = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30"><g id="Layer_1">'
    '<rect x="30" y="20" width="5" height="5"/><g id="posts"><rect x="2" y="2" width="10" height="5"/></g>'
    '<g transform="translate(10 0)"><g id="rails"><rect x="2" y="12" width="4" height="5"/></g></g></g></svg>'
)


@pytest.mark.parametrize(
    ("name", "area", "left"), [("posts", 50, 2), ("rails", 20, 12), ("RAILS", 20, 12), ("Layer_1", 95, 2)]
)
def test_a_group_is_taken_by_its_name_however_deep_it_lies(own_folder, name, area, left):
    (own_folder / "key.svg").write_text(NESTED, encoding="utf-8")
    shapes = read(own_folder / f"key.svg#{name}").shapes
    assert shapely.area(shapes).sum() == pytest.approx(area)
    assert shapely.total_bounds(shapes)[0] == pytest.approx(left)


def test_what_lies_inside_a_group_is_listed(own_folder, capsys):
    (own_folder / "key.svg").write_text(NESTED, encoding="utf-8")
    assert "inside Layer_1: posts, rails; FILE#NAME takes one of them" in run(capsys, "read", "key.svg").out
    assert json.loads(run(capsys, "read", "key.svg", "--json").out)["inside"] == {"Layer_1": ["posts", "rails"]}
    assert "its layers: Layer_1; inside: posts, rails" in run(capsys, "read", "key.svg#boat").err


def test_a_drawing_without_a_page_is_said_to_be_so_large(own_folder, capsys):
    """An inch is 25.4 mm (ISO 80000-3 by its definition)."""
    document = ezdxf.new(units=1)
    document.modelspace().add_lwpolyline([(0, 0), (6, 0), (6, 2.5), (0, 2.5)], close=True)
    document.saveas(own_folder / "plan.dxf")
    said = run(capsys, "read", "plan.dxf").out
    assert "It has no page; its unit is in: what is drawn is 152.4 × 63.5 mm." in said


def test_reading_a_scan_tells_how_far_it_is_if_it_takes_long(scan, capsys, monkeypatch):
    monkeypatch.setattr(progress, "SOON_S", 0.0)
    done = run(capsys, "read", scan)
    assert re.search(r"… reading: \d+ % done, about \d+ s to go", done.err)
    assert "% done" not in run(capsys, "read", scan, "--json").err
