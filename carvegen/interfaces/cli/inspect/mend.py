"""``carvegen mend``: the smallest changes to a drawing's cuts that clear the findings."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from carvegen.base.single_run import single_run
from carvegen.interfaces.cli import options

__all__ = ["command"]


@click.command(name="mend", cls=options.Command, first=("material", "cutter", "size", "view", "kinds", "out"))
@click.argument("file", type=click.Path(path_type=Path))
@options.setup
@options.face_size
@options.drawing
@options.output
@options.paths()
@options.as_json
@single_run()
def command(file: Path, out: Path, as_json: bool, **args: Any) -> int:  # noqa: ANN401
    """Mend a drawing of closed shapes, check it, and write its files into a folder.

    Cuts are shrunk, joined, filled or left out where the land or the cut would be too narrow, and no further.
    Shapes on a layer FIXED, and cut-outs, stay as they are.

    \b
    carvegen mend sky.svg --material linoleum --cutter v-60 --out sky/
    """
    from carvegen.blocks.from_drawing import drawn_block
    from carvegen.delivery.block_folder import deliver
    from carvegen.delivery.delivery_files import check_folder

    doubts, say = options.doubts(), options.teller(quiet=as_json)
    check_folder(out)
    setups = options.setups(args)
    drawn = drawn_block(file, size_mm=args["size"], view=options.view(args), units=args["units"])
    options.keep_notes([f"{file.name}: {note}" for note in drawn.notes])
    args["size"] = drawn.block.width_mm, drawn.block.height_mm
    delivery = deliver(
        [setup.on(drawn.block) for setup in setups], out, options.style(args, mend=True), say=say,
        processes=options.processes(args["jobs"]),
    )  # fmt: skip
    return options.finish(delivery, out, as_json=as_json, doubts=doubts)
