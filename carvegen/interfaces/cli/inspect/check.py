"""``carvegen check``: a drawing of closed shapes against material and cutter."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.interfaces.cli import options

if TYPE_CHECKING:
    from carvegen.base.findings import Report
    from carvegen.blocks.from_drawing import Drawn
    from carvegen.blocks.job import Job

__all__ = ["command"]

_NEXT = "Next: carvegen mend FILE with the same options and --out FOLDER clears what the smallest changes can clear."

_TIMES = (0.75, 0.25)  #: shares of the time, measured on 50,000 flakes: the drawing is read, and checked
_MOSTLY = 0.9  #: of a face: who cuts more away has drawn inks, as a rule; our own choice


@click.command(name="check", cls=options.Command, first=("material", "cutter", "size", "view", "picture"))
@click.argument("file", type=click.Path(path_type=Path))
@options.setup
@options.face_size
@options.drawing
@click.option(
    "-o",
    "--picture",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Draw the block with its findings ringed: a file that ends in .png or .svg.",
)
@options.as_json
def command(file: Path, picture: Path | None, as_json: bool, **args: Any) -> int:  # noqa: ANN401
    """Check a drawing of closed shapes against what material and cutter can hold.

    The layer BLOCK EDGE gives the block's face, or --size, or the page. Shapes on CUT-OUT are cut through;
    REGISTER, NOTES, FINDING and KEEP CLEAR are left out; all others are cut. Exit code 1 if a limit breaks.

    \b
    carvegen check sky/laser/block.svg --view block --material linoleum --cutter laser-fine
    """
    from carvegen.base.files import save_file
    from carvegen.base.progress import each_part
    from carvegen.blocks.from_drawing import drawn_block
    from carvegen.checks import checked

    options.check_picture(picture, file)
    kinds = options.kinds_of(args["machines"], args["folders"])
    (setup,) = options.setups({**args, "kinds": kinds}, own_kind_only=True)
    options.teller(quiet=as_json, stage="checking")
    reading, checking = each_part(_TIMES)
    with reading:
        drawn = drawn_block(file, size_mm=args["size"], view=options.view(args), units=args["units"])
    job = setup.on(drawn.block)
    with checking:
        report = checked(job)
    notes = [*drawn.notes, *_inks(file, job, args["units"])]
    if picture:
        save_file(picture, _picture(picture, drawn, report))
    if as_json:
        _say_json(job, drawn, notes, report)
    else:
        _say(job, drawn, notes, report, picture)
    return int(report.breaks > 0)


def _picture(path: Path, drawn: Drawn, report: Report) -> str | bytes:
    from carvegen.writers.block.block_drawing import proof_svg
    from carvegen.writers.block.findings_png import findings_png

    return (findings_png if path.suffix.lower() == ".png" else proof_svg)(drawn.block, report)


def _say(job: Job, drawn: Drawn, notes: list[str], report: Report, picture: Path | None) -> None:
    from carvegen.checks.mending import can_mend
    from carvegen.delivery.block_folder import question

    options.tell_notes([*options.doubts(), *notes])
    if not options.quiet():
        click.echo(options.summary(drawn.block))
    options.tell_findings(report, all_in="carvegen check --verbose, or --json")
    if can_mend(report):
        click.echo(f"\n{_NEXT}")
    if question(job):
        click.echo(f"\nASK FIRST: {question(job)}")
    if picture is not None:
        options.look_first(picture)
    elif len(report) and not options.quiet():
        click.echo("\nTo see where: the same again with --picture findings.png")


def _inks(file: Path, job: Job, units: str | None) -> list[str]:
    """A note if what is filled may be inks, not cuts: nearly all is cut, or one layer of several is asked for."""
    import shapely

    from carvegen.artwork.reading import file_and_layer
    from carvegen.blocks.from_drawing import in_several_inks

    whole, layer = file_and_layer(file)
    share = float(shapely.area(job.block.cuts).sum() / shapely.area(job.block.face))
    if not (layer or share >= _MOSTLY) or not in_several_inks(whole, units=units):
        return []
    return [
        f"what is filled is taken as cut, {share:.0%} of the face; if these are inks, this is a drawing of a print: "
        f"carvegen new FOLDER --drawing {whole if layer else 'FILE'} makes its blocks"
    ]


def _say_json(job: Job, drawn: Drawn, notes: list[str], report: Report) -> None:
    from carvegen.checks.mending import can_mend
    from carvegen.delivery.block_folder import question

    block = drawn.block
    figures = {"width_mm": block.width_mm, "height_mm": block.height_mm, **options.figures(block)}
    questions = [asked for asked in [question(job)] if asked]
    record = {
        "block": figures, "notes": [*options.doubts(), *notes], "open_questions": questions,
        "report": report.to_dict(), "next": _NEXT if can_mend(report) else "",
    }  # fmt: skip
    click.echo(json.dumps(record, indent=1))
