"""``carvegen build``: a whole print from its file, every block in register; only what has changed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from carvegen.base.errors import InputError
from carvegen.base.single_run import single_run
from carvegen.interfaces.cli import options
from carvegen.interfaces.cli.options.option_values import option_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from carvegen.delivery.print_build import Built

__all__ = ["command"]

_WIDE = 12  #: letters of the longest name
#: What the folders of the whole print are for, besides those of the blocks.
_FOLDERS = {
    "register": "register.png: where register errors show; templates for boards and paper, to print at 100 %",
    "inks": "each block alone, as it prints and as it lies",
}


class _OfAFile(click.Command):
    """A command that finds in a print file what others have options for: asked for one of these, it says where."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """The arguments that are left.

        Raises
        ------
        InputError
            Where an option is a key of the print file.
        """
        try:
            return super().parse_args(ctx, args)
        except click.NoSuchOption as error:
            if hint := _key_hint(error.option_name):
                raise InputError(f"{error.option_name} is said in the print file, not here", hint=hint) from None
            raise


def _key_hint(option: str) -> str:
    """What to write in the print file in the place of an option; "" if no key is the like of it."""
    from carvegen.prints.file.keys import keys_of

    unset = option.replace("--no-", "--", 1)
    for table, heading in (("files", "[files]"), ("blocks", "[[blocks]]"), ("print", "[print]")):
        for setting in keys_of(table):
            flag, own = setting.unit == "flag", option_of(setting.name)
            if own == option or (flag and own == unset):
                value = ("true" if own == option else "false") if flag else "..."
                return f"write {setting.key} = {value} under {heading}, and build again"
    return ""


@click.command(name="build", cls=_OfAFile)
@click.argument("file", metavar="PRINT.TOML", type=click.Path(path_type=Path))
@click.option(
    "--out",
    required=True,
    type=click.Path(path_type=Path),
    help="Folder for the files. An earlier build in it is brought up to date; what you put there yourself is kept.",
)
@options.jobs
@options.profile_folders
@options.as_json
@single_run()
def command(file: Path, out: Path, jobs: int | None, folders: tuple[Path, ...], as_json: bool) -> int:
    """Build every block of a print in register, the white taken out of each, with proofs and one report.

    Built again, only what has changed is made anew. carvegen new writes a print file to start from.

    \b
    carvegen new landing
    carvegen build landing/print.toml --out landing/built
    """
    from carvegen.delivery.print_build import build_print
    from carvegen.prints.file.print_file import read_print

    shelf, say = options.library(folders), options.teller(quiet=as_json)
    built = build_print(read_print(file, shelf), out, shelf, say=say, jobs=options.processes(jobs))
    if as_json:
        _say_json(built, out)
    else:
        _say(built, out, file)
    return int(built.breaks > 0)


def _say(built: Built, out: Path, file: Path) -> None:
    from carvegen.prints.misregister.figures import register_lines
    from carvegen.writers.note.findings_table import EVERY_LINE, MOST_LINES
    from carvegen.writers.whole_print.print_report import report_lines, report_table

    options.tell_notes(built.notes)
    if options.quiet():
        _say_what_matters(built)
        return
    click.echo("\n".join([*_what_was_built(built), *_what_moved(built, file)]) + "\n")
    click.echo("\n".join(report_lines(built.report, most=EVERY_LINE if options.verbose() else MOST_LINES)))
    if mended := built.report["mended"]:
        click.echo("\n" + "\n".join(f"Mended on {name}: {words}." for name, words in mended.items()))
    if options.verbose():
        click.echo(f"\n{report_table(built.report)}")
    if built.report["register"]:
        click.echo("\n" + "\n".join(register_lines(built.report["register"])))
    click.echo(f"\nIn {out}:")
    folders = {
        f"{name}/": "the files of this block: look at the proof first, then read the note" for name in built.blocks
    }
    for name, purpose in {**_of_the_print(built.files), **folders}.items():
        click.echo(f"  {name.ljust(_WIDE)}  {purpose}")
    options.look_first(out / "print.png")


def _what_was_built(built: Built) -> list[str]:
    """What was made anew and why, the blocks of one reason together; and what is as it was."""
    reasons: dict[str, list[str]] = {}
    for name, why in (*built.blocks.items(), ("proofs", built.proofs), ("register", built.register)):
        reasons.setdefault(why, []).append(name)
    return [
        f"Made anew: {', '.join(names)} ({why})." if why else f"As before: {', '.join(names)}."
        for why, names in reasons.items()
    ]


def _what_moved(built: Built, file: Path) -> list[str]:
    """Which snow lies elsewhere though nobody asked for it, and how to keep it another time."""
    if not built.moved:
        return []
    keeps = f"To keep snow as it lies, run carvegen keep {file} before such a change."
    return [*built.moved, f"{keeps} For the snow of before: undo the change, build, keep, then change it again."]


def _of_the_print(files: Mapping[str, str]) -> dict[str, str]:
    """The files of the whole print; those that lie in a folder by the folder alone."""
    return {
        f"{folder}/" if inside else folder: _FOLDERS.get(folder, purpose) if inside else purpose
        for name, purpose in files.items()
        for folder, _, inside in [name.partition("/")]
    }


def _say_what_matters(built: Built) -> None:
    """Quiet: what the shop must be asked, and how many places break a limit."""
    for question in built.report["decide_first"]:
        click.echo(f"ASK FIRST: {question}")
    if built.breaks:
        click.echo(f"{built.breaks} places break a limit: carvegen build without --quiet lists them.")


def _say_json(built: Built, out: Path) -> None:
    record = {
        "out": str(out), "blocks": dict(built.blocks), "proofs": built.proofs,
        "register": built.register, "files": dict(built.files),
        "notes": list(built.notes), "moved": list(built.moved), "report": built.report,
    }  # fmt: skip
    click.echo(json.dumps(record, indent=1))
