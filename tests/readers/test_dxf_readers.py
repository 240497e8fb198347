"""DXF read back by GDAL, by trimesh and by ezdxf's auditor."""

import io
from pathlib import Path
from types import SimpleNamespace

import ezdxf
import numpy as np
import pyogrio.raw
import pytest
import shapely
from hypothesis import HealthCheck, given, settings

from carvegen.writers.block.block_drawing import machine_dxf
from carvegen.writers.formats import dxf_file
from carvegen.writers.formats.dxf_file import VERSIONS
from carvegen.writers.sheet import TextLine
from tests.cases import block, box, setup
from tests.readers.landing import (
    HEIGHT,
    WIDTH,
    all_rings,
    as_block_carries,
    assert_same_places,
    jetty_block,
    landing_job,
    many_flakes,
)
from tests.readers.random_shapes import random_blocks
from tests.strategies import examples


def read_by_gdal(text: str, folder: Path) -> dict[str, list[np.ndarray]]:
    """The lines of each layer as GDAL sees them; layer names with blanks."""
    path = folder / "read.dxf"
    path.write_text(text)
    meta, _, wkb, fields = pyogrio.raw.read(path)
    layer = fields[list(meta["fields"]).index("Layer")]
    layers: dict[str, list[np.ndarray]] = {}
    for shape, name in zip(shapely.from_wkb(wkb), layer, strict=True):
        if shape.geom_type != "Point":
            assert shape.geom_type == "LineString"
            layers.setdefault(name.replace("_", " "), []).append(shapely.get_coordinates(shape))
    return layers


def area_of(rings: list[np.ndarray]) -> float:
    """Even-odd area of closed lines, built by GEOS."""
    return float(shapely.area(shapely.build_area(shapely.multilinestrings([shapely.linestrings(r) for r in rings]))))


@pytest.mark.parametrize("version", VERSIONS)
def test_gdal_finds_every_contour_closed_and_in_its_place(version, tmp_path):
    block = jetty_block()
    layers = read_by_gdal(machine_dxf(landing_job(block), version), tmp_path)
    assert sorted(layers) == ["BLOCK EDGE", "CUT AREA", "CUT-OUT", "NOTES", "REGISTER"]
    for rings in layers.values():
        assert all(np.array_equal(ring[0], ring[-1]) for ring in rings)
        assert all((np.hypot(*np.diff(ring, axis=0).T) > 0).all() for ring in rings)
    assert_same_places(layers["CUT AREA"], all_rings(as_block_carries(block.cuts)))
    assert_same_places(layers["CUT-OUT"], all_rings(as_block_carries(block.cut_outs)))
    assert area_of(layers["CUT AREA"]) == pytest.approx(shapely.area(block.cuts).sum(), rel=1e-3)
    assert area_of(layers["CUT-OUT"]) == pytest.approx(shapely.area(block.cut_outs).sum(), rel=1e-3)
    assert area_of(layers["BLOCK EDGE"]) == pytest.approx(WIDTH * HEIGHT, rel=1e-3)


@pytest.mark.parametrize("version", VERSIONS)
def test_only_the_words_and_register_marks_lie_outside_the_block(version, tmp_path):
    layers = read_by_gdal(machine_dxf(landing_job(), version), tmp_path)
    face = shapely.box(0, 0, WIDTH, HEIGHT)
    for name, rings in layers.items():
        inside = [bool(shapely.covers(face, shapely.linestrings(ring))) for ring in rings]
        assert all(inside) if name in {"CUT AREA", "CUT-OUT", "BLOCK EDGE"} else not any(inside)
    (bar,) = layers["NOTES"]
    assert np.ptp(bar[:, 0]) == pytest.approx(100.0, abs=0.0005)


@pytest.mark.parametrize("version", VERSIONS)
def test_the_auditor_finds_nothing(version):
    doc = ezdxf.read(io.StringIO(machine_dxf(landing_job(), version)))
    audit = doc.audit()
    assert not audit.errors
    assert not audit.fixes
    for entity in doc.modelspace().query("LWPOLYLINE POLYLINE"):
        assert entity.closed if entity.dxftype() == "LWPOLYLINE" else entity.is_closed


def test_handles_are_unique_and_below_the_seed():
    lines = machine_dxf(landing_job()).split("\n")
    pairs = [(lines[k].strip(), lines[k + 1]) for k in range(0, len(lines) - 1, 2)]
    start = pairs.index(("2", "ENTITIES"))
    handles = [int(value, 16) for code, value in pairs[start:] if code == "5"]
    assert len(handles) == len(set(handles)) > 20
    seed = pairs[pairs.index(("9", "$HANDSEED")) + 1][1]
    assert max(int(value, 16) for code, value in pairs[pairs.index(("2", "TABLES")) :] if code == "5") < int(seed, 16)
    doc = ezdxf.read(io.StringIO("\n".join(lines)))
    assert {entity.dxf.owner for entity in doc.modelspace()} == {doc.modelspace().layout_key}


@pytest.mark.parametrize("version", VERSIONS)
def test_a_file_has_its_own_extents_and_words_whatever_was_written_on_the_same_layers_before(version):
    for width, height in ((130, 30), (180, 80)):
        doc = ezdxf.read(io.StringIO(machine_dxf(setup().on(block(box(5, 5, 9, 9), size=(width, height))), version)))
        low, high = doc.header["$EXTMIN"], doc.header["$EXTMAX"]
        assert 0 <= -low[0] < 30 and 0 < -low[1] < 150
        assert 0 <= high[0] - width < 30 and 0 <= high[1] - height < 30
        assert sum(f"Block {width} x {height} mm" in text.dxf.text for text in doc.modelspace().query("TEXT")) == 1


def test_trimesh_reads_millimetres_and_layers():
    import trimesh  # slow to import: only where it is asked

    drawing = trimesh.load_path(io.BytesIO(machine_dxf(landing_job()).encode()), file_type="dxf")
    assert drawing.units == "millimeters"
    layers = {str(entity.layer).replace(" ", "") for entity in drawing.entities if entity.layer}
    assert {"CUTAREA", "CUT-OUT", "REGISTER", "BLOCKEDGE", "NOTES"} <= layers


def test_release_12_says_its_unit_in_words():
    text = machine_dxf(landing_job(), "R12")
    assert "$INSUNITS" not in text
    assert "UNITS=MM" in text
    assert text.isascii()


def test_a_shops_own_colours_reach_the_layers():
    doc = ezdxf.read(io.StringIO(machine_dxf(landing_job(colours={"CUT-OUT": 6}))))
    assert doc.layers.get("CUT-OUT").color == 6
    assert doc.layers.get("CUT AREA").color != 6


@pytest.mark.parametrize("old", [False, True])
def test_words_stand_where_their_sheet_has_them_each_on_one_line(old):
    """A line break in them would begin another value of the file."""
    lines = (TextLine(at=(5.0, -3.25), size_mm=4.0, text="a\r\n  0\nb"), TextLine(at=(1, 2), size_mm=2.0, text="c"))
    pieces, free = dxf_file._words(lines, SimpleNamespace(owner="1F", handle=40), old=old)
    doc = ezdxf.read(io.StringIO(f"  0\nSECTION\n  2\nENTITIES\n{''.join(pieces)}  0\nENDSEC\n  0\nEOF\n"))
    texts = [text.dxf for text in doc.modelspace().query("TEXT")]
    assert [(text.text, *text.insert, text.height) for text in texts] == [
        ("a  0b", 5, -3.25, 0, 2.8), ("c", 1, 2, 0, 1.4)
    ]  # fmt: skip
    assert free == 42 and {text.layer for text in texts} == {"NOTES"}


def test_letters_beyond_ascii_are_escaped():
    block = jetty_block(name="Fähre")
    text = machine_dxf(landing_job(block))
    assert text.isascii()
    assert "F\\U+00E4hre" in text


def test_a_big_block_keeps_its_area(tmp_path):
    block = many_flakes(1500)
    layers = read_by_gdal(machine_dxf(landing_job(block)), tmp_path)
    assert len(layers["CUT AREA"]) == len(block.cuts)
    assert area_of(layers["CUT AREA"]) == pytest.approx(shapely.area(block.cuts).sum(), rel=1e-3)


@given(block=random_blocks())
@settings(examples(6), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_random_shapes_come_back_from_dxf(block, tmp_path):
    for version in VERSIONS:
        layers = read_by_gdal(machine_dxf(landing_job(block), version), tmp_path)
        wanted = as_block_carries(block.cuts, block.width_mm)
        assert_same_places(layers["CUT AREA"], all_rings(wanted))
        assert area_of(layers["CUT AREA"]) == pytest.approx(shapely.area(wanted).sum(), rel=1e-3)
