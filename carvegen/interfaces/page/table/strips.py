"""What would break along one thin strip of land, or is an island: what is cleared together, by one mark."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.findings import Finding
    from carvegen.geometry import Floats, Indices, PolygonArray
    from carvegen.interfaces.page.table.desk import Desk

__all__ = ["island_at", "strips"]

_NEXT_MM = 6.0  #: places of one land that lie so near to one another are of one strip; our own choice
_MOST_MM = 60.0  #: a strip that reaches farther is no place to be cleared at once
_ISLAND_MM = 12.0  #: an island is looked for so far about a place, and twice as far until all of it is seen


def strips(desk: Desk, broken: Mapping[str, Sequence[Finding]]) -> list[tuple[str, tuple[Finding, ...]]]:
    """Places that break along one land, each lot of two or more with its block.

    Parameters
    ----------
    broken
        By block, what breaks and could be cleared; each has a place.
    """
    return [(block, strip) for block, findings in broken.items() for strip in _of_block(desk, block, findings)]


def island_at(desk: Desk, block: str, place: tuple[float, float]) -> BaseGeometry | None:
    """The piece of a block's land that stands alone about a place; None if no land stands there."""
    picture, by = desk.bare.pictures.get(block), _ISLAND_MM
    while picture is not None:
        window = shapely.buffer(shapely.Point(place), by, cap_style="square")
        pieces = _pieces(desk, block, picture, window)
        if len(pieces) == 0:
            return None
        piece: BaseGeometry = pieces[np.argmin(shapely.distance(pieces, shapely.Point(place)))]
        if shapely.contains_properly(window, piece):
            return piece
        by *= 2
    return None


def _of_block(desk: Desk, block: str, findings: Sequence[Finding]) -> list[tuple[Finding, ...]]:
    picture = desk.bare.pictures.get(block)
    if picture is None or len(findings) < 2:
        return []
    xy = np.array([finding.at for finding in findings], dtype=float)
    result: list[tuple[Finding, ...]] = []
    for near in _joined(xy, np.zeros(len(xy), dtype=np.intp)):
        if np.ptp(xy[near], axis=0).max() <= _MOST_MM:
            lands = _lands(desk, block, picture, xy[near])
            result += [tuple(findings[k] for k in near[own]) for own in _joined(xy[near], lands)]
    return result


def _joined(xy: Floats, lands: Indices) -> list[Indices]:
    """Which places of one land are next to one another, each lot of two or more as their numbers; xy (n, 2)."""
    left, right, _ = geometry.close_pairs(geometry.dots(xy), _NEXT_MM)
    alike = lands[left] == lands[right]
    label = geometry.linked_groups(len(xy), left[alike], right[alike])
    order, counts = np.argsort(label, kind="stable"), np.bincount(label)
    return [lot for lot in np.split(order, np.cumsum(counts)[:-1]) if len(lot) > 1]


def _lands(desk: Desk, block: str, picture: BaseGeometry, xy: Floats) -> Indices:
    """The number of the piece of land about them that each place lies on, or next to; (n,)."""
    window = shapely.buffer(shapely.envelope(shapely.MultiPoint(xy)), _NEXT_MM, cap_style="square", join_style="mitre")
    pieces = _pieces(desk, block, picture, window)
    if len(pieces) == 0:
        return np.arange(len(xy))
    return np.array([np.argmin(shapely.distance(pieces, point)) for point in geometry.dots(xy)], dtype=np.intp)


def _pieces(desk: Desk, block: str, picture: BaseGeometry, window: BaseGeometry) -> PolygonArray:
    """The pieces of a block's land in a window."""
    white = shapely.union_all(desk.scene(window).white[block])
    return geometry.parts(shapely.difference(shapely.intersection(picture, window), white))
