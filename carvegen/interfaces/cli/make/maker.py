"""What the commands that make a block from a motif share: their options, and the steps from these to the files."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters
from carvegen.base.single_run import single_run
from carvegen.facts.block_settings import Chance
from carvegen.interfaces.cli import options
from carvegen.interfaces.cli.options.option_values import declared

if TYPE_CHECKING:
    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.blocks.from_motif import Ground
    from carvegen.delivery.side_by_side import Say
    from carvegen.marking.block_marks import BlockMarks
    from carvegen.marking.kept_file import Surroundings
    from carvegen.motifs.growth import Growth

__all__ = ["make", "maker_options"]

_NEXT = "Next: the same command with --mend clears what the smallest changes can clear."


def maker_options(motif: str, *, presets: str, name: str) -> Callable[[Any], Any]:
    """All options of a command that makes a block of a motif; `presets` names the option for its presets."""
    every = (
        options.block_size,
        options.setup,
        options.places(motif),
        options.motif(motif, presets=presets),
        options.output,
        options.paths(),
        options.mending,
        kept_options,
        marks_option,
        options.as_json,
        *map(declared, parameters(Chance)),
        click.option("--name", default=name, show_default=True, help="The block's name, for notes and guide."),
    )

    def decorate(function: Any) -> Any:  # noqa: ANN401
        for option in reversed(every):
            function = option(function)
        return function

    return decorate


@single_run()
def make(
    by: str,
    args: Mapping[str, Any],
    *,
    stage: str,
    sources: Sequence[str] = (),
    grow: Callable[..., Block] | None = None,
) -> int:
    """Grow the motif named `by` on a block, check it, write its files; the exit code.

    Parameters
    ----------
    stage
        What is told while it grows.
    sources
        Drawings that it lies on or grows from.
    grow
        Makes the block instead of `carvegen.blocks.from_motif.grown_block`.
    """
    from carvegen.blocks.from_motif import strictest
    from carvegen.delivery.delivery_files import check_folder
    from carvegen.delivery.side_by_side import beside

    doubts, say, jobs = options.doubts(), options.teller(quiet=args["as_json"]), options.processes(args["jobs"])
    check_folder(args["out"])
    settings = options.motif_settings(by, args)
    setups = options.setups(args)
    limits = strictest(setup.limits for setup in setups)
    ground = options.ground(args["name"], args, sources=sources)
    marks = read_marked(args, by=by)
    ground = with_kept(ground, settings, limits, args, by=by)
    ground = marks.on(ground, settings, limits, motif=by, seed=args["seed"])
    growing = partial(_grown, ground, settings, limits, args, by=by, stage=stage, grow=grow)
    loading = partial(_load_writers, [setup.machine.kind for setup in setups])
    here = ground.shapes_from is not None  # a file is read or written, and its notes are told
    block, remarks = beside(growing, loading, jobs=1 if here else jobs, say=say)
    options.keep_notes(remarks)
    from carvegen.delivery.block_folder import deliver

    jobs_of_it = [setup.on(marks.kept_by(block)) for setup in setups]
    delivery = deliver(jobs_of_it, args["out"], options.style(args), say=say, processes=jobs)
    remedy = "" if args["mend"] else _NEXT
    return options.finish(delivery, args["out"], as_json=args["as_json"], doubts=doubts, remedy=remedy)


def _grown(
    ground: Ground, settings: Any, limits: Limits, args: Mapping[str, Any], say: Say, *, by: str, stage: str,  # noqa: ANN401
    grow: Callable[..., Block] | None,
) -> tuple[Block, list[str]]:  # fmt: skip
    """The block with its motif, and what is to be told of it."""
    from carvegen.base.streams import stream
    from carvegen.blocks.from_motif import grown_block

    say(stage)
    rng, remarks = stream(args["seed"], args["name"], by), list[str]()
    if grow is not None:
        return grow(ground, settings, limits, rng, by=by), remarks
    return grown_block(ground, settings, limits, rng, by=by, say=remarks.append), remarks


def _load_writers(kinds: Sequence[str]) -> None:
    from carvegen.delivery.block_folder import load_writers  # which by itself takes as long as what it loads

    load_writers(kinds)


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


def with_kept(ground: Ground, settings: Any, limits: Limits, args: Mapping[str, Any], *, by: str) -> Ground:  # noqa: ANN401
    """The ground with its motif taken from the file `kept`, or kept in the file `keep`, if either is named."""
    if args["keep"] and args["kept"]:
        raise InputError("can't be given together", where="--keep, --kept", hint="leave one of them out")
    if args["kept"]:
        return replace(ground, shapes_from=_taken(ground, settings, limits, args["kept"], by))
    if not args["keep"]:
        return ground
    if args["keep"].exists():
        raise InputError("is there already", value=str(args["keep"]), where="--keep", hint="name another file")
    return replace(ground, shapes_from=_saved(ground, settings, args, by))


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
    ground: Ground, settings: Any, args: Mapping[str, Any], by: str,  # noqa: ANN401
) -> Callable[[Callable[[], Growth]], Growth]:  # fmt: skip
    from carvegen.base.files import save_file
    from carvegen.marking.kept_file import MotifOrigin, kept_text

    def saved(grow: Callable[[], Growth]) -> Growth:
        growth = grow()
        memory = MotifOrigin(
            motif=by, settings={"seed": args["seed"], **asdict(settings)}, surroundings=_surroundings(ground),
        )  # fmt: skip
        size = (ground.width_mm, ground.height_mm)
        save_file(args["keep"], kept_text(growth, memory, size, title=f"{ground.name}: {by}"))
        return growth

    return saved


def _surroundings(ground: Ground) -> Surroundings:
    import numpy as np
    import shapely

    from carvegen.marking.kept_file import Surroundings

    clear = shapely.union_all(np.concatenate([ground.keep_clear, ground.openings]))
    return Surroundings.of(bears=shapely.union_all(ground.grow_from), clear=clear)


#: Drawings of marks: passes `marks`.
marks_option = click.option(
    "--marks", multiple=True, type=click.Path(path_type=Path), metavar="FILE",
    help="What is marked by hand: an SVG as large as the block, its groups named comes out, stays, carver decides, "
    "more, less, grow again, or open air and only drawn for holes; may be given more than once.",
)  # fmt: skip


def read_marked(args: Mapping[str, Any], *, by: str) -> BlockMarks:
    """The marks in the files `marks`, for the motif named `by`."""
    from carvegen.marking.block_marks import BlockMarks

    if not args["marks"]:
        return BlockMarks()
    from carvegen import geometry
    from carvegen.marking.marks import check_agreement, on_face
    from carvegen.marking.marks_file import Names, read_marks
    from carvegen.motifs import summaries

    names = Names(motifs={name: (name,) for name in summaries()}, blocks=(args["name"],))
    drawn, holes = list[Any](), list[Any]()
    try:
        for path in args["marks"]:
            file = read_marks(path, names, args["size"])
            options.keep_notes([f"{path}: {note}" for note in file.notes])
            drawn += file.marks
            holes += file.holes
        on_block, outside = on_face(drawn, geometry.box(*args["size"]))
        openings = [options.placed(text, args) for text in args["opening"]]
        check_agreement(on_block, openings=geometry.union(*openings))
    except InputError as error:
        raise error.within("--marks") from None
    options.keep_notes(outside)
    marks = BlockMarks(marks=on_block, holes=tuple(holes))
    if args["prints"] and marks.of(by, args["name"]):
        raise InputError("can't be used with --prints", where="--marks", hint="leave one of them out")
    return marks
