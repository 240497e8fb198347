"""The command line: parse, call the library, print. The only exit, and the only border of words to a terminal."""

from __future__ import annotations

import contextlib
import errno
import importlib
import io
import json
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, TextIO

import click

from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.words import plain, shortened

__all__ = ["command_of", "main"]


class OutputError(InputError):
    """The output can't be written: it is full, or nobody reads it any more."""

    def __init__(self, error: OSError) -> None:
        super().__init__(
            f"can't be written ({error.strerror or type(error).__name__})", where="the output",
            hint="free some space, or send it elsewhere; the files of the run are whole",
        )  # fmt: skip
        self.left = error.errno == errno.EPIPE  #: whoever read it has gone: nothing is to be said

    def __reduce__(self) -> tuple[object, ...]:
        return (OutputError, (OSError(),))


class _Clean(io.TextIOBase):
    """A stream that hands on plain words to another."""

    def __init__(self, stream: TextIO, *, needed: bool) -> None:
        self.stream, self.needed = stream, needed
        self.lost: OutputError | None = None  #: why nothing goes through any more
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a name in no known alphabet is shown all the same

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self.stream.encoding

    @property
    def errors(self) -> str | None:  # type: ignore[override]
        return self.stream.errors

    def isatty(self) -> bool:
        return self.stream.isatty()

    def fileno(self) -> int:
        return self.stream.fileno()

    def writable(self) -> bool:
        return True

    def write(self, text: str | bytes) -> int:
        # click completes words in a shell by bytes
        clean = plain(text if isinstance(text, str) else text.decode("utf-8", "backslashreplace"))
        with self._noting_loss():
            self.stream.write(clean)
        return len(text)

    def flush(self) -> None:
        with self._noting_loss():
            self.stream.flush()

    @contextlib.contextmanager
    def _noting_loss(self) -> Iterator[None]:
        try:
            yield
        except (OSError, ValueError) as error:  # ValueError: it is closed
            _emptied(self.stream)
            self.lost = OutputError(error if isinstance(error, OSError) else OSError())
        if self.lost is not None and self.needed:
            raise self.lost


def _emptied(stream: TextIO) -> None:
    """Lead what is left in a stream that can't be written nowhere, so that it is no fault at the end again."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


@contextlib.contextmanager
def border() -> Iterator[None]:
    """While it lasts all that is said, by whomever, passes here.

    Raises
    ------
    OutputError
        If the output can't be written; words on the error stream that can't be are lost.
    """
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (
        stream if stream is None else _Clean(stream, needed=stream is before[0]) for stream in before
    )
    try:
        yield
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:
                stream.flush()
    finally:
        sys.stdout, sys.stderr = before


#: Commands by room and name, with the line that ``--help`` shows; their modules are imported only when they run. Rooms
#: and their commands stand in the order of the job.
_ROOMS = {
    "make": {
        "snowfall": "Fill a block with falling snow, check it, write its files.",
        "snowload": "Lay snow on trees, roofs and posts, take it out of a block, check it, write its files.",
        "frost": "Let frost grow on a block from its edge or from outlines, check it, write its files.",
        "grain": "Fill a block or its boards with wood grain, check it, write its files.",
        "motifs": "List what can be grown: motifs, their presets and settings.",
    },
    "whole_print": {
        "new": "Write a sample print into a new folder: a print file to start from, and its drawing.",
        "build": "Build a whole print from its file: every block in register, proofs, one report.",
        "mark": "Open a print in the browser: look, mark, touch flakes, get the files.",
        "sheet": "Print a sheet to mark with coloured pencils; read marks from a photograph of it.",
        "keep": "Keep what has grown in files beside the print, to edit by hand; or let it grow again.",
        "undo": "Put back a print file and its kept files as they were before the last change.",
    },
    "inspect": {
        "read": "Show what is understood of a drawing or a scan; write it as clean outlines.",
        "check": "Check a drawing of closed shapes against material and cutter.",
        "mend": "Mend a drawing of closed shapes: the smallest changes that clear the findings.",
        "compare": "Say what differs between two builds, two blocks, or a block and a scan of it.",
    },
    "setup": {
        "tryout": "Check that all of carvegen works here, and write a small sample to look at.",
        "profiles": "List, show and check the materials, cutters and machines.",
        "strip": "Write a test strip: cut it, measure it, and keep what you measured as profiles of your own.",
        "completion": "Print what makes a shell complete commands and options.",
    },
}
_HEADINGS = {
    "make": "Make one block",
    "whole_print": "A whole print",
    "inspect": "Look at a drawing, a scan or a block",
    "setup": "Set up and learn",
}
_COMMANDS = {name: line for lines in _ROOMS.values() for name, line in lines.items()}


def command_of(name: str) -> click.Command:
    """The command of that name, imported now."""
    room = next(room for room, lines in _ROOMS.items() if name in lines)
    command: click.Command = importlib.import_module(f"carvegen.interfaces.cli.{room}.{name}").command
    return command


class _LateGroup(click.Group):
    """A group that imports a command's module only to run it or to show its own help."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        return command_of(cmd_name)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in _COMMANDS and name.isalpha():
            from carvegen.base.words import nearest

            ctx.fail(f"There is no command {name!r}: {nearest(name, _COMMANDS)}.")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for room, lines in _ROOMS.items():
            with formatter.section(_HEADINGS[room]):
                formatter.write_dl(list(lines.items()))


@click.group(cls=_LateGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="carvegen")
def _group() -> None:
    """Snow for relief prints: made, checked, and written for laser, router and hand.

    Exit codes: 0 all holds; 1 findings that break a limit; 2 something given can't be used; 3 refused for
    safety; 4 a fault of carvegen itself; 130 stopped.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; every error becomes its text and its exit code here."""
    typed = list(sys.argv[1:] if arguments is None else arguments)
    try:
        with border():
            code = _run(typed)
    except OutputError as error:
        if not error.left:
            with border():
                _show_error(error, as_json=False)
        code = error.exit_code
    sys.exit(code)


def _run(typed: Sequence[str]) -> int:
    try:
        code = _group.main(list(typed), prog_name="carvegen", standalone_mode=False)
    except OutputError:
        raise
    except BaseException as error:  # whatever it is: nobody is to meet a traceback
        return _show_error(error, as_json="--json" in typed)
    return code if isinstance(code, int) else 0


def _show_error(error: BaseException, *, as_json: bool) -> int:
    """Say what went wrong on the error stream and, where JSON is wanted, as an object on the output."""
    words = _in_words(error)
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        error.show()
    elif isinstance(error, click.ClickException):
        if len(error.message) > _LONGEST:
            error.message = shortened(error.message, _LONGEST)  # type: ignore[misc]
        error.show()
    else:
        click.echo(f"carvegen: {words['message']}", err=True)
        if words["hint"]:
            click.echo(f"  what to do: {shortened(words['hint'], _LONGEST_HINT)}", err=True)
    if as_json:
        click.echo(json.dumps({"error": words}, indent=1))
    return int(words["exit_code"])


def _in_words(error: BaseException) -> dict[str, Any]:
    """The message, what to do, and the exit code."""
    if isinstance(error, CarvegenError):
        from carvegen.interfaces.cli.options.option_values import option_of

        error.named(option_of)
        return {"message": str(error), "hint": error.hint, "exit_code": error.exit_code}
    if isinstance(error, click.ClickException):
        return {"message": error.format_message(), "hint": "", "exit_code": 2}
    if isinstance(error, MemoryError):
        hint = "make the block smaller or the flakes larger"
        return {"message": "needs more memory than this machine has", "hint": hint, "exit_code": 2}
    if isinstance(error, click.Abort) or _interrupted(error):
        return {"message": "stopped; nothing was changed", "hint": "", "exit_code": 130}
    return {"message": _fault(error), "hint": _SEND, "exit_code": _FAULT}


def _interrupted(error: BaseException | None) -> bool:
    """Whether Ctrl-C is behind an error: Python wraps it where it comes while a module is loaded."""
    while error is not None and not isinstance(error, KeyboardInterrupt):
        error = error.__cause__
    return error is not None


_LONGEST = 600  #: letters of a message of click's, which repeats what it was given
_LONGEST_HINT = 2000  #: letters: it may list all profiles, or the layers of a drawing
_FAULT = 4
_SEND = "send us the line above, the command, and the files that it reads; nothing was changed"


def _fault(error: BaseException) -> str:
    """A fault of ours in one line: what, in which version, and where, the innermost place first."""
    import platform
    import traceback
    from importlib import metadata

    home = Path(__file__).parents[2]
    frames = [frame for frame in traceback.extract_tb(error.__traceback__) if Path(frame.filename).is_relative_to(home)]
    places = [f"{Path(frame.filename).relative_to(home).as_posix()}:{frame.lineno}" for frame in reversed(frames)]
    what = shortened(f"{type(error).__name__}: {error}")
    versions = f"carvegen {metadata.version('carvegen')}, Python {platform.python_version()}, {platform.system()}"
    return f"a fault of its own, not yours: {what} ({versions}; at {', '.join(places[:_PLACES])})"


_PLACES = 8
