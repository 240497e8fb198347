"""``--marks`` of the commands that make a block from a motif."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.cli import options

if TYPE_CHECKING:
    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.blocks.from_motif import Ground
    from carvegen.marking.marks import HoleMark, Mark
    from carvegen.motifs.growth import Growth

__all__ = ["Marks", "marks_option", "read_marked"]

#: Drawings of marks: passes `marks`.
marks_option = click.option(
    "--marks", multiple=True, type=click.Path(path_type=Path), metavar="FILE",
    help="What is marked by hand: an SVG as large as the block, its groups named comes out, stays, carver decides, "
    "more, less, grow again, or open air and only drawn for holes; may be given more than once.",
)  # fmt: skip


class Marks:
    """The marks of a command."""

    def __init__(self, marks: tuple[Mark, ...], holes: tuple[HoleMark, ...] = ()) -> None:
        self.marks, self.holes = marks, holes

    def on(self, ground: Ground, settings: Any, limits: Limits, *, by: str, seed: int) -> Ground:  # noqa: ANN401
        """The ground whose motif, grown or kept, they have been laid on."""
        from carvegen.blocks.from_motif import place_on
        from carvegen.marking.applying import Bed, marked, settled_by

        own = [mark for mark in self.marks if mark.is_for(motif=by, block=ground.name)]
        holes = tuple((its.shape, its.meaning.gaps) for its in self.holes if not its.motifs or by in its.motifs)
        ground = replace(ground, holes=holes)
        if not own:
            return ground
        if ground.prints:
            raise InputError("can't be used with --prints", where="--marks", hint="leave one of them out")
        place, before = place_on(ground, settings, limits), ground.shapes_from

        def with_marks(grow: Callable[[], Growth]) -> Growth:
            growth = grow() if before is None else before(grow)
            name = f"{by} of {ground.name}"
            known = settled_by(settings, growth.kept)
            bed = Bed(motif=by, name=name, settings=known, place=place, limits=limits, seed=seed)
            return marked(growth, own, bed)

        return replace(ground, shapes_from=with_marks)

    def kept_by(self, block: Block) -> Block:
        """The block that says where mending may take nothing away, and which cuts it leaves alone."""
        import numpy as np

        from carvegen import geometry
        from carvegen.marking.marks import Meaning

        stays, out = (
            geometry.parts(
                [mark.shape for mark in self.marks if mark.meaning == meaning and mark.is_for(block=block.name)]
            )
            for meaning in (Meaning.STAYS, Meaning.COMES_OUT)
        )
        met = np.unique(block.cut_tree.query(out, predicate="intersects")[1])
        return replace(block, stays=stays, fixed=block.fixed | frozenset(map(int, met))) if self.marks else block


def read_marked(given: Mapping[str, Any], *, by: str) -> Marks:
    """The marks in the files `marks`, for the motif named `by`."""
    from carvegen import geometry
    from carvegen.marking.marks import check_agreement, on_face
    from carvegen.marking.marks_file import Names, read_marks
    from carvegen.motifs import summaries

    if not given["marks"]:
        return Marks(())
    names = Names(motifs={name: (name,) for name in summaries()}, blocks=(given["name"],))
    found, holes = list[Any](), list[Any]()
    try:
        for file in given["marks"]:
            its = read_marks(file, names, given["size"])
            options.keep_notes([f"{file}: {note}" for note in its.notes])
            found += its.marks
            holes += its.holes
        marks, outside = on_face(found, geometry.box(*given["size"]))
        openings = [options.placed(text, given) for text in given["opening"]]
        check_agreement(marks, openings=geometry.union(*openings))
    except InputError as error:
        raise error.within("--marks") from None
    options.keep_notes(outside)
    return Marks(marks, tuple(holes))
