"""What geometry measures and makes of a few dozen shapes, in figures (`tests/recorded.py`)."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.geometry import alikeness
from carvegen.geometry.coverage import coverage
from carvegen.geometry.depth_grid import depths
from carvegen.geometry.edges import Outline, disc_pairs
from carvegen.geometry.insets import insets
from carvegen.geometry.medial import medial_axis, pruned
from carvegen.geometry.narrow import narrow_spread
from carvegen.geometry.necks import necks
from carvegen.geometry.skeletons import are_simple
from carvegen.geometry.widths import local_widths
from tests.cases import box, disc
from tests.recorded import Parts, Scenes, compare, of_shapes, of_values, telling


def crowd() -> geometry.PolygonArray:
    """Lumps, stars and bars strewn over 30 × 24 mm, some with holes; those that meet are one."""
    rng = np.random.default_rng(8)
    made = []
    for k in range(26):
        count = int(rng.integers(3, 16))
        angle = (np.arange(count) + rng.uniform(0.1, 0.9, count)) * 2 * np.pi / count
        centre, reach = rng.uniform((2, 2), (28, 22)), rng.uniform(0.5, 2.4, count)
        made.append(shapely.Polygon(centre + np.column_stack([reach * np.cos(angle), reach * np.sin(angle)])).buffer(0))
        made.append(
            disc(*(rng.uniform((1, 1), (29, 23))), float(rng.uniform(0.2, 1)), points=18)
            if k % 3
            else box(*centre, 3, 0.3)
        )
    whole = shapely.difference(shapely.union_all(made), shapely.union_all([disc(8, 8, 0.6), disc(20, 14, 0.5)]))
    return geometry.snapped(geometry.parts(whole))


SHAPES = crowd()
FACE = geometry.box(30, 24)
LAND = geometry.parts(shapely.difference(FACE, shapely.union_all(SHAPES)))


def narrow() -> Parts:
    rings = geometry.rings(LAND)
    tight, thin = necks(rings, 0.8), local_widths(rings, 0.8)
    grain = local_widths(rings, 0.8, limit_at=lambda deg: 0.5 + 0.3 * np.abs(np.sin(np.radians(deg))))
    found = narrow_spread(rings, 0.7)
    coarse = narrow_spread(rings, 0.7, limit_at=lambda deg: 0.4 + 0.3 * np.abs(np.cos(np.radians(deg))), fine=2)
    return {
        "necks": of_values(start=tight.start, end=tight.end, width=tight.width, deg=tight.direction_deg),
        "widths": of_values(at=thin.at, across=thin.across, width=thin.width, facing=thin.facing_deg, mm=thin.length),
        "grain": of_values(at=grain.at, width=grain.width, mm=grain.length),
        "places": of_values(at=found.places.at, width=found.places.width, mm=found.places.length,
                            kind=found.places.kind, deg=found.places.direction_deg, of=found.place),
        "coarse": of_values(at=coarse.places.at, width=coarse.places.width, mm=coarse.places.length),
    }  # fmt: skip


def axes() -> Parts:
    simple = are_simple(SHAPES)
    parts: dict[str, dict[str, float]] = {"simple": dict(of_values(which=simple))}
    for name, axis in {
        "all": medial_axis(SHAPES),
        "shallow": medial_axis(SHAPES, most_mm=0.4),
        "land": medial_axis(LAND, corner_mm=0.1),
    }.items():
        for more, one in {"": axis, " pruned": pruned(axis, 0.3), " split": axis.split(0.35)}.items():
            long = one.lengths
            parts[name + more] = {
                "mm": float(long.sum()),
                "area": float(long @ one.radius[one.links].mean(axis=1)),
                "facing": float(long @ one.facing_deg),
                "x": float(long @ one.xy[one.links].mean(axis=1)[:, 0]),
                "y": float(long @ one.xy[one.links].mean(axis=1)[:, 1]),
            }
        inside = axis.within(shapely.box(5, 5, 20, 15))
        parts[f"{name} within"] = {"mm": float(inside.lengths.sum())}
    return parts


def offsets() -> Parts:
    plain = np.array([each for each in SHAPES if not each.interiors], dtype=object)
    inner, done = insets(plain, 0.15, 0.6)
    grid = depths(shapely.union_all(LAND), 30, 24)
    x, y = np.meshgrid(np.linspace(0.3, 29.7, 70), np.linspace(0.3, 23.7, 60))
    rings = geometry.rings(SHAPES)
    return {
        "insets": of_shapes(inner[done]) | {"done": int(done.sum())},
        "depths": of_values(mm=grid.at(x.ravel(), y.ravel())),
        "coverage": of_values(share=coverage(geometry.moved(SHAPES, (0.0, 0.0), scale=2.0), (60, 48))),
        "rings": of_values(twice=rings.twice_areas, size=rings.sizes),
        "offset": of_shapes(geometry.offset(SHAPES, 0.3)),
        "shrunk": of_shapes(geometry.offset(SHAPES, -0.2)),
        "filled": of_shapes(geometry.filled(SHAPES)),
        "holes": of_shapes(geometry.holes(SHAPES)),
        "mirrored": of_shapes(geometry.mirrored(SHAPES, 30)),
        "room": of_values(mm=geometry.room_inside(SHAPES)),
        "within": of_values(which=geometry.wholly_in(shapely.box(3, 3, 25, 20), SHAPES)),
        "stars": of_values(reach=geometry.star_radii(SHAPES)[0], least=geometry.star_radii(SHAPES)[1]),
        "near": of_values(group=geometry.near_groups(SHAPES, 0.6), apart=geometry.close_pairs(SHAPES, 0.8)[2]),
    }  # fmt: skip


def alike() -> Parts:
    centres = shapely.get_coordinates(shapely.centroid(SHAPES))
    long, deg = alikeness.elongations(SHAPES)
    combed, count = alikeness.combing(SHAPES)
    even, lattice = alikeness.spacing(centres, 0.5)
    near, off = alikeness.straight_runs(SHAPES)
    outline = Outline(geometry.rings(SHAPES))
    radius = np.linspace(0.2, 1, len(centres))
    one, other = disc_pairs(centres, radius, 0.7)
    return {
        "spacing": {"even": 100 * even, "lattice": 100 * lattice},
        "sizes": {"spread": 100 * alikeness.size_spread(SHAPES)},
        "distances": {"spread": 100 * alikeness.distance_spread(alikeness.nearest_distances(centres))},
        "runs": of_values(mm=near, of=off),
        "longer": of_values(by=long, deg=deg),
        "combed": {"share": 100 * combed, "count": count},
        "twins": of_values(
            which=alikeness.have_twins(geometry.stack([SHAPES, geometry.moved(SHAPES[:3], (31.0, 2.0))]))
        ),
        "near": of_values(edge=outline.near(0.7), bends=outline.bends_more(40)),
        "discs": {"pairs": len(one), "of": float((one * 7 + other).sum())},
    }


SCENES: Scenes = {"narrow": narrow, "axes": partial(telling, axes), "offsets": offsets, "alike": alike}


@pytest.mark.parametrize("scene", SCENES)
def test_it_measures_as_before(scene: str) -> None:
    compare("geometry", scene, SCENES[scene]())
