"""DXF against GDAL's reader and closed forms, on files written by ezdxf."""

from __future__ import annotations

import math
import time
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely

from carvegen.artwork import read
from carvegen.base.errors import InputError

SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]


def new(version: str = "R2000", units: int = 4):
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = units
    return document, document.modelspace()


def saved(document, tmp_path: Path, name: str = "drawn.dxf") -> Path:
    path = tmp_path / name
    document.saveas(path)
    return path


def area(path: Path, **options) -> float:
    return float(shapely.area(read(path, **options).shapes).sum())


def gdal(path: Path):
    """GDAL's geometries, each line string as the polygon that it bounds."""
    _, _, wkb, _ = pyogrio.raw.read(path)
    result = shapely.from_wkb(wkb)
    lines = shapely.get_type_id(result) == 1
    result[lines] = [shapely.Polygon(line.coords) for line in result[lines]]
    return result


def test_square_with_hole_and_layers_like_gdal(tmp_path) -> None:
    document, space = new()
    space.add_lwpolyline(SQUARE, close=True, dxfattribs={"layer": "CUT AREA"})
    space.add_lwpolyline([(30, 10), (70, 10), (70, 30), (30, 30)], close=True, dxfattribs={"layer": "CUT AREA"})
    space.add_lwpolyline([(200, 0), (210, 0), (205, 9)], close=True, dxfattribs={"layer": "sky"})
    path = saved(document, tmp_path)
    artwork = read(path)
    assert {name: shapely.area(shapes).sum() for name, shapes in artwork.layers.items()} == {
        "CUT AREA": 9200,
        "sky": 45,
    }
    seen = gdal(path)
    assert shapely.union_all(artwork.shapes).symmetric_difference(
        shapely.union_all([seen[0].difference(seen[1]), seen[2]])
    ).area == pytest.approx(0, abs=1e-6)
    assert (artwork.width_mm, artwork.height_mm, artwork.true_size) == (None, None, True)


def test_bulges_like_gdal_and_the_closed_form(tmp_path) -> None:
    document, space = new()
    bulge = math.tan(math.radians(90) / 4)
    space.add_lwpolyline([(0, 0, bulge), (10, 0, 0), (10, 20, -0.2), (0, 20, 0)], format="xyb", close=True)
    path = saved(document, tmp_path)
    # 90 degrees over a chord of 10: segment 14.269908 outwards; bulge 0.2: radius 13, angle 45.2397 degrees, inwards
    angle = math.radians(45.2397)
    wanted = 200 + 14.269908 - 13**2 / 2 * (angle - math.sin(angle))
    assert area(path) == pytest.approx(wanted, rel=3e-4)
    assert area(path) == pytest.approx(gdal(path)[0].area, rel=2e-3)  # GDAL's arcs are coarse
    x0, y0, x1, y1 = shapely.total_bounds(read(path).shapes)
    assert (x0, y0, x1, y1) == pytest.approx((0, -2.071068, 10, 20), abs=0.01)


@pytest.mark.parametrize("radius", [0.2, 1, 15, 900])
def test_circle_and_bulged_circle(tmp_path, radius) -> None:
    document, space = new()
    space.add_circle((2000, 20), radius)
    space.add_lwpolyline([(-radius, 0, 1), (radius, 0, 1)], format="xyb", close=True)
    areas = np.sort(shapely.area(read(saved(document, tmp_path)).shapes))
    assert areas == pytest.approx([math.pi * radius**2] * 2, rel=2e-3 if radius > 0.5 else 6e-3)  # the grid


def test_ellipse_and_closed_spline_like_gdal(tmp_path) -> None:
    document, space = new()
    space.add_ellipse((50, 50), major_axis=(20, 10), ratio=0.4)
    assert area(saved(document, tmp_path)) == pytest.approx(math.pi * 500 * 0.4, rel=1e-3)
    document, space = new()
    space.add_open_spline([(0, 0, 0), (40, 0, 0), (50, 30, 0), (20, 50, 0), (-10, 30, 0), (0, 0, 0)])
    path = saved(document, tmp_path, "spline.dxf")
    assert area(path) == pytest.approx(gdal(path)[0].area, rel=5e-3)  # 63 chords in GDAL


def test_periodic_spline_by_its_blending_matrix(tmp_path) -> None:
    corners = np.array([(0, 0), (40, 0), (50, 30), (20, 50), (-10, 30)], dtype=float)
    document, space = new()
    space.add_spline().set_closed([(*corner, 0) for corner in corners])
    # uniform cubic B-spline: p(t) = [1 t t² t³] M [P0 P1 P2 P3], M from memory, checked by sum of rows
    blend = np.array([[1, 4, 1, 0], [-3, 0, 3, 0], [3, -6, 3, 0], [-1, 3, -3, 1]]) / 6
    powers = np.linspace(0, 1, 200, endpoint=False)[:, None] ** np.arange(4)
    runs = [powers @ blend @ corners[np.arange(k, k + 4) % 5] for k in range(5)]
    wanted = shapely.Polygon(np.concatenate(runs))
    (result,) = read(saved(document, tmp_path)).shapes
    assert result.hausdorff_distance(wanted) < 0.015
    assert result.area == pytest.approx(wanted.area, rel=5e-4)


def test_rational_spline_is_a_circle(tmp_path) -> None:
    document, space = new()
    half = math.sqrt(0.5)
    corners = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    space.add_rational_spline(
        [(20 * x, 20 * y, 0) for x, y in corners], weights=[1, half] * 4 + [1], degree=2,
        knots=[0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4],
    )  # fmt: skip
    assert area(saved(document, tmp_path)) == pytest.approx(math.pi * 400, rel=1e-3)


def test_hatch_like_gdal(tmp_path) -> None:
    document, space = new()
    hatch = space.add_hatch()
    hatch.paths.add_polyline_path(SQUARE, is_closed=True)
    hatch.paths.add_polyline_path([(30, 10), (70, 10), (70, 30), (30, 30)], is_closed=True, flags=16)
    path = saved(document, tmp_path)
    assert area(path) == pytest.approx(gdal(path)[0].area) == 9200
    space.add_lwpolyline(SQUARE, close=True)  # the outline over its own hatch does not cancel it
    assert area(saved(document, tmp_path)) == pytest.approx(10000)


def test_inserts_like_gdal(tmp_path) -> None:
    document, space = new()
    block = document.blocks.new("FLAKE", base_point=(1, 1))
    block.add_circle((3, 3), 2)
    block.add_lwpolyline([(10, 0), (16, 0, 0.5), (13, 8)], format="xyb", close=True)
    outer = document.blocks.new("PAIR")
    outer.add_blockref("FLAKE", (0, 0), dxfattribs={"rotation": 30})
    outer.add_blockref("FLAKE", (30, 5), dxfattribs={"xscale": 2, "yscale": 0.5, "layer": "far"})
    space.add_blockref("PAIR", (100, 50), dxfattribs={"xscale": -1.5, "yscale": 1.5, "rotation": -20, "layer": "near"})
    path = saved(document, tmp_path)
    artwork = read(path)
    assert sorted(artwork.layers) == ["far", "near"]
    seen = shapely.union_all(gdal_parts(path))
    result = shapely.union_all(artwork.shapes)
    assert result.area == pytest.approx(seen.area, rel=3e-3)
    assert result.symmetric_difference(seen).area < 0.01 * seen.area


def gdal_parts(path: Path):
    """What GDAL's lines bound (inserts come as collections of loose pieces)."""
    lines = shapely.get_parts(shapely.get_parts(gdal(path)))
    return shapely.get_parts(shapely.polygonize(lines))


def test_grid_of_inserts(tmp_path) -> None:
    document, space = new()
    document.blocks.new("DOT").add_circle((0, 0), 1)
    space.add_blockref("DOT", (5, 5)).grid((3, 4), (10, 20))
    shapes = read(saved(document, tmp_path)).shapes
    assert len(shapes) == 12
    assert shapely.total_bounds(shapes) == pytest.approx((4, 4, 66, 26), abs=0.01)


def test_lines_and_arcs_are_chained(tmp_path) -> None:
    document, space = new()
    space.add_line((0, 0), (10, 0))
    space.add_line((10, 10.03), (0, 10))
    space.add_arc((10, 5), 5, 270, 90)
    space.add_line((0, 10), (0, 0.02))
    artwork = read(saved(document, tmp_path))
    assert shapely.area(artwork.shapes).sum() == pytest.approx(100 + math.pi * 12.5, rel=3e-3)
    assert any("2 gaps" in note for note in artwork.notes)


def test_loose_ends_are_listed(tmp_path) -> None:
    document, space = new()
    for k in range(5):
        space.add_line((0, k), (10, k))
    with pytest.raises(InputError, match=r"don't close: 5 lines, at 0\.00, 0\.00 to 10\.00, 0\.00; .* and 1 more"):
        read(saved(document, tmp_path))


def test_doubles_are_taken_once(tmp_path) -> None:
    document, space = new()
    space.add_lwpolyline(SQUARE, close=True)
    space.add_lwpolyline(SQUARE[2:] + SQUARE[:2], close=True)
    artwork = read(saved(document, tmp_path))
    assert shapely.area(artwork.shapes).sum() == pytest.approx(10000)
    assert any("twice" in note for note in artwork.notes)


@pytest.mark.parametrize(("code", "mm"), [(1, 25.4), (2, 304.8), (4, 1), (5, 10), (6, 1000), (14, 100)])
def test_units_of_the_header(tmp_path, code, mm) -> None:  # published DXF reference, $INSUNITS
    document, space = new(units=code)
    space.add_lwpolyline([(0, 0), (2, 0), (2, 3), (0, 3)], close=True)
    assert area(saved(document, tmp_path)) == pytest.approx(6 * mm**2)


def test_without_units_they_must_be_said(tmp_path) -> None:
    document, space = new("R12")
    space.add_polyline2d([(0, 0), (2, 0), (2, 3), (0, 3)], close=True)
    path = saved(document, tmp_path)
    with pytest.raises(InputError, match="has no units") as caught:
        read(path)
    assert caught.value.hint == "say them: units mm"
    assert area(path, units="in") == pytest.approx(6 * 25.4**2)
    space.add_text("UNITS=MM")
    assert area(saved(document, tmp_path)) == pytest.approx(6)


def test_contradicting_units_are_noted(tmp_path) -> None:
    document, space = new(units=1)
    space.add_lwpolyline([(0, 0), (2, 0), (2, 3), (0, 3)], close=True)
    artwork = read(saved(document, tmp_path), units="mm")
    assert shapely.area(artwork.shapes).sum() == pytest.approx(6)
    assert any("as asked" in note for note in artwork.notes)


def test_what_is_left_out_is_noted(tmp_path) -> None:
    document, space = new()
    space.add_lwpolyline(SQUARE, close=True)
    space.add_text("jetty")
    space.add_point((1, 1))
    document.layers.add("hidden").off()
    space.add_circle((500, 0), 9, dxfattribs={"layer": "hidden"})
    artwork = read(saved(document, tmp_path))
    assert shapely.area(artwork.shapes).sum() == pytest.approx(10000)
    for word in ("TEXT is no outline", "POINT is no outline", "hidden things"):
        assert any(word in note for note in artwork.notes)


def test_an_outline_that_crosses_itself_is_told_with_its_layer_and_place(tmp_path) -> None:
    """Two triangles in one line, tip to tip 1020 mm off the origin."""
    document, space = new()
    space.add_lwpolyline(
        [(1010, 1005), (1030, 1005), (1010, 1035), (1030, 1035)], close=True, dxfattribs={"layer": "boat"}
    )
    (note,) = read(saved(document, tmp_path)).notes
    assert "crosses itself" in note
    assert "on layer 'boat' near 1020.0, 1020.0 mm from the origin" in note


@pytest.mark.parametrize("kind", ["itself", "many"])
def test_blocks_that_never_end_are_refused(tmp_path, kind) -> None:
    document, space = new()
    if kind == "itself":
        block = document.blocks.new("A")
        block.add_blockref("A", (1, 1))
        block.add_circle((0, 0), 1)
    else:
        document.blocks.new("B0").add_circle((0, 0), 1)
        for k in range(1, 12):
            block = document.blocks.new(f"B{k}")
            for _ in range(20):
                block.add_blockref(f"B{k - 1}", (k, 0))
    space.add_blockref("A" if kind == "itself" else "B11", (0, 0))
    with pytest.raises(InputError, match=r"nests blocks|more than"):
        read(saved(document, tmp_path))


def test_huge_grid_is_refused(tmp_path) -> None:
    document, space = new()
    document.blocks.new("DOT").add_circle((0, 0), 1)
    space.add_blockref("DOT", (5, 5)).grid((30000, 30000), (1, 1))
    with pytest.raises(InputError, match="more than"):
        read(saved(document, tmp_path))


def test_closed_shapes_are_read_and_open_lines_listed(tmp_path) -> None:
    document, space = new()
    space.add_lwpolyline([(0, 0), (10, 0), (10, 5), (0, 5)], close=True)
    space.add_line((20, 20), (30, 30), dxfattribs={"layer": "STRAY"})
    for start, end in (((40, 0), (50, 0)), ((50, 0), (50, 5)), ((50, 5), (40, 0)), ((50, 5), (60, 9))):
        space.add_line(start, end)  # a triangle, and a line that hangs on one of its corners
    artwork = read(saved(document, tmp_path))
    assert shapely.area(artwork.shapes).sum() == pytest.approx(50 + 25)
    report = [note for note in artwork.notes if note.startswith("WARNING")]
    assert len(report) == 2
    assert any("1 lines on layer 'STRAY'" in note and "20.00, 20.00 to 30.00, 30.00" in note for note in report)
    assert all("meant to be cut?" in note for note in report)


def test_lines_that_share_corners_stay_open_and_others_are_read(tmp_path) -> None:
    document, space = new()
    space.add_circle((5, 5), 3)
    for k in range(3):  # two rings with a line in common: which is which is not known
        space.add_lwpolyline([(20, 0), (25, 5 * k), (30, 0)])
    artwork = read(saved(document, tmp_path))
    assert shapely.area(artwork.shapes).sum() == pytest.approx(np.pi * 9, rel=1e-3)
    assert any("3 lines" in note for note in artwork.notes)


def test_a_long_open_chain_is_quick(tmp_path) -> None:
    from carvegen.artwork.dxf import chains

    steps = [np.array([[k, 0.0], [k + 1, 0.0]]) for k in range(20_000)]
    square = [np.array([a, b], dtype=float) for a, b in (((0, 5), (9, 5)), ((9, 5), (9, 9)), ((9, 9), (0, 5)))]
    start = time.process_time()
    made = chains.chained([*steps, *square])
    assert time.process_time() - start < 2
    assert (len(made.rings), len(made.open)) == (1, 20_000)


#: Faults that strict reading stumbles over and repairing does not.
DAMAGE = {
    "a group code that is none": lambda text: text.replace(
        "  0\nSECTION\n  2\nENTITIES", "  0x\nSECTION\n  2\nENTITIES", 1
    ),
    "a missing end of file": lambda text: text[: text.rindex("  0\nEOF")],
    "a broken table": lambda text: text.replace("  0\nENDTAB", "  0\nENDTAP", 1),
    "a number with a comma": lambda text: text.replace("30.0\n", "30,0\n", 1),
}


@pytest.mark.parametrize("name", DAMAGE)
def test_what_can_be_repaired_is_read_and_said(tmp_path, name) -> None:
    document, space = new()
    space.add_circle((30, 30), 5)
    space.add_circle((60, 30), 5)
    path = saved(document, tmp_path)
    path.write_text(DAMAGE[name](path.read_text()))
    try:
        ezdxf.readfile(path)
    except Exception:
        artwork = read(path)
        assert any("damaged and was repaired" in note for note in artwork.notes)
        assert len(artwork.shapes) >= 1
    else:
        assert len(read(path).shapes) == 2
