"""Bits of the drawing that snow has cut off, as a look at the whole print has them: under the snow, as in the build."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.interfaces.page.packed import ShapeGroup
from carvegen.prints.separation import Layer

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray

__all__ = ["UnderSnow", "under_snow"]

_CRUMB_MM2 = 0.001  #: less of a layer is the grid's


@dataclass(frozen=True, kw_only=True, eq=False)
class UnderSnow:
    """What a build would make of loose bits; it holds until something changes where they are."""

    layers: tuple[Layer, ...]  #: of the drawing, without them
    groups: tuple[ShapeGroup, ...]  #: what is white besides, over them
    zone: BaseGeometry  #: where anything is otherwise by this

    def white(self, block: str) -> Iterator[PolygonArray]:
        """What is white besides on a block."""
        return (group.shapes for group in self.groups if block in group.blocks)


def under_snow(
    drawn: Sequence[Layer], layers: Sequence[tuple[str, bytes]],
    over: Iterable[tuple[Sequence[str], Sequence[bytes]]], *, number: Callable[[], int],
) -> UnderSnow | None:  # fmt: skip
    """What a look at the whole print has of loose bits; None if there are none.

    Parameters
    ----------
    drawn
        The drawing's layers.
    layers
        Names and shapes of the drawing's layers without bits, as WKB.
    over
        What is white over these: which blocks it leaves, and its shapes as WKB.
    number
        Gives each shape one that no other has.
    """
    now = tuple(Layer(name, shapely.from_wkb(shape)) for name, shape in layers)
    changed = list(_changed(drawn, {layer.name: layer.shape for layer in now}))
    groups = tuple(
        ShapeGroup(
            kind="white", name="over", blocks=tuple(blocks), ids=[number() for _ in shapes],
            shapes=np.asarray(shapely.from_wkb(np.array(shapes, dtype=object)), dtype=object),
        ) for blocks, shapes in over
    )  # fmt: skip
    if not changed and not groups:
        return None
    zone = shapely.union_all([*changed, *geometry.stack(group.shapes for group in groups)])
    return UnderSnow(layers=now, groups=groups, zone=zone)


def _changed(before: Iterable[Layer], after: Mapping[str, BaseGeometry]) -> Iterator[BaseGeometry]:
    """Where layers are otherwise than before."""
    for layer in before:
        then = after[layer.name]
        if not shapely.equals_exact(layer.shape, then):
            parts: Any = geometry.parts(shapely.symmetric_difference(layer.shape, then))
            yield from parts[shapely.area(parts) > _CRUMB_MM2]
