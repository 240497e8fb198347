"""The unmarked shapes of a print by number, found by where they lie; and those that are seen once all is marked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.interfaces.page.packed import ShapeGroup

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Indices, PolygonArray
    from carvegen.prints.marked.marked_whites import White
    from carvegen.prints.marked.patches import Patch

__all__ = ["Delta", "Likeness", "Stock", "StockView"]

_MOST_FRESH = 500  #: so many shapes that are not in the tree are looked at one by one

Likeness = tuple[str, str, tuple[str, ...]]  #: kind, name and blocks of a group


class Stock:
    """Numbered shapes of several whites."""

    def __init__(self, whites: Sequence[White]) -> None:
        self.shapes: dict[int, Polygon] = {}
        self.white: dict[int, int] = {}
        self.next = 0
        for k, white in enumerate(whites):
            for shape in white.shapes:
                self.add(k, shape)
        self._whites = len(whites)
        self._plant()

    def add(self, white: int, shape: Polygon) -> int:
        """Take one more shape; its number."""
        number = self.taken()
        self.shapes[number], self.white[number] = shape, white
        if hasattr(self, "_fresh"):
            self._fresh[white].append(number)
            if len(self._fresh[white]) > _MOST_FRESH:
                self._plant()
        return number

    def taken(self) -> int:
        """A number that nothing has."""
        self.next += 1
        return self.next

    def remove(self, number: int) -> Polygon:
        """Put a shape away."""
        self.white.pop(number)
        return self.shapes.pop(number)

    def put_back(self, away: Iterable[tuple[int, int, Polygon]]) -> None:
        """Take shapes that were put away: number, white and shape of each."""
        for number, white, shape in away:
            self.shapes[number], self.white[number] = shape, white
        self._plant()

    def near(self, white: int, area: BaseGeometry) -> tuple[Indices, PolygonArray]:
        """The shapes of a white that meet an area, by number."""
        numbers, tree = self._trees[white]
        result = numbers[tree.query(area, predicate="intersects")]
        fresh = [n for n in self._fresh[white] if n in self.shapes and shapely.intersects(self.shapes[n], area)]
        there = sorted([n for n in result.tolist() if n in self.shapes] + fresh)
        return np.array(there, dtype=np.int64), geometry.polygon_array(self.shapes[n] for n in there)

    def of(self, white: int) -> list[int]:
        """The numbers of all shapes of a white, rising."""
        return sorted(n for n, number in self.white.items() if number == white)

    def _plant(self) -> None:
        lots: list[list[int]] = [[] for _ in range(self._whites)]
        for number, white in self.white.items():
            lots[white].append(number)
        self._trees = [
            (np.array(lot, dtype=np.int64), shapely.STRtree(geometry.polygon_array(self.shapes[n] for n in lot)))
            for lot in lots
        ]
        self._fresh: list[list[int]] = [[] for _ in lots]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Extra:
    like: Likeness
    shape: Polygon


@dataclass(frozen=True, kw_only=True)
class Delta:
    """What is seen otherwise than before."""

    gone: tuple[int, ...]
    new: tuple[int, ...]


class StockView:
    """What is seen of a stock once patches have been worked: by number, unmarked shapes by their own."""

    def __init__(self, stock: Stock, whites: Sequence[White], motifs: int) -> None:
        self._stock, self._whites = stock, whites
        self._kinds = ["white"] * (len(whites) - motifs) + ["snow"] * motifs
        self._of: dict[int, tuple[frozenset[int], frozenset[int]]] = {}  #: by patch, what it hides and what it makes
        self._hidden: set[int] = set()
        self.extras: dict[int, _Extra] = {}

    def has(self, number: int) -> bool:
        """Whether a number is seen."""
        return number in self.extras or (number in self._stock.shapes and number not in self._hidden)

    def shape(self, number: int) -> Polygon:
        """A shape that is seen."""
        return self.extras[number].shape if number in self.extras else self._stock.shapes[number]

    def like(self, number: int) -> Likeness:
        """What a seen shape is drawn with."""
        if number in self.extras:
            return self.extras[number].like
        k = self._stock.white[number]
        return self._kinds[k], self._whites[k].name, tuple(sorted(self._whites[k].leaves))

    def plain(self, number: int) -> bool:
        """Whether a shape is as it was before marks."""
        return number not in self.extras

    def near(self, area: BaseGeometry) -> list[int]:
        """The numbers of what is seen and meets an area."""
        base = [n for k in range(len(self._whites)) for n in self._stock.near(k, area)[0].tolist()]
        made = [n for n, extra in self.extras.items() if shapely.intersects(extra.shape, area)]
        return sorted([*(n for n in base if n not in self._hidden), *made])

    def snows(self, block: str, area: BaseGeometry) -> bool:
        """Whether snow that leaves a block meets an area."""
        likes = map(self.like, self.near(area))
        return any(kind == "snow" and block in blocks for kind, _, blocks in likes)

    def numbers(self) -> list[int]:
        """All that is seen."""
        return [*(n for n in self._stock.shapes if n not in self._hidden), *self.extras]

    def groups(self, numbers: Iterable[int]) -> list[ShapeGroup]:
        """Shapes in groups that are drawn alike."""
        lots: dict[Likeness, list[int]] = {}
        for number in numbers:
            lots.setdefault(self.like(number), []).append(number)
        return [
            ShapeGroup(
                kind=kind, name=name, blocks=blocks, ids=lot, shapes=geometry.polygon_array(map(self.shape, lot))
            )
            for (kind, name, blocks), lot in lots.items()
        ]

    def change(self, ended: Sequence[Patch], come: Sequence[Patch], gone: Iterable[int], new: Iterable[int]) -> Delta:
        """Exchange patches; `gone` and `new` are the unmarked shapes that were removed and added."""
        kept, before = dict[tuple[Likeness, bytes], int](), set[int]()
        hid = set[int]().union(*(self._of[id(patch)][0] for patch in ended))
        before |= {n for n in gone if n not in hid}
        for patch in ended:
            hidden, made = self._of.pop(id(patch))
            self._hidden -= hidden
            for number in made:
                extra = self.extras.pop(number)
                kept[extra.like, shapely.to_wkb(extra.shape)] = number
                before.add(number)
        after, hides = set(new), set[int]()
        for patch in come:
            hidden, extras = self._made(patch, kept)
            self._of[id(patch)] = hidden, frozenset(extras)
            self._hidden |= hidden
            self.extras |= extras
            hides |= hidden
            after |= extras.keys()
        before |= hides - hid - set(new)
        after = (after | {n for n in hid if n in self._stock.shapes}) - hides
        return Delta(gone=tuple(sorted(before - after)), new=tuple(sorted(after - before)))

    def _made(
        self, patch: Patch, kept: Mapping[tuple[Likeness, bytes], int]
    ) -> tuple[frozenset[int], dict[int, _Extra]]:
        """The unmarked shapes that a patch hides, and what it puts in their place."""
        hidden, extras = set[int](), dict[int, _Extra]()
        known = {white.name: k for k, white in enumerate(self._whites)}
        lots: dict[str, list[Any]] = {}
        for lot in patch.lots:
            lots.setdefault(lot.name, []).append(lot)

        def put(like: Likeness, shape: Polygon) -> None:
            number = kept.get((like, shapely.to_wkb(shape)))
            extras[self._stock.taken() if number is None or number in extras else number] = _Extra(
                like=like, shape=shape
            )

        for name, own in lots.items():
            blocks: dict[bytes, set[str]] = {}
            first: dict[bytes, Polygon] = {}
            for lot in own:
                for wkb, shape in zip(shapely.to_wkb(lot.shapes).tolist(), lot.shapes, strict=True):
                    blocks.setdefault(wkb, set()).update(lot.blocks)
                    first.setdefault(wkb, shape)
                for shape in lot.to_decide:
                    put(("fringe", name, tuple(sorted(lot.blocks))), shape)
            k = known.get(name)
            if k is not None:
                numbers = patch.about[k].tolist()
                bases = geometry.polygon_array(self._stock.shapes[n] for n in numbers)
                for number, wkb in zip(numbers, shapely.to_wkb(bases).tolist(), strict=True):
                    if blocks.get(wkb) == set(self._whites[k].leaves):
                        blocks.pop(wkb)
                    else:
                        hidden.add(number)
            drawn = ("white", "") if k is None else (self._kinds[k], name)
            for wkb, own_blocks in blocks.items():
                put((*drawn, tuple(sorted(own_blocks))), first[wkb])
        return frozenset(hidden), extras
