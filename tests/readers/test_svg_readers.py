"""SVG read back: by the DTD of SVG 1.1, a path parser and a renderer."""

import io
from pathlib import Path

import numpy as np
import pytest
import resvg_py
import shapely
import svgelements
from hypothesis import given, settings
from lxml import etree
from PIL import Image

from carvegen.blocks.layer_names import LAYERS
from carvegen.writers.block.block_drawing import machine_svg, proof_svg
from carvegen.writers.guide.guide_svg import guide_svg
from carvegen.writers.guide.hand_guide import hand_guide
from carvegen.writers.sheet import MARGIN_MM
from tests.readers.landing import (
    HEIGHT,
    WIDTH,
    all_rings,
    as_block_carries,
    assert_same_places,
    jetty_block,
    landing_job,
    landing_report,
    many_flakes,
)
from tests.readers.random_shapes import random_blocks
from tests.strategies import examples

DTD = etree.DTD(str(Path(__file__).parent.parent / "data" / "svg11-dtd" / "svg11.dtd"))
NS = {"s": "http://www.w3.org/2000/svg"}
PX_PER_MM = 96 / 25.4


#: What writes each file, by its name.
FILES = {
    "machine": machine_svg,
    "proof": lambda job: proof_svg(job.block, landing_report(30)),
    "guide carbon": lambda job: guide_svg(hand_guide(job, "carbon")),
    "guide glued": lambda job: guide_svg(hand_guide(job, "glued")),
    "guide face-down": lambda job: guide_svg(hand_guide(job, "face-down")),
}


def written(name: str) -> str:
    return FILES[name](landing_job(grain="side"))


def rings_of(text: str, layer: str, height: float) -> list[np.ndarray]:
    """Closed rings of a layer's paths, put back to the block's corner with y up; parsed by svgelements."""
    result = []
    for path in etree.fromstring(text.encode()).xpath(f'//s:g[@id="{layer}"]/s:path', namespaces=NS):
        for ring in svgelements.Path(path.get("d")).as_subpaths():
            parts = list(ring)
            assert isinstance(parts[0], svgelements.Move)
            assert isinstance(parts[-1], svgelements.Close)
            points = np.array([(part.end.x, part.end.y) for part in parts])
            assert (np.hypot(*np.diff(points, axis=0).T) > 0).all()
            result.append(np.column_stack([points[:, 0] - MARGIN_MM, height + MARGIN_MM - points[:, 1]]))
    return result


def only(text: str, *layers: str) -> str:
    """The same file with the groups of other layers taken out."""
    root = etree.fromstring(text.encode())
    for group in root.xpath("//s:g", namespaces=NS):
        if group.get("id") not in layers:
            group.getparent().remove(group)
    return etree.tostring(root).decode()


def rendered(text: str, zoom: int) -> np.ndarray:
    """Grey values 0…255 as resvg draws the file on white, `zoom` times 96 dpi."""
    data = resvg_py.svg_to_bytes(svg_string=text, dpi=96, zoom=zoom, background="white")
    return np.asarray(Image.open(io.BytesIO(bytes(data))).convert("L"), dtype=float)


@pytest.mark.parametrize("name", sorted(FILES))
def test_every_svg_is_valid_svg_1_1(name):
    root = etree.fromstring(written(name).encode())
    assert DTD.validate(root), DTD.error_log.filter_from_errors()


def test_the_dtd_would_tell_a_wrong_attribute():
    wrong = machine_svg(landing_job()).replace("<path d=", '<path data-depth="1" d=', 1)
    assert not DTD.validate(etree.fromstring(wrong.encode()))


def test_a_parser_finds_every_ring_in_its_place():
    block = jetty_block()
    text = machine_svg(landing_job(block))
    assert_same_places(rings_of(text, "CUT-AREA", HEIGHT), all_rings(as_block_carries(block.cuts)))
    assert_same_places(rings_of(text, "CUT-OUT", HEIGHT), all_rings(as_block_carries(block.cut_outs)))
    assert_same_places(rings_of(proof_svg(block, landing_report(0)), "CUT-AREA", HEIGHT), all_rings(block.cuts))


@pytest.mark.parametrize("made", [jetty_block, lambda: many_flakes(1000, 90.0, 60.0)], ids=["landing", "flakes"])
def test_a_renderer_blackens_the_area_of_the_cuts(made):
    block = made()
    fill = LAYERS["CUT AREA"].colour
    text = only(machine_svg(landing_job(block)), "CUT-AREA").replace(fill, "#000000")
    zoom = 2
    grey = rendered(text, zoom)
    area = (255 - grey).sum() / 255 / (PX_PER_MM * zoom) ** 2
    assert area == pytest.approx(shapely.area(block.cuts).sum(), rel=1e-3)


def test_the_picture_is_mirrored_in_the_machine_file_and_not_in_the_proof():
    block = jetty_block()
    centre = shapely.get_x(shapely.centroid(shapely.multipolygons(block.cuts))).item()
    for text, colour, wanted in (
        (machine_svg(landing_job(block)), LAYERS["CUT AREA"].colour, WIDTH - centre),
        (proof_svg(block, landing_report(0)), "#fbfaf6", centre),
    ):
        dark = 255 - rendered(only(text, "CUT-AREA").replace(colour, "#000000"), 2)
        columns = (np.arange(dark.shape[1]) + 0.5) / (2 * PX_PER_MM) - MARGIN_MM
        assert (dark.sum(axis=0) * columns).sum() / dark.sum() == pytest.approx(wanted, abs=0.02)


def test_one_user_unit_is_one_millimetre():
    root = etree.fromstring(machine_svg(landing_job()).encode())
    width, height = (float(root.get(side).removesuffix("mm")) for side in ("width", "height"))
    assert root.get("viewBox") == f"0 0 {width:g} {height:g}"
    bar = root.xpath('//s:g[@id="NOTES"]/s:polygon', namespaces=NS)[0].get("points")
    xs = [float(point.split(",")[0]) for point in bar.split()]
    assert max(xs) - min(xs) == pytest.approx(100)


@given(block=random_blocks())
@settings(examples(8), deadline=None)
def test_random_shapes_come_back_from_svg(block):
    result = rings_of(machine_svg(landing_job(block)), "CUT-AREA", block.height_mm)
    wanted = as_block_carries(block.cuts, block.width_mm)
    assert_same_places(result, all_rings(wanted))
    lines = shapely.multilinestrings([shapely.linestrings(ring) for ring in result])
    assert shapely.area(shapely.build_area(lines)) == pytest.approx(shapely.area(wanted).sum(), rel=1e-3)
