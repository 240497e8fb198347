"""A ferry landing in winter: an asymmetric block, so that every flip shows, and what goes with it."""

from __future__ import annotations

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.blocks.block import Block
from carvegen.blocks.job import Job
from carvegen.facts.cautions import deference
from carvegen.facts.profiles import (
    KINDS,
    Cutter,
    Machine,
    Material,
    Permit,
    Verdict,
)

WIDTH, HEIGHT = 120.0, 80.0


def jetty_block(name: str = "sky block") -> Block:
    """A snow-covered jetty board, a lamp's ring with flakes inside, flakes on the left, a cut-out, a post kept."""
    board = shapely.Polygon([(40, 20), (90, 28), (90, 36), (40, 26)])
    lamp = shapely.Point(95, 60).buffer(10).difference(shapely.Point(95, 60).buffer(6))
    flakes = [shapely.Point(8 + 7.3 * (k % 5), 30 + 6.1 * (k // 5)).buffer(0.9 + 0.13 * (k % 7)) for k in range(20)]
    inside = [shapely.Point(95 + dx, 60 + 1.3).buffer(0.8) for dx in (-2, 2.4)]
    window = shapely.Polygon([(5, 65), (20, 65), (20, 71), (12, 73)])
    post = shapely.Polygon([(10, 5), (16, 5), (15, 22), (11, 22)])
    return Block(
        name=name,
        width_mm=WIDTH,
        height_mm=HEIGHT,
        cuts=geometry.snapped(geometry.polygon_array([board, lamp, *flakes, *inside])),
        cut_outs=geometry.snapped(geometry.polygon_array([window])),
        kept=geometry.polygon_array([post]),
    )


def many_flakes(count: int, width: float = 300.0, height: float = 200.0, corners: int = 24) -> Block:
    """`count` flakes on a grid: only to weigh writers, not to look at."""
    rng = np.random.Generator(np.random.PCG64(1))
    columns = int(np.ceil(np.sqrt(count * width / height)))
    rows = -(-count // columns)
    place = np.arange(count)
    centre = np.column_stack([(place % columns + 0.5) * width / columns, (place // columns + 0.5) * height / rows])
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    size = min(width / columns, height / rows) * (0.2 + 0.25 * rng.random((count, 1)))
    radius = size * (1 - 0.15 * rng.random((count, corners)))
    xy = centre[:, None] + np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=-1)
    return Block(name="flakes", width_mm=width, height_mm=height, cuts=geometry.snapped(shapely.polygons(xy)))


def material(verdict: Verdict = Verdict.ASK, grain: str = "none") -> Material:
    """A block material made up for the tests."""
    permit = Permit(
        verdict=verdict,
        why="The name is no proof of what it is made of.",
        source="test",
        cautions=("Oil and cork smoke heavily.",),
    )
    return Material(
        key="test",
        name="test linoleum",
        about="",
        grain=grain,
        composition="linseed oil, rosin, cork",
        thickness_mm=3.2,
        land_along_mm=0.5,
        land_across_mm=0.6,
        dot_mm=0.8,
        cut_mm=0.4,
        foot_mm=0.4,
        wall_deg=20.0,
        depth_usual_mm=1.2,
        depth_largest_mm=2.4,
        floor_mm=0.8,
        permits=dict.fromkeys(KINDS, permit),
        sources={},
    )


def cutter(kind: str) -> Cutter:
    """A V-tool for the hand, the router or, with the same walls, the laser."""
    return Cutter(
        key="v60",
        name="V-tool of 60 degrees",
        about="",
        form="v",
        machines=(kind,),
        smallest_cut_mm=0.3,
        land_factor=1.0,
        edge_loss_mm=0.0,
        values={"included_deg": 60.0, "tip_mm": 0.1},
        sources={},
    )


def machine(kind: str, colours: dict[str, int] | None = None) -> Machine:
    """A machine of a kind, with the shop's own colours if any."""
    return Machine(
        key=f"test-{kind}",
        name=f"shared {kind}",
        about="",
        kind=kind,
        units="mm",
        curves=False,
        usual_cutter="v60",
        usual_straight_cutter="",
        bed_width_mm=600.0,
        bed_height_mm=400.0,
        layer_colours=colours or {},
        cautions=(deference(kind), "Trained people only."),
        sources={},
    )


def landing_job(
    block: Block | None = None,
    kind: str = "laser",
    *,
    colours: dict[str, int] | None = None,
    grain: str = "none",
    verdict: Verdict = Verdict.ASK,
    declared: str = "",
) -> Job:
    """The landing's block for one kind of machine."""
    return Job(
        block=block or jetty_block(),
        material=material(verdict, grain),
        cutter=cutter(kind),
        machine=machine(kind, colours),
        thickness_mm=3.2,
        depth_mm=1.2,
        grain_deg=20.0,
        declared=declared,
    )


def landing_report(count: int) -> Report:
    """`count` findings strewn over the block."""
    rng = np.random.Generator(np.random.PCG64(2))
    at = rng.random((count, 2)) * (WIDTH, HEIGHT)
    return Report.of(
        Finding(
            rule=("land-width", "foot-width")[k % 2],
            severity=Severity(k % 3 == 0),
            at=(float(x), float(y)),
            to=(float(x) + 0.2, float(y)),
            measured=0.2 + 0.001 * k,
            limit=0.5,
            unit="mm",
            why="It crumbles.",
            remedy="Move the cuts apart.",
        )
        for k, (x, y) in enumerate(at)
    )


def as_block_carries(shapes: geometry.PolygonArray, width: float = WIDTH) -> geometry.PolygonArray:
    """Mirrored by shapely's own affine map, apart from the code under test."""
    from shapely.affinity import affine_transform

    return geometry.polygon_array(affine_transform(shape, (-1, 0, 0, 1, width, 0)) for shape in shapes)


def all_rings(shapes: geometry.PolygonArray) -> list[np.ndarray]:
    """Outlines and holes as closed arrays of points."""
    return [np.asarray(ring.coords) for shape in shapes for ring in (shape.exterior, *shape.interiors)]


def assert_same_places(expected: list[np.ndarray], wanted: list[np.ndarray], tolerance: float = 0.005) -> None:
    """Each ring of `wanted` is there once, every point within `tolerance` mm, and nothing else is."""
    assert len(expected) == len(wanted)
    lines = np.array([shapely.linestrings(ring) for ring in expected], dtype=object)
    index = shapely.STRtree(lines)
    used: set[int] = set()
    for ring in wanted:
        line = shapely.linestrings(ring)
        near = [k for k in index.query(line).tolist() if shapely.hausdorff_distance(lines[k], line) <= tolerance]
        assert len(near) == 1
        used.add(near[0])
    assert len(used) == len(wanted)
