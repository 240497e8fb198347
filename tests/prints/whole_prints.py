"""Prints as a build makes them, in two steps that can be looked at between: cut out, then mended."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import shapely

from carvegen.prints import bare_paper
from carvegen.prints.bare_paper import FirstMending, own_mending
from carvegen.prints.cut_blocks import Cut, Setups, cut_of, picture_of, separation_of
from carvegen.prints.file.print_file import Print
from carvegen.prints.picture import Picture
from carvegen.prints.separation import run_for
from carvegen.prints.tasks import Run, Say, in_turn


def cut_blocks(
    print_: Print, setups: Setups, *, say: Say, run: Run = in_turn
) -> tuple[Picture, dict[str, Cut]]:  # fmt: skip
    """The picture of a print, and every block taken out of it, by name, in printing order."""
    picture = picture_of(print_, setups, say=say, run=run)
    whole = separation_of(print_, setups, picture)
    done = run_for(whole.points, run)(whole.tasks, say)
    return picture, {block.name: cut_of(print_, k, setups, picture, done) for k, block in enumerate(print_.blocks)}


def first_mending(
    print_: Print, picture: Picture, cuts: Mapping[str, Cut], setups: Setups, *, say: Say, run: Run = in_turn
) -> FirstMending:
    """Each block mended by itself once all are cut, not each as soon as it is."""
    mend = [block.name for block in print_.blocks if block.mend and block.role != "emboss"]
    points = sum(int(shapely.get_num_coordinates(cut.block.cuts).sum()) for cut in cuts.values())
    done = run_for(points, run)({name: partial(own_mending, cuts[name], setups[name]) for name in mend}, say)
    inks = shapely.union_all([cut.ink for cut in cuts.values()])
    return FirstMending(mended=done, wanted=shapely.difference(inks, picture.bare))


def mended_print(
    print_: Print, picture: Picture, cuts: Mapping[str, Cut], setups: Setups, *, say: Say, run: Run = in_turn
) -> dict[str, Cut]:
    """The blocks of a print mended."""
    first = first_mending(print_, picture, cuts, setups, say=say, run=run)
    return bare_paper.mended_print(print_, picture, cuts, setups, first, say=say)
