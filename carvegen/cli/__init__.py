"""The command line: parse, call the library, print. The only exit."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence

import click

from carvegen.errors import CarvegenError

__all__ = ["main"]

#: Commands by name, with the line that ``--help`` shows; their modules are imported only when they run.
_COMMANDS = {
    "check": "Check a drawing of closed shapes against material and cutter.",
    "profiles": "List, show and check the materials, cutters and machines.",
    "snowfall": "Fill a block with falling snow, check it, write its files.",
}


class _LateGroup(click.Group):
    """A group that imports a command's module only to run it or to show its own help."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"carvegen.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(sorted(_COMMANDS.items()))


@click.group(cls=_LateGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="carvegen")
def _group() -> None:
    """Snow for relief prints: made, checked, and written for laser, router and hand.

    Exit codes: 0 all holds; 1 findings that break a limit; 2 something given can't be used; 3 refused for
    safety; 130 stopped.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; every error becomes its text and its exit code here."""
    try:
        code = _group.main(arguments, prog_name="carvegen", standalone_mode=False)
    except CarvegenError as error:
        code = _told(str(error), error.hint, error.exit_code)
    except click.ClickException as error:
        error.show()
        code = 2
    except (click.Abort, KeyboardInterrupt):
        code = _told("stopped; nothing was changed", "", 130)
    except MemoryError:
        code = _told("needs more memory than this machine has", "make the block smaller or the flakes larger", 2)
    sys.exit(code if isinstance(code, int) else 0)


def _told(message: str, hint: str, code: int) -> int:
    click.echo(f"carvegen: {message}", err=True)
    if hint:
        click.echo(f"  what to do: {hint}", err=True)
    return code
