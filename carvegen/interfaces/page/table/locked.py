"""Locked snow when others come to cut the print: what is written down of marks, and what is mended of kept shapes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.blocks.from_motif import strictest
from carvegen.marking.refitting import grew_entry, refitted, zone_of
from carvegen.prints.cut_blocks import setups_of

if TYPE_CHECKING:
    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.interfaces.page.table.desk import Desk
    from carvegen.marking.marks import Mark
    from carvegen.prints.file.print_file import Print

__all__ = [
    "Locked", "Recut", "limits_of", "locked_shapes", "locked_with", "mended_shapes", "noted_marks", "recut", "unread",
]  # fmt: skip

Locked = Mapping[tuple[str, tuple[str, ...]], "PolygonArray"]  #: what is seen of locked motifs, by motif and blocks


@dataclass(frozen=True, kw_only=True, eq=False)
class Recut:
    """What became of locked snow when others came to cut it."""

    kept: int  #: so many shapes are as they were, point by point
    mended: int  #: so many lie where they lay, in other outlines
    changed: PolygonArray  #: those, as they are now
    gone: PolygonArray  #: as they were
    new: PolygonArray


def locked_with(print_: Print, motifs: Iterable[int]) -> list[int]:
    """The motifs that must be kept for shapes of these to be changed: these, and new ones after the first of them.

    What grows later is fitted to what is white before it, all over the face: it would grow otherwise.
    """
    own = set(motifs)
    return sorted(own | {k for k, entry in enumerate(print_.motifs) if entry.is_new and k > min(own, default=k)})


def limits_of(desk: Desk, print_: Print) -> dict[int, Limits]:
    """Of each locked motif that others would cut, by what limits they do; by its place."""
    by_block = {name: strictest(setup.limits for setup in lot) for name, lot in setups_of(print_, desk.shelf).items()}
    printing = {block.name for block in print_.blocks if block.name in desk.bare.pictures}
    result = {}
    for k, bed in enumerate(desk.ground.beds):
        if desk.print_.motifs[k].kept:
            limits = strictest(by_block[name] for name in sorted(desk.leaves(k) & printing))
            if limits != bed.limits:
                result[k] = limits
    return result


def noted_marks(desk: Desk, motifs: Sequence[int]) -> dict[int, list[dict[str, Any]]]:
    """By what limits the marks of locked motifs were done, as a print file says it; by motif."""
    result = {}
    for k in motifs:
        bed = desk.ground.beds[k]
        result[k] = [grew_entry(mark.key, mark.attempt, bed.of(mark).limits) for mark in _marks_for(desk, k)]
    return result


def _marks_for(desk: Desk, k: int) -> list[Mark]:
    """The marks that are for motif k."""
    return [mark for mark in desk.marks.every if mark.is_for(motif=desk.print_.motifs[k].name)]


def unread(desk: Desk, limits: Mapping[int, Limits]) -> list[str]:
    """The motifs that others would cut and whose shapes can't be changed one by one: they are not looked at."""
    return [desk.print_.motifs[k].called for k in limits if desk.names(k) is None]


def mended_shapes(desk: Desk, limits: Mapping[int, Limits]) -> Iterator[tuple[int, list[int], PolygonArray]]:
    """Of each motif the numbers of kept shapes that don't hold by other limits, and what comes in their place.

    Where marks have changed anything, they and what is mended of them are not the kept file's.
    """
    shapes = {k: [desk.stock.shapes[n] for n in desk.shapes_of(k)] for k in range(len(desk.print_.motifs))}
    before = [white.shapes for white in desk.ground.whites[: len(desk.ground.whites) - len(shapes)]]
    for k, numbers in ((k, desk.shapes_of(k)) for k in shapes):
        cuts = geometry.polygon_array(shapes[k])
        if k in limits and desk.names(k) is not None:
            bed = desk.ground.beds[k]
            zone: Any = shapely.difference(geometry.box(*desk.size), zone_of(_marks_for(desk, k), bed))
            others = geometry.stack(before)
            now = refitted(cuts, others, zone=zone, place=bed.place, limits=limits[k])
            same, old = set(map(id, now)), set(map(id, cuts))
            gone = [n for n, cut in zip(numbers, cuts, strict=True) if id(cut) not in same]
            yield k, gone, geometry.polygon_array(cut for cut in now if id(cut) not in old)
            cuts = now
        if desk.print_.motifs[k].kept:
            before.append(cuts)


def locked_shapes(desk: Desk) -> Locked:
    """What is seen of locked motifs."""
    locked = {motif.name for motif in desk.print_.motifs if motif.kept}
    groups = desk.seen.groups(desk.seen.numbers())
    return {
        (group.name, tuple(group.blocks)): np.asarray(group.shapes, dtype=object)
        for group in groups if group.kind == "snow" and group.name in locked
    }  # fmt: skip


def recut(before: Locked, after: Locked) -> Recut:
    """What became of locked snow."""
    lots = [_compared(before.get(key), after.get(key)) for key in sorted({*before, *after})]
    return Recut(
        kept=sum(lot.kept for lot in lots), mended=sum(lot.mended for lot in lots),
        changed=geometry.stack(lot.changed for lot in lots), gone=geometry.stack(lot.gone for lot in lots),
        new=geometry.stack(lot.new for lot in lots),
    )  # fmt: skip


def _compared(before: PolygonArray | None, after: PolygonArray | None) -> Recut:
    before, after = (geometry.empty() if shapes is None else shapes for shapes in (before, after))
    old, now = (shapely.to_wkb(shapes).tolist() for shapes in (before, after))
    were, are = set(old), set(now)
    lost = before[np.array([wkb not in are for wkb in old], dtype=bool)]
    fresh = after[np.array([wkb not in were for wkb in now], dtype=bool)]
    was, became = shapely.STRtree(fresh).query(lost, predicate="intersects") if len(fresh) else np.empty((2, 0), int)
    mended, changed = np.isin(np.arange(len(lost)), was), np.isin(np.arange(len(fresh)), became)
    return Recut(
        kept=len(before) - len(lost), mended=int(mended.sum()), changed=fresh[changed], gone=lost[~mended],
        new=fresh[~changed],
    )  # fmt: skip
