"""Marks on the motif of one block: laid on what has grown, and kept by what is mended afterwards."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen import geometry
from carvegen.blocks.from_motif import place_on
from carvegen.marking.marks import Meaning

if TYPE_CHECKING:
    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.blocks.from_motif import Ground
    from carvegen.marking.marks import HoleMark, Mark
    from carvegen.motifs.growth import Growth

__all__ = ["BlockMarks"]


@dataclass(frozen=True, kw_only=True)
class BlockMarks:
    """What is marked by hand on a block with one motif."""

    marks: tuple[Mark, ...] = ()
    holes: tuple[HoleMark, ...] = ()

    def on(self, ground: Ground, settings: Any, limits: Limits, *, motif: str, seed: int) -> Ground:  # noqa: ANN401
        """The ground whose motif, grown or kept, they are laid on."""
        holes = tuple((hole.shape, hole.meaning.gaps) for hole in self.holes if not hole.motifs or motif in hole.motifs)
        ground = replace(ground, holes=holes)
        own = self.of(motif, ground.name)
        if not own:
            return ground
        from carvegen.marking.applying import Bed, marked, settled_by  # late: it takes long, and most have no marks

        place, before = place_on(ground, settings, limits), ground.shapes_from

        def with_marks(grow: Callable[[], Growth]) -> Growth:
            growth = grow() if before is None else before(grow)
            known = settled_by(settings, growth.kept)
            name = f"{motif} of {ground.name}"
            return marked(growth, own, Bed(
                motif=motif, name=name, settings=known, place=place, limits=limits, seed=seed,
            ))  # fmt: skip

        return replace(ground, shapes_from=with_marks)

    def of(self, motif: str, block: str) -> tuple[Mark, ...]:
        """Those for a motif of a block."""
        return tuple(mark for mark in self.marks if mark.is_for(motif=motif, block=block))

    def kept_by(self, block: Block) -> Block:
        """The block that says where mending may take nothing away, and which cuts it leaves alone."""
        if not self.marks:
            return block
        stays, out = (self._shapes(meaning, block.name) for meaning in (Meaning.STAYS, Meaning.COMES_OUT))
        met = np.unique(block.cut_tree.query(out, predicate="intersects")[1])
        return replace(block, stays=stays, fixed=block.fixed | frozenset(map(int, met)))

    def _shapes(self, meaning: Meaning, block: str) -> geometry.PolygonArray:
        return geometry.parts(
            [mark.shape for mark in self.marks if mark.meaning == meaning and mark.is_for(block=block)]
        )
