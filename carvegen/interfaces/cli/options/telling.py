"""How much is told while a command works: stages, notes, warnings, on the error stream; the result is the output.

Quiet, nothing is told but errors, warnings and what must be decided; the result then is only what breaks a limit.
With JSON the notes and warnings stand in it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import click

from carvegen.base.progress import Stages, heard
from carvegen.base.words import lasted, shortened
from carvegen.interfaces.cli.options import option_values

__all__ = ["as_json", "doubts", "keep_notes", "kept_notes", "look_first", "quiet", "tell_notes", "teller", "verbose"]

_NOTES = "carvegen.notes"  #: where a command keeps the notes of the drawings that it reads
_WARNING = "WARNING"
_LONG_S = 60.0
_LONGEST = 1000  #: letters of a note, in which names of others may stand


def _kept(ctx: click.Context, param: click.Parameter, value: object) -> object:
    """Keep how much is told where `teller` finds it."""
    ctx.meta[f"carvegen.{param.name}"] = value
    return value


def _flag(*names: str, about: str) -> option_values.Option:
    return click.option(*names, is_flag=True, expose_value=False, callback=_kept, help=about)


#: ``--json``: passes `as_json`; ``--quiet`` and ``--verbose`` are looked at here alone.
as_json = option_values.joined(
    click.option("--json", "as_json", is_flag=True, help="Write JSON instead of text."),
    _flag("--quiet", "-q", about="Show only errors, warnings, open questions and what breaks a limit."),
    _flag("--verbose", "-v", about="Show when each stage began, and every finding by the name of its check."),
)


def quiet() -> bool:
    """Whether only what needs a hand is told."""
    return bool(click.get_current_context().meta.get("carvegen.quiet"))


def verbose() -> bool:
    """Whether findings are told by the names of their checks, with every measure and limit."""
    return bool(click.get_current_context().meta.get("carvegen.verbose"))


def teller(*, quiet: bool, stage: str = "") -> Callable[[str], None]:
    """What tells of each stage, on the error stream so that output stays clean; of a long one how far it is, too.

    Parameters
    ----------
    stage
        What begins at once; it is named only if it takes long.
    """
    context = click.get_current_context()
    if quiet or context.meta.get("carvegen.quiet"):
        return lambda _: None
    stages = Stages(_Timed(always=verbose()))
    stages.begin(stage)
    context.with_resource(heard(stages.hear))
    return stages


class _Timed:
    """Tells of each stage as it begins; once a command has taken a minute, how long it has, or always."""

    def __init__(self, *, always: bool) -> None:
        self.began, self.always = time.monotonic(), always

    def __call__(self, stage: str) -> None:
        passed = time.monotonic() - self.began
        if self.always:
            stage = f"{passed:6.1f} s  {stage}"
        elif passed >= _LONG_S:
            stage = f"{stage}: {lasted(passed)} so far"
        click.echo(f"… {stage}", err=True)


def tell_notes(notes: Iterable[str]) -> None:
    """Tell notes on the error stream; quiet, only those that are warnings; with JSON, none: they stand in it."""
    if click.get_current_context().params.get("as_json"):
        return
    for note in (shortened(note, _LONGEST) for note in notes):
        if _WARNING in note:
            click.echo(note, err=True)
        elif not quiet():
            click.echo(f"note: {note}", err=True)


def look_first(picture: Path) -> None:
    """End by naming the picture that shows the result; not when quiet, or with JSON."""
    if not quiet() and not click.get_current_context().params.get("as_json"):
        click.echo(f"\nLook first: {picture}")


def keep_notes(notes: Sequence[str], *, mark: str = "") -> None:
    """Tell what was understood of a drawing, and keep it for the note, the summary and JSON."""
    marked = [shortened(f"{mark}: {note}" if mark else note, _LONGEST) for note in notes]
    click.get_current_context().meta.setdefault(_NOTES, []).extend(marked)
    tell_notes(marked)


def kept_notes() -> tuple[str, ...]:
    """The notes so far."""
    return tuple(click.get_current_context().meta.get(_NOTES, ()))


def doubts() -> list[str]:
    """What is doubted of the options, told once; for JSON."""
    result = option_values.doubts()
    tell_notes(result)
    return result
