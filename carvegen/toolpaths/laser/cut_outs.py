"""A laser's cut-outs: to size, the inner before the outer, the small before the large, held by tabs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.cutter_centre_region import shrunk
from carvegen.toolpaths.laser.beam import off_limits, room_for
from carvegen.toolpaths.laser.scanning import begun_at, from_leftmost
from carvegen.toolpaths.laser.tabs import (
    led_in,
    tab_count,
    tab_mm,
    tabbed,
)
from carvegen.toolpaths.paths import (
    Operation,
    Paths,
    Work,
    from_rings,
    joined,
    no_paths,
    picked,
)
from carvegen.toolpaths.sequence.order import cooled, ordered

if TYPE_CHECKING:
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["block_cut", "opening_cuts", "tab_rule"]

_SIZES_MM2 = (100.0, 2500.0)  #: small, middling, large parts; our own choice
_STARTS = 16  #: places on a line at which it may begin
_LAND_SEEN_MM = 3.0  #: wider land beside a beginning is as good; our own choice
_FALLING = "A part that comes loose may tilt into the beam's way: watch, and stop before it is touched."


@dataclass(frozen=True, eq=False)
class _Lines:
    """Lines of cut-outs, and for each what falls out of it."""

    paths: Paths
    waste: PolygonArray  #: the shape whose outline it is; (paths,)
    level: Indices  #: 0 outside, 1 inside another, …; (paths,)
    loose: Mask  #: whether something is left inside that would fall; (paths,)


def opening_cuts(job: Job, settings: PathSettings, half_mm: float) -> Iterator[Operation]:
    """Cut-outs, one operation for each level of nesting, the innermost first."""
    lines = _lines(job.block, settings, half_mm)
    levels = sorted(set(lines.level.tolist()), reverse=True)
    for k, level in enumerate(levels, start=1):
        chosen = np.flatnonzero(lines.level == level)
        size = np.searchsorted(_SIZES_MM2, shapely.area(geometry.filled(lines.waste[chosen])))
        paths, waste, loose = _in_order(picked(lines.paths, chosen), lines, chosen, size, settings.rest_mm)
        yield Operation(
            name="CUT-OUT" if len(levels) == 1 else f"CUT-OUT {k} OF {len(levels)}",
            work=Work.CUT_THROUGH, cutter=job.cutter, depth_mm=job.thickness_mm,
            asks="cut through the whole thickness in this order: what lies inside first, small parts before large",
            paths=_finished(paths, waste, loose, settings, tab_mm(job.thickness_mm) + 2 * half_mm),
            cautions=(_FALLING,),
        )  # fmt: skip


def block_cut(job: Job, settings: PathSettings, half_mm: float) -> Iterator[Operation]:
    """The block's outline outside the block, if it is to be cut out of a larger sheet."""
    if not settings.cut_edge:
        return
    left, bottom, right, top = job.block.board.bounds
    edge = geometry.polygon_array([shapely.box(left - half_mm, bottom - half_mm, right + half_mm, top + half_mm)])
    ring = from_rings(geometry.rings(edge))
    path = tabbed(ring, tab_mm(job.thickness_mm) + 2 * half_mm) if settings.tabs else ring
    yield Operation(
        name="CUT-OUT BLOCK", work=Work.CUT_BLOCK, cutter=job.cutter, depth_mm=job.thickness_mm,
        asks="last of all: cut the block out of its sheet, through the whole thickness",
        paths=_kept_off(path, settings, half_mm), cautions=(_FALLING,),
    )  # fmt: skip


def tab_rule(job: Job, half_mm: float) -> str:
    """How tabs are made, for the note."""
    width = tab_mm(job.thickness_mm)
    return (
        f"Tabs: gaps of {width + 2 * half_mm:.2f} mm in the line leave bridges {width:.2f} mm wide (a quarter of the "
        "thickness, 0.5 to 2 mm), two on each part and one more for each 80 mm of its line beyond 160 mm, up to eight; "
        "they lie where the line is straightest, to be cut with a knife and pared. Parts with a line shorter than 30 "
        "mm have none and fall."
    )


def _lines(block: Block, settings: PathSettings, half: float) -> _Lines:
    """The lines of all cut-outs. Touching ones are one, so that no edge between two is cut."""
    gone = geometry.joined(geometry.free_of_grid(block.cut_outs))
    room, owner = geometry.owned_parts(room_for(block, gone, half))
    none = np.empty(0, dtype=np.int64)
    if not len(room):
        return _Lines(no_paths(), geometry.empty(), none, none.astype(bool))
    loose = ~shapely.is_empty(shrunk(room, half))
    open_ = ~shapely.contains_properly(block.board, room)
    rings = geometry.rings(room[~open_])
    whole = _begun(from_leftmost(from_rings(rings)), np.flatnonzero(~open_)[rings.owner], owner, gone, block)
    part = np.flatnonzero(~open_)[rings.owner]
    open_paths, of = _open_outlines(room[open_], block)
    paths = joined([whole, open_paths])
    part = np.concatenate([part, np.flatnonzero(open_)[of]]).astype(np.int64)
    return _barred(_Lines(paths, room[part], _levels(paths), loose[part]), settings, half)


def _open_outlines(shapes: PolygonArray, block: Block) -> tuple[Paths, Indices]:
    """The outlines of shapes that reach the block's edge, without what runs along it; and the shape of each."""
    edge = shapely.buffer(shapely.get_exterior_ring(block.board), geometry.GRID_MM)
    lines = shapely.line_merge(shapely.difference(shapely.boundary(shapes), edge))
    return _paths_of(lines)


def _paths_of(shapes: geometry.PolygonArray) -> tuple[Paths, Indices]:
    """Lines as paths, closed where they end as they began; and the number of the geometry of each."""
    lines, of = shapely.get_parts(shapes, return_index=True)
    there = ~shapely.is_empty(lines)
    lines, of = lines[there], of[there]
    if not len(lines):
        return no_paths(), np.empty(0, dtype=np.int64)
    closed = shapely.is_ring(lines)
    parts = [shapely.get_coordinates(line)[: -1 if ring else None] for line, ring in zip(lines, closed, strict=True)]
    start = np.concatenate([[0], np.cumsum([len(part) for part in parts])])
    xy = np.concatenate(parts)
    return Paths(np.column_stack([xy, np.zeros(len(xy))]), start, np.asarray(closed)), np.asarray(of, dtype=np.int64)


def _barred(lines: _Lines, settings: PathSettings, half: float) -> _Lines:
    """The lines without what lies where nothing may go."""
    if not len(settings.no_go):
        return lines
    paths, of = _kept(lines.paths, settings, half)
    return _Lines(paths, lines.waste[of], lines.level[of], lines.loose[of])


def _kept_off(paths: Paths, settings: PathSettings, half: float) -> Paths:
    return _kept(paths, settings, half)[0] if len(settings.no_go) else paths


def _kept(paths: Paths, settings: PathSettings, half: float) -> tuple[Paths, Indices]:
    xy = paths.xyz[:, :2]
    lines = geometry.polygon_array(
        shapely.LineString(np.concatenate([xy[a:b], xy[a : a + shut]]))
        for a, b, shut in zip(paths.start[:-1], paths.start[1:], paths.closed, strict=True)
    )
    left = off_limits(lines, settings.no_go, half)
    return _paths_of(np.where(shapely.get_type_id(left) == _MANY_LINES, shapely.line_merge(left), left))


_MANY_LINES = 5


def _levels(paths: Paths) -> Indices:
    """Inside how many other closed lines each line lies; (paths,)."""
    level = np.zeros(len(paths), dtype=np.int64)
    shut = picked(paths, np.flatnonzero(paths.closed))
    if len(shut):
        around = np.asarray(shapely.polygons(shapely.linearrings(shut.xyz[:, :2], indices=shut.owner)), dtype=object)
        inner, _ = shapely.STRtree(around).query(shapely.points(paths.entries[:, :2]), predicate="within")
        np.add.at(level, inner, 1)
    return level


def _begun(paths: Paths, part: Indices, owner: Indices, gone: PolygonArray, block: Block) -> Paths:
    """Closed paths, each begun where the land beside it is widest, of some places looked at.

    Parameters
    ----------
    part
        For each path the piece of room whose outline it is, and `owner` for each piece its cut-out among `gone`.
    """
    if not len(paths):
        return paths
    count = np.diff(paths.start)
    place = np.arange(_STARTS) * count[:, None] // _STARTS
    at = paths.xyz[(paths.start[:-1, None] + place).ravel(), :2]
    land = _land_beside(at, np.repeat(owner[part], _STARTS), gone, block).reshape(-1, _STARTS)
    best = np.argmax(np.round(land, 2), axis=1)
    return begun_at(paths, place[np.arange(len(paths)), best])


def _land_beside(at: Floats, own: Indices, gone: PolygonArray, block: Block) -> Floats:
    """How far each place lies from the block's edge and from all that is cut but its own cut-out; at most 3 mm."""
    dots = geometry.dots(at)
    land = np.minimum(shapely.distance(dots, shapely.get_exterior_ring(block.board)), _LAND_SEEN_MM)
    every = np.concatenate([gone, block.lowered])
    place, near = shapely.STRtree(every).query(dots, predicate="dwithin", distance=_LAND_SEEN_MM)
    other = near != own[place]
    place, near = place[other], near[other]
    np.minimum.at(land, place, shapely.distance(dots[place], every[near]))
    return np.asarray(land, dtype=np.float64)


def _in_order(
    paths: Paths, lines: _Lines, chosen: Indices, size: Indices, rest_mm: float
) -> tuple[Paths, PolygonArray, Mask]:
    """The paths in their order, with what falls out of each and whether something does."""
    marked = Paths(np.column_stack([paths.xyz[:, :2], paths.owner]), paths.start, paths.closed)
    done = ordered(marked, rank=size)
    number = done.entries[:, 2].astype(np.int64)
    calm = cooled(done, rest_mm, rank=size[number])
    done, number = picked(done, calm), number[calm]
    flat = Paths(done.xyz * (1, 1, 0), done.start, done.closed)
    return flat, lines.waste[chosen][number], lines.loose[chosen][number]


def _finished(paths: Paths, waste: PolygonArray, loose: Mask, settings: PathSettings, gap: float) -> Paths:
    """The paths with tabs on what would fall, and lead-ins on the others."""
    held = np.zeros(len(paths), dtype=bool)
    if settings.tabs:
        held = loose & paths.closed & np.array([tab_count(length) > 0 for length in paths.lengths])
    if held.any():
        parts = [tabbed(picked(paths, np.array([k])), gap) if held[k] else picked(paths, np.array([k]))
                 for k in range(len(paths))]  # fmt: skip
        waste = np.repeat(waste, [len(part) for part in parts])
        paths = joined(parts)
    return led_in(paths, waste, settings.lead_in_mm) if settings.lead_in_mm else paths
