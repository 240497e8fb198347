"""A block in a view."""

from __future__ import annotations

import gc
import weakref

import shapely

from carvegen.blocks.block import Block
from carvegen.blocks.views import View, seen
from tests.cases import box, shapes


def test_all_files_of_a_block_share_its_views() -> None:
    block = Block(name="sky", width_mm=30, height_mm=20, cuts=shapes(box(2, 3, 4, 5)))
    mirrored = seen(block, View.BLOCK)
    assert mirrored is seen(block, View.BLOCK)
    assert shapely.bounds(mirrored.cuts[0]).tolist() == [24, 3, 28, 8]
    assert seen(block, View.PRINT).cuts[0] == block.cuts[0]


def test_views_go_with_their_block() -> None:
    block = Block(name="sky", width_mm=30, height_mm=20, cuts=shapes(box(2, 3, 4, 5)))
    gone = weakref.ref(seen(block, View.BLOCK))
    del block
    gc.collect()
    assert gone() is None
