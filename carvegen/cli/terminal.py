"""The one border where words reach a terminal: signs that would do something there are shown as escapes."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys
from collections.abc import Iterator
from typing import TextIO

from carvegen.base.errors import InputError
from carvegen.base.words import plain

__all__ = ["OutputError", "border"]


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
        said = plain(text if isinstance(text, str) else text.decode("utf-8", "backslashreplace"))
        with self._told():
            self.stream.write(said)
        return len(text)

    def flush(self) -> None:
        with self._told():
            self.stream.flush()

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
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
