"""``--keep`` and ``--kept`` of the commands that make a block from a motif."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.cli import options

if TYPE_CHECKING:
    from carvegen.base.limits import Limits
    from carvegen.blocks.from_motif import Ground
    from carvegen.marking.kept_file import Surroundings
    from carvegen.motifs.growth import Growth

__all__ = ["kept_options", "with_kept"]

#: Where what has grown is kept: passes `keep` and `kept`.
kept_options = options.joined(
    click.option(
        "--keep", type=click.Path(path_type=Path), metavar="FILE",
        help="Keep what has grown in a new SVG, one path a shape, to edit in any drawing program.",
    ),
    click.option(
        "--kept", type=click.Path(path_type=Path), metavar="FILE",
        help="Take the motif as this file keeps it, edited or not, instead of growing it.",
    ),
)  # fmt: skip


def with_kept(ground: Ground, settings: Any, limits: Limits, given: Mapping[str, Any], *, by: str) -> Ground:  # noqa: ANN401
    """The ground with its motif taken from the file `kept`, or kept in the file `keep`, if either is named."""
    if given["keep"] and given["kept"]:
        raise InputError("can't be given together", where="--keep, --kept", hint="leave one of them out")
    if given["kept"]:
        return replace(ground, shapes_from=_taken(ground, settings, limits, given["kept"], by))
    if not given["keep"]:
        return ground
    if given["keep"].exists():
        raise InputError("is there already", value=str(given["keep"]), where="--keep", hint="name another file")
    return replace(ground, shapes_from=_saved(ground, settings, given, by))


def _taken(
    ground: Ground, settings: Any, limits: Limits, file: Path, by: str,  # noqa: ANN401
) -> Callable[[Callable[[], Growth]], Growth]:  # fmt: skip
    from carvegen.blocks.from_motif import place_on
    from carvegen.marking.adapting import adapted
    from carvegen.marking.kept_file import read_kept

    try:
        kept = read_kept(file, motif=by, size=(ground.width_mm, ground.height_mm))
    except InputError as error:
        raise error.within("--kept") from None

    def taken(grow: Callable[[], Growth]) -> Growth:
        done = adapted(
            kept, _surroundings(ground), limits, room=lambda: place_on(ground, settings, limits).area,
            again=grow if by == "snowload" else None,
        )  # fmt: skip
        options.keep_notes([*(f"{file}: {note}" for note in kept.notes), *done.lines(str(file))])
        return done.growth

    return taken


def _saved(
    ground: Ground, settings: Any, given: Mapping[str, Any], by: str,  # noqa: ANN401
) -> Callable[[Callable[[], Growth]], Growth]:  # fmt: skip
    from carvegen.base.files import save_file
    from carvegen.marking.kept_file import Memory, kept_text

    def saved(grow: Callable[[], Growth]) -> Growth:
        growth = grow()
        memory = Memory(
            motif=by, settings={"seed": given["seed"], **asdict(settings)}, surroundings=_surroundings(ground),
        )  # fmt: skip
        size = (ground.width_mm, ground.height_mm)
        save_file(given["keep"], kept_text(growth, memory, size, title=f"{ground.name}: {by}"))
        return growth

    return saved


def _surroundings(ground: Ground) -> Surroundings:
    import numpy as np
    import shapely

    from carvegen.marking.kept_file import Surroundings

    clear = shapely.union_all(np.concatenate([ground.keep_clear, ground.openings]))
    return Surroundings.of(bears=shapely.union_all(ground.grow_from), clear=clear)
