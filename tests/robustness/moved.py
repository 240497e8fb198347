"""How many shapes move when one is deleted, a corner is kept bare, or the drawing changes: none but those beside it."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.marking.adapting import adapted
from carvegen.marking.applying import Bed, marked, reach_mm, settled_by
from carvegen.marking.kept_file import Kept, MotifOrigin, Surroundings, kept_text, read_kept
from carvegen.marking.marks import Mark, Meaning
from carvegen.motifs import motif, summaries
from carvegen.motifs.growth import Growth, Place, plain
from tests.cases import box, limits

__all__ = ["moved", "rows"]

_LIMITS = limits(0.6, 0.4)
_NOTHING = shapely.Polygon()


def rows(size: tuple[float, float], seed: int = 3) -> Iterator[tuple[str, int, int, int, int]]:
    """Each motif: its shapes, and how many of them moved though beyond a land and a flake of each of three changes."""
    for name in sorted(summaries()):
        growth, bed = _grown(name, size, seed)
        yield (name, len(growth.cuts), *(
            _beyond(growth, done, zone) for done, zone in (_deleted(growth, bed), _cleared(growth, bed, size),
                                                           _drawn(growth, bed, size))
        ))  # fmt: skip


def moved() -> int:
    """The table on a face of 150 x 100 mm."""
    print(f"{'motif':10} {'shapes':>6} {'one deleted':>12} {'corner bare':>12} {'branch drawn':>13}   moved beyond")
    failed = 0
    for name, count, *each in rows((150.0, 100.0)):
        print(f"{name:10} {count:6d} {each[0]:12d} {each[1]:12d} {each[2]:13d}")
        failed += sum(each)
    return failed


def _grown(name: str, size: tuple[float, float], seed: int) -> tuple[Growth, Bed]:
    module, (width, height) = motif(name), size
    face = shapely.box(0, 0, *size)
    tree = [box(0.3 * width, 0, 0.06 * width, 0.8 * height), box(0.1 * width, 0.5 * height, 0.5 * width, 0.05 * height)]
    bears = geometry.parts(shapely.union_all(tree)) if name == "snowload" else geometry.empty()
    settings, place = module.Settings(), Place(area=face, frame=face, shapes=bears)
    growth = plain(module.grow(settings, place, _LIMITS, stream(seed, name)))
    bed = Bed(motif=name, name=name, settings=settled_by(settings, growth.kept), place=place, limits=_LIMITS, seed=seed)
    return growth, bed


def _deleted(growth: Growth, bed: Bed) -> tuple[Growth, shapely.Geometry]:
    """One shape taken out of the kept file by hand, as a drawing program does."""
    size = tuple(shapely.bounds(bed.place.area)[2:].tolist())
    memory = MotifOrigin(motif=bed.motif, settings={}, surroundings=_around(bed.place.shapes))
    text = kept_text(growth, memory, size, title=bed.motif)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "kept.svg"
        file.write_text(re.sub(r"<path id=\S+ d=\"[^\"]*\"/>\n", "", text, count=1), encoding="utf-8")
        return read_kept(file, motif=bed.motif, size=size).growth, _flake(growth.cuts[0], bed)


def _cleared(growth: Growth, bed: Bed, size: tuple[float, float]) -> tuple[Growth, shapely.Geometry]:
    """A corner that stays."""
    corner = box(0, 0.7 * size[1], 0.25 * size[0], 0.3 * size[1])
    return marked(growth, [Mark(meaning=Meaning.STAYS, shape=corner, key="corner")], bed), _flake(corner, bed)


def _drawn(growth: Growth, bed: Bed, size: tuple[float, float]) -> tuple[Growth, shapely.Geometry]:
    """A branch drawn: snow that lies grows again on it, all else keeps out of it."""
    branch = box(0.36 * size[0], 0.62 * size[1], 0.3 * size[0], 0.02 * size[1])
    lies = bed.motif == "snowload"
    shapes = geometry.parts(shapely.union_all([*bed.place.shapes, branch])) if lies else bed.place.shapes
    now = _around(shapes) if lies else Surroundings.of(bears=_NOTHING, clear=branch)
    kept = Kept(growth=growth, names={}, ids=(), edited=geometry.empty(),
                memory=MotifOrigin(motif=bed.motif, settings={}, surroundings=_around(bed.place.shapes)))  # fmt: skip
    place = replace(bed.place, shapes=shapes)

    def again() -> Growth:
        return plain(motif(bed.motif).grow(bed.settings, place, bed.limits, stream(bed.seed + 1, bed.motif)))

    done = adapted(kept, now, bed.limits, room=lambda: bed.place.area, again=again if lies else None)
    met = growth.cuts[shapely.dwithin(growth.cuts, branch, bed.limits.land_mm)]
    return done.growth, _flake(shapely.union_all([branch, *met]), bed)


def _around(bears: geometry.PolygonArray) -> Surroundings:
    return Surroundings.of(bears=shapely.union_all(bears) if len(bears) else _NOTHING, clear=_NOTHING)


def _flake(shape: shapely.Geometry, bed: Bed) -> shapely.Geometry:
    return shapely.buffer(shape, reach_mm(bed.motif, bed.settings, bed.limits))


def _beyond(before: Growth, after: Growth, zone: shapely.Geometry) -> int:
    """How many shapes have another corner outside the zone, or are gone or new there."""
    there = [{*map(tuple, _corners(shape, zone).tolist())} for shape in before.cuts]
    now = {corner for shape in after.cuts for corner in map(tuple, _corners(shape, zone).tolist())}
    was = set().union(*there)
    new = sum(not {*map(tuple, _corners(shape, zone).tolist())} <= was for shape in after.cuts)
    return sum(not corners <= now for corners in there) + new


def _corners(shape: shapely.Geometry, zone: shapely.Geometry) -> np.ndarray:
    xy = shapely.get_coordinates(shape)
    return xy[~shapely.intersects_xy(zone, xy)]
