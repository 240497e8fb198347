"""Options for the files that are written and what a machine follows, and what is said once they are there."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters
from carvegen.facts.block_settings import Mending
from carvegen.interfaces.cli.options import telling
from carvegen.interfaces.cli.options.block_shapes import placed
from carvegen.interfaces.cli.options.option_values import OneOf, Option, declared, joined, option_of, under
from carvegen.interfaces.cli.options.setup import library
from carvegen.toolpaths import settings

if TYPE_CHECKING:
    from carvegen.base.findings import Report
    from carvegen.base.previous_run import Earlier
    from carvegen.blocks.block import Block
    from carvegen.delivery.block_folder import Delivery, Style

__all__ = [
    "figures", "finish", "jobs", "mending", "output", "path_settings", "paths", "plain_output", "processes", "style",
    "summary", "tell_earlier", "tell_findings",
]  # fmt: skip

#: Settings that mean nothing where no paths are made.
_ONLY_PATHS = ("program", "also_cutters", "no_go", "simulated", "cut_edge")


def paths() -> Option:
    """Options for every choice about toolpaths."""
    kinds = (settings.PathsWanted, settings.PathSettings, settings.PathsByName)
    return under("What a machine follows", *(declared(setting) for kind in kinds for setting in parameters(kind)))


def path_settings(args: Mapping[str, Any]) -> settings.PathSettings | None:
    """What is chosen about toolpaths; None where none are wanted.

    `args` holds the block's `size` too, for shapes that are placed on it.
    """
    from dataclasses import fields

    from carvegen import geometry

    if not args["paths"]:
        for name in _ONLY_PATHS:
            if args[name]:
                raise InputError(
                    "asks for what the paths bring, and none are wanted",
                    where=f"{option_of(name)} with --no-paths", hint="leave one of the two out",
                )  # fmt: skip
        return None
    shelf = library(args["folders"])
    plain = {spec.name: args[spec.name] for spec in fields(settings.PathSettings)}
    plain["also_cutters"] = tuple(shelf.cutter(name) for name in args["also_cutters"])
    plain["no_go"] = geometry.stack(placed(text, args) for text in args["no_go"])
    return settings.PathSettings(**plain)


_PLACES = "x and y from the lower left corner of the print"
_WRITTEN = parameters(settings.FileSettings)
#: Where the files go and how they are written, where no picture of the land's width is made.
plain_output = under(
    "The files",
    click.option(
        "--out",
        required=True,
        type=click.Path(path_type=Path),
        help="Folder for the files. An earlier result in it is replaced; what you put there yourself is kept.",
    ),
    click.option(
        "--for",
        "kinds",
        multiple=True,
        type=OneOf(["laser", "router", "hand"]),
        help="Write only for this; may be given more than once.  [default: all that the material allows]",
    ),
    *(declared(setting) for setting in _WRITTEN if setting.name != "width_map"),
)

#: ``--jobs``, for commands whose work falls into parts that do not need one another.
jobs = click.option(
    "--jobs",
    type=click.IntRange(1, 64),
    metavar="N",
    help="How many processes work at once; the files are the same with any number. Default: one for each processor.",
)

#: Where the files go and how they are written.
output = under(
    "The files", plain_output, *(declared(setting) for setting in _WRITTEN if setting.name == "width_map"), jobs
)


def processes(asked: int | None) -> int:
    """How many processes may work at once."""
    from carvegen.delivery.side_by_side import usual_jobs

    return asked or usual_jobs()


#: ``--mend``, for commands that make a block.
mending = joined(*map(declared, parameters(Mending)))


def style(args: Mapping[str, Any], *, mend: bool = False) -> Style:
    """How the files are written."""
    from carvegen.delivery.block_folder import Style

    return Style(
        **{setting.name: args[setting.name] for setting in _WRITTEN},
        mend=mend or args.get("mend", False),
        paths=path_settings(args),
        notes=telling.kept_notes(),
    )


def figures(block: Block) -> dict[str, float]:
    """How much of a block is cut, for JSON."""
    return {"shapes": len(block.cuts), "cut_outs": len(block.cut_outs), "white_share": round(block.white_share, 4)}


def summary(block: Block) -> str:
    """How much of a block is cut, in a line."""
    size = f"{block.width_mm:g} × {block.height_mm:g} mm"
    return f"{len(block.cuts) + len(block.cut_outs)} shapes on {size}; {block.white_share:.1%} is white."


def tell_findings(report: Report, **more: str) -> None:
    """The findings in sentences, verbose as a table too; quiet, only those that break a limit, if any does.

    `all_in`: where all are listed, if that is not the folder that was made.
    """
    from carvegen.base.findings import Severity
    from carvegen.writers.note.findings_table import EVERY_LINE, MOST_LINES, findings_lines, findings_table

    if telling.quiet():
        report = type(report).of(finding for finding in report if finding.severity is Severity.BREAKS)
    if telling.quiet() and not len(report):
        return
    click.echo("\n".join(findings_lines(report, most=EVERY_LINE if telling.verbose() else MOST_LINES, **more)))
    if telling.verbose():
        click.echo(f"\n{findings_table(report)}")


def tell_earlier(earlier: Earlier) -> None:
    """What became of the files that an earlier run had left; quiet, only what was kept of her own."""
    for line in [*(() if telling.quiet() else earlier.lines()), *earlier.kept_lines()]:
        click.echo(line)


def _mending(delivery: Delivery) -> str:
    """What was mended, by kind, how much white it made or took, and the land that is lost."""
    from carvegen.checks.mending import mending_words

    return f"Mended: {mending_words(delivery.changes, delivery.lost, delivery.limits)} (see changes.png)."


def finish(delivery: Delivery, out: Path, *, as_json: bool, doubts: Sequence[str] = (), remedy: str = "") -> int:
    """Say what was written, what was found and what to look at first; the exit code.

    Parameters
    ----------
    doubts
        What is doubtful about the options, for JSON.
    remedy
        What to do next about findings that break a limit and that mending can clear.
    """
    from carvegen.checks.mending import can_mend

    block, code = delivery.block, int(any(report.breaks for report in delivery.reports.values()))
    mends = any(can_mend(report) for report in delivery.reports.values())
    remedy = "\n".join(filter(None, [_concerned(delivery), remedy if mends else ""]))
    if as_json:
        record = {"out": str(out), **figures(block), **delivery.to_dict(), "earlier": asdict(delivery.earlier)}
        click.echo(json.dumps({**record, "notes": [*doubts, *record["notes"]], "next": remedy}, indent=1))
        return code
    _tell_delivery(delivery)
    if remedy:
        click.echo(f"\n{remedy}")
    for question in delivery.open_questions:
        click.echo(f"\nASK FIRST: {question}")
    if not telling.quiet():
        click.echo(f"\nWritten to {out}:")
        width = max(map(len, delivery.files))
        for name, purpose in delivery.files.items():
            click.echo(f"  {name.ljust(width)}  {purpose}")
    tell_earlier(delivery.earlier)
    telling.look_first(out / ("changes.png" if delivery.changes else "proof.png"))
    return code


def _concerned(delivery: Delivery) -> str:
    """Which machines' files alone what breaks concerns, where others' hold."""
    broken = [kind for kind, report in delivery.reports.items() if report.breaks]
    sound = [kind for kind in delivery.reports if kind not in broken]
    if not broken or not sound:
        return ""
    folders = " and ".join(f"{kind}/" for kind in broken)
    return (
        f"What breaks concerns the files in {folders} alone; those in {' and '.join(f'{kind}/' for kind in sound)} "
        f"hold. To have only those that hold: {' '.join(f'--for {kind}' for kind in sound)}."
    )


def _tell_delivery(delivery: Delivery) -> None:
    quiet, block = telling.quiet(), delivery.block
    if not quiet:
        click.echo(summary(block))
    said = telling.kept_notes()  # as they were understood
    for note in (note for note in delivery.notes if note.startswith("WARNING") and note not in said):
        click.echo(note)
    if len(block.cuts) == 0:
        click.echo("NOTHING IS CUT: no shape fits or holds here. Try another preset, finer limits or other places.")
    if delivery.changes and not quiet:
        click.echo(_mending(delivery))
    for kind, report in delivery.reports.items():
        if not quiet or report.breaks:
            click.echo(f"\nFor {'cutting by hand' if kind == 'hand' else f'the {kind}'} ({_PLACES}):")
            tell_findings(report)
