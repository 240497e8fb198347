"""Files of a plan read back by GDAL, ezdxf, svgelements, the DTD of SVG 1.1 and resvg."""

from __future__ import annotations

import dataclasses
import io
import itertools
from functools import cache
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio.raw
import pytest
import resvg_py
import shapely
import svgelements
from lxml import etree
from PIL import Image
from shapely.affinity import affine_transform

from carvegen import geometry
from carvegen.blocks.layer_names import BLOCK_EDGE, CUT_OUT, LAYERS, NOTES
from carvegen.toolpaths.laser.planner import laser_plan
from carvegen.toolpaths.paths import (
    Operation,
    Paths,
    Plan,
    Work,
    from_rings,
    joined,
    no_paths,
)
from carvegen.toolpaths.settings import MOST_STEPS, PathSettings
from carvegen.writers.formats.dxf_file import VERSIONS
from carvegen.writers.note.plan_note import layer_cautions, order_lines, plan_lines
from carvegen.writers.plan.plan_drawing import level_runs, plan_dxf, plan_layers, plan_svg
from carvegen.writers.plan.plan_png import _FEW, _filled, _Sheet, _smaller, plan_png
from carvegen.writers.sheet import MARGIN_MM
from tests import cases
from tests.colour_vision import EYES, apart
from tests.readers.landing import HEIGHT, WIDTH, jetty_block
from tests.strategies import MANY, few
from tests.toolpaths import twins

DTD = etree.DTD(str(Path(__file__).parent.parent / "data" / "svg11-dtd" / "svg11.dtd"))
NS = {"s": "http://www.w3.org/2000/svg"}
MIRROR = (-1, 0, 0, 1, WIDTH, 0)


def laser_job(**changed):
    setup = cases.setup("birch-plywood", "laser-fine")
    return dataclasses.replace(setup, machine=dataclasses.replace(setup.machine, **changed)).on(jetty_block())


def plan_of(lowered: str = "shapes", **machine) -> Plan:
    return laser_plan(laser_job(**machine), PathSettings(lowered=lowered, line_spacing_mm=0.5, cut_edge=True))


def deep_plan() -> Plan:
    """Made-up paths whose depth varies, open and closed, and one level one below the face."""
    xyz = np.array([[5, 5, 0], [20, 5, -1.25], [35, 9, 0], [50, 5, -0.5], [60, 5, -1], [55, 12, -0.75]], dtype=float)
    parts = [Paths(xyz[:3], np.array([0, 3]), np.array([False])), Paths(xyz[3:], np.array([0, 3]), np.array([True]))]
    flat = Paths(np.array([[70.0, 5, -1.1], [80, 5, -1.1]]), np.array([0, 2]), np.array([False]))
    job = laser_job()
    both = [("CENTRE LINE V-60", Work.CENTRE_LINE, joined(parts)), ("CLEAR FLAT-3", Work.CLEAR, flat)]
    operations = tuple(
        Operation(name=name, work=work, asks="follow it", cutter=job.cutter, paths=paths, depth_mm=1.25)
        for name, work, paths in both
    )
    return Plan(job=job, operations=operations)


PLANS = {"shapes": plan_of(), "lines": plan_of("lines"), "contours": plan_of("contours"), "deep": deep_plan()}


@cache
def usual_dxf() -> str:
    return plan_dxf(PLANS["shapes"])


def mirrored(paths: Paths) -> list[np.ndarray]:
    """The paths as the block carries them, mirrored by shapely's own affine map."""
    return [np.asarray(affine_transform(line, MIRROR).coords) for line in twins.lines(paths)]


def by_ezdxf(text: str) -> dict[str, list[tuple[np.ndarray, bool]]]:
    """Points and closedness of each polyline of each layer, in the order of the file."""
    result: dict[str, list[tuple[np.ndarray, bool]]] = {}
    for entity in ezdxf.read(io.StringIO(text)).modelspace().query("LWPOLYLINE POLYLINE"):
        if entity.dxftype() == "LWPOLYLINE":
            points = np.array([(x, y, entity.dxf.elevation) for x, y in entity.get_points("xy")])
            closed = entity.closed
        else:
            points = np.array([vertex.dxf.location.xyz for vertex in entity.vertices])
            closed = entity.is_closed
        result.setdefault(entity.dxf.layer.replace("_", " "), []).append((points, closed))
    return result


def in_versions(names):
    """Each in one version, the versions in turn; where there is time for many, each in all of them."""
    return list(itertools.product(names, VERSIONS) if MANY else zip(names, itertools.cycle(VERSIONS), strict=False))


@pytest.mark.parametrize(("name", "version"), in_versions(PLANS))
def test_ezdxf_reads_every_path_in_order_in_its_place_and_the_auditor_finds_nothing(name, version):
    plan = PLANS[name]
    text = plan_dxf(plan, version)
    audit = ezdxf.read(io.StringIO(text)).audit()
    assert not audit.errors
    assert not audit.fixes
    result = by_ezdxf(text)
    names = [operation.name for operation in plan.operations]
    assert list(result) == [*names, "BLOCK EDGE", "NOTES"]  # in working order
    for operation in plan.operations:
        paths, there = operation.paths, result[operation.name]
        assert [closed for _, closed in there] == paths.closed.tolist()
        for k, (points, _) in enumerate(there):
            wanted = paths.xyz[paths.start[k] : paths.start[k + 1]] * (-1, 1, 1) + (WIDTH, 0, 0)
            assert np.abs(points - wanted).max() <= 0.0006


@pytest.mark.parametrize(("name", "version"), in_versions(["shapes", "contours", "deep"]))
def test_gdal_reads_the_same_lines(name, version, tmp_path):
    plan = PLANS[name]
    (tmp_path / "read.dxf").write_text(plan_dxf(plan, version))
    meta, _, wkb, fields = pyogrio.raw.read(tmp_path / "read.dxf")
    layer = [str(field).replace("_", " ") for field in fields[list(meta["fields"]).index("Layer")]]
    for operation in plan.operations:
        shapes = [shapely.from_wkb(data) for data, each in zip(wkb, layer, strict=True) if each == operation.name]
        for shape, wanted in zip(shapes, mirrored(operation.paths), strict=True):
            there = shapely.get_coordinates(shape)
            assert np.abs(there[: len(wanted)] - wanted).max() <= 0.0006


@pytest.mark.parametrize("version", VERSIONS)
def test_depths_are_in_the_dxf(version):
    result = by_ezdxf(plan_dxf(deep_plan(), version))
    assert [point[2] for point in result["CENTRE LINE V-60"][0][0].tolist()] == [0, -1.25, 0]
    assert {point[2] for point in result["CLEAR FLAT-3"][0][0].tolist()} == {-1.1}


@pytest.mark.parametrize(
    ("origin", "corner"),
    few([
        ("upper-right", (WIDTH, HEIGHT)), ("lower-left", (0, 0)), ("lower-right", (WIDTH, 0)),
        ("middle", (WIDTH / 2, HEIGHT / 2)), ("upper-left", (0, HEIGHT)),
    ], 2),
)  # fmt: skip
def test_numbers_begin_at_the_machines_own_corner(origin, corner):
    text = plan_dxf(plan_of(origin=origin))
    here = by_ezdxf(text)
    ((edge, closed),) = here["BLOCK EDGE"]
    assert closed
    assert edge[:, :2].min(axis=0) == pytest.approx(-np.array(corner))
    usual = by_ezdxf(usual_dxf())
    for (one, _), (other, _) in zip(here["LOWER FLOOR"], usual["LOWER FLOOR"], strict=True):
        assert np.abs(one[:, :2] + corner - other[:, :2]).max() <= 0.0011
    assert any(origin.replace("-", " ") in line for line in words(text))


def words(text: str) -> list[str]:
    return [" ".join(entity.dxf.text for entity in ezdxf.read(io.StringIO(text)).modelspace().query("TEXT"))]


@pytest.mark.parametrize("name", PLANS)
def test_the_svg_is_valid_and_holds_every_path_in_order(name):
    plan = PLANS[name]
    root = etree.fromstring(plan_svg(plan).encode())
    assert DTD.validate(root), DTD.error_log.filter_from_errors()
    groups = [group.get("id") for group in root.xpath("s:g", namespaces=NS)]
    assert groups == [operation.name.replace(" ", "-") for operation in plan.operations] + ["BLOCK-EDGE", "NOTES"]
    for operation in plan.operations:
        result = []
        for path in root.xpath(f'//s:g[@id="{operation.name.replace(" ", "-")}"]/s:path', namespaces=NS):
            result += [
                np.array([(step.end.x - MARGIN_MM, HEIGHT + MARGIN_MM - step.end.y) for step in part])
                for part in svgelements.Path(path.get("d")).as_subpaths()
            ]
        for points, wanted in zip(result, mirrored(operation.paths), strict=True):
            assert np.abs(points - wanted).max() <= 0.0011


def test_a_renderer_fills_the_areas_with_their_holes():
    plan = plan_of()
    (floor,) = (step for step in plan.operations if step.name == "LOWER FLOOR")
    root = etree.fromstring(plan_svg(plan).encode())
    for group in root.xpath("s:g", namespaces=NS):
        if group.get("id") == "LOWER-FLOOR":
            group.set("fill", "#000000")
        else:
            root.remove(group)
    zoom = 3
    data = resvg_py.svg_to_bytes(svg_string=etree.tostring(root).decode(), dpi=96, zoom=zoom, background="white")
    grey = np.asarray(Image.open(io.BytesIO(bytes(data))).convert("L"), dtype=float)
    area = (255 - grey).sum() / 255 / (96 / 25.4 * zoom) ** 2
    assert area == pytest.approx(twins.area(floor.paths).area, rel=2e-3)


def test_every_layer_has_a_colour_of_its_own_and_its_words_stand_on_notes():
    for plan in PLANS.values():
        layers = plan_layers(plan)
        assert len({layer.index for layer in layers}) == len(layers)
        (said,) = words(plan_dxf(plan))
        for k, layer in enumerate(layers, start=1):
            assert f"{k}. {layer.name} (" in " ".join(said.split())


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("shoulders", [0, 1, 2, 3])
def test_layers_of_one_plan_are_told_apart_at_a_glance(eyes, shoulders):
    """By CIEDE2000 (skimage), from what must not be worked, too; 8.5 is plain at a glance, our own choice."""
    for plan in PLANS.values():
        _hold_apart(plan, [(f"SHOULDER {k}", Work.SHOULDER) for k in range(shoulders)], eyes)


@cache
def stepped_plan(steps: int) -> Plan:
    return laser_plan(laser_job(), PathSettings(shoulder_steps=steps, line_spacing_mm=0.02, cut_edge=True))


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("steps", few(range(MOST_STEPS, -1, -1), 3))
def test_layers_of_a_laser_are_told_apart_at_a_glance_however_many_steps_its_shoulder_has(eyes, steps):
    plan = stepped_plan(steps)
    assert sum(step.work is Work.SHOULDER for step in plan.operations) == steps
    _hold_apart(plan, [], eyes)


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("cutters", [2, 3, 4])
def test_layers_of_a_router_with_several_floor_cutters_are_told_apart_at_a_glance(eyes, cutters):
    both = [(f"{work.name} {k}", work) for k in range(cutters) for work in (Work.CLEAR, Work.WALL)]
    through = [("CUT-OUT 2", Work.CUT_THROUGH), ("CUT-OUT BLOCK", Work.CUT_BLOCK)]
    centre = dataclasses.replace(deep_plan(), operations=deep_plan().operations[:1])
    _hold_apart(centre, [*both, *through], eyes)


def _hold_apart(plan: Plan, more: list[tuple[str, Work]], eyes: str) -> None:
    never = (LAYERS[BLOCK_EDGE], LAYERS[NOTES])
    beside = tuple(dataclasses.replace(plan.operations[0], name=name, work=work) for name, work in more)
    layers = plan_layers(dataclasses.replace(plan, operations=(*beside, *plan.operations)))
    for one, other in [*itertools.combinations(layers, 2), *itertools.product(layers, never)]:
        assert apart(one.colour, other.colour, eyes) > 8.5, (one.name, other.name)


def test_a_shops_own_colours_hold():
    plan = plan_of(layer_colours={"CUT-OUT": 1, "SHOULDER 1 OF 1": 6, "CUT AREA": 2})
    colours = {layer.name: layer.index for layer in plan_layers(plan)}
    assert colours["CUT-OUT"] == 1
    assert colours["LOWER FLOOR"] == 2
    document = ezdxf.read(io.StringIO(plan_dxf(plan)))
    assert document.layers.get("CUT-OUT").color == 1


def test_the_same_plan_makes_the_same_bytes():
    one, other = plan_of(), plan_of()
    for version in VERSIONS:
        assert plan_dxf(one, version) == plan_dxf(other, version)
    assert plan_svg(one) == plan_svg(other)
    assert plan_png(one, px_per_mm=4) == plan_png(other, px_per_mm=4)


def floor_pixels(plan: Plan, px_per_mm: float) -> tuple[np.ndarray, float]:
    """For each pixel of the picture, block and margin, how far its colour is from the floor's; pixels per mm."""
    picture = np.asarray(Image.open(io.BytesIO(plan_png(plan, px_per_mm=px_per_mm))).convert("RGB"), dtype=int)
    scale = picture.shape[1] / (WIDTH + 2 * MARGIN_MM)
    (layer,) = (each for each in plan_layers(plan) if each.name == "LOWER FLOOR")
    colour = [int(layer.colour[k : k + 2], 16) for k in (1, 3, 5)]
    return np.abs(picture[: round((HEIGHT + 2 * MARGIN_MM) * scale)] - colour).sum(axis=2), scale


def with_floor(shapes: list[shapely.Polygon]) -> Plan:
    """A plan with nothing but this floor."""
    plan, floor = plan_of(), from_rings(geometry.rings(np.array(shapes)))
    changed = tuple(
        dataclasses.replace(each, paths=floor if each.name == "LOWER FLOOR" else no_paths()) for each in plan.operations
    )
    return dataclasses.replace(plan, operations=changed)


def test_the_picture_shows_the_areas_mirrored():
    plan = plan_of()
    off, scale = floor_pixels(plan, 6)
    rows, columns = np.nonzero(off < 60)
    (floor,) = (each for each in plan.operations if each.name == "LOWER FLOOR")
    wanted = affine_transform(twins.area(floor.paths), MIRROR)
    assert len(rows) / scale**2 == pytest.approx(wanted.area, rel=0.05)
    assert columns.mean() / scale - MARGIN_MM == pytest.approx(wanted.centroid.x, abs=0.5)
    assert HEIGHT + MARGIN_MM - rows.mean() / scale == pytest.approx(wanted.centroid.y, abs=0.5)


@pytest.mark.parametrize("count", [5, _FEW, _FEW + 1])
def test_four_inks_are_the_mean_of_their_colours_however_many_there_are(count: int) -> None:
    """The picture in colours, made smaller by Pillow, is the same byte for byte."""
    chance = np.random.default_rng(count)
    inked, colours = (chance.integers(0, n, size, np.uint8) for n, size in ((count, (70, 40)), (256, (count, 3))))
    plain = np.asarray(Image.fromarray(colours[inked]).reduce(2))
    assert np.array_equal(_smaller(inked, colours), plain)


def test_a_later_area_lies_on_an_earlier_one_as_pasted_and_leaves_what_is_in_its_hole() -> None:
    ground = np.zeros((20, 30), dtype=np.uint8)
    ring = shapely.box(3, 3, 20, 15) - shapely.box(8, 8, 12, 11)
    sheet = _Sheet(1.0, 15.0, 2.0)
    under, over = (from_rings(geometry.rings(np.array([each]))) for each in (shapely.box(0, 0, 10, 10), ring))
    inked = _filled(_filled(ground, under, 4, sheet), over, 5, sheet)
    for x, y, ink in ((1, 1, 4), (5, 5, 5), (9, 9, 4), (11, 10, 0), (15, 12, 5), (25, 2, 0)):
        assert inked[round(17 - y), round(x + 2)] == ink
    assert np.bincount(inked.ravel())[4:].tolist() == [100 - 49 + 4, 17 * 12 - 12 + 1]  # where the hole begins, too


def test_what_lies_in_a_hole_is_drawn_whatever_its_place_in_the_plan():
    """A floor round an island in which another floor lies: the picture has shapely's area of both."""
    inner, ring = shapely.box(27, 17, 33, 23), shapely.box(20, 10, 40, 30) - shapely.box(23, 13, 37, 27)
    off, scale = floor_pixels(with_floor([inner, ring]), 8)
    assert (off < 60).sum() / scale**2 == pytest.approx(inner.area + ring.area, rel=0.03)


def test_a_place_smaller_than_a_pixel_is_in_the_picture():
    empty, scale = floor_pixels(with_floor([]), 4)
    off, _ = floor_pixels(with_floor([shapely.box(x, 20.01, x + 0.01, 20.02) for x in (10.013, 30.047)]), 4)
    columns = np.nonzero(off < empty)[1]
    assert sorted(columns / scale) == pytest.approx([WIDTH + MARGIN_MM - x for x in (30.047, 10.013)], abs=1 / scale)


def test_no_word_under_a_narrow_picture_is_cut_off():
    picture = np.asarray(Image.open(io.BytesIO(plan_png(plan_of(), px_per_mm=2.0))))
    ground, words = picture[0, -1], picture[-220:]
    assert (words[:, -12:] == ground).all()
    assert (words[:, :-12] != ground).any()


def test_the_note_lists_every_layer_with_length_time_and_cutter():
    plan = plan_of()
    lines = plan_lines(plan)
    for k, operation in enumerate(plan.operations, start=1):
        (row,) = (line for line in lines if line.startswith(f"| {k} | {operation.name} |"))
        assert operation.cutter.name in row
        assert f"{operation.depth_mm:.2f}" in row
    text = "\n".join([*lines, *order_lines(plan), *layer_cautions(plan)])
    assert "All together about" in text
    assert f"{plan.operations[-1].paths.lengths.sum() / 1000:.2f}" in text
    assert "CUT-OUT: A part that comes loose" in text


def test_no_file_of_a_plan_speaks_of_power_or_gives_a_pace():
    text = "\n".join([*plan_lines(plan_of()), *words(usual_dxf()), plan_svg(plan_of())]).lower()
    for word in ("power", "watt", "mm/s", "mm/min", "ppi"):
        assert word not in text


def test_what_goes_round_is_not_called_open():
    """Led into, a path round a shape begins elsewhere and is not closed: its end lies on what it has followed."""
    plan = laser_plan(laser_job(), PathSettings(tabs=False, lead_in_mm=1, cut_edge=True))
    said = {layer.name: layer.drawn for layer in plan_layers(plan)}
    rounds = [step for step in plan.operations if step.work is Work.CUT_THROUGH and not step.paths.closed.any()]
    assert rounds
    for each in rounds:
        for line in twins.lines(each.paths):
            assert shapely.Point(line.coords[-1]).distance(shapely.LineString(line.coords[:-1])) < 1e-6
        assert said[each.name] == "closed lines, led into"
    assert said["SCORE REGISTER"] == "open lines"
    assert {layer.drawn for layer in plan_layers(deep_plan())} == {"open and closed lines", "open lines"}


def test_what_is_cut_through_has_one_name_in_all_files():
    names = [layer.name for layer in plan_layers(plan_of())]
    assert CUT_OUT in names
    assert not [name for name in names if "CUT OUT" in name]


def test_a_long_level_stretch_between_two_slopes_is_a_line_of_its_own_with_all_its_sides() -> None:
    level = [(x, 0.0, -1.0) for x in range(2, 9)]
    xyz = np.array([(0, 0, 0), *level, (10, 0, 0)], dtype=float)
    runs = level_runs(Paths(xyz, np.array([0, len(xyz)]), np.zeros(1, dtype=bool)))
    assert np.diff(runs.start).tolist() == [2, 7, 2]
    assert runs.xyz[2:9].tolist() == [list(point) for point in level]
