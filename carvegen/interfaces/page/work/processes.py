"""Long work behind the hand, each in a process that can be stopped; and how far it has come."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import InputError
from carvegen.base.files import save_file
from carvegen.interfaces.page.wording import own_fault, so_far, to_go
from carvegen.marking.journal import FOLDER

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import ForkServerContext, SpawnContext
    from multiprocessing.process import BaseProcess

    from carvegen.base.errors import CarvegenError
    from carvegen.base.findings import Finding
    from carvegen.facts.profiles import Library
    from carvegen.interfaces.page.print_checks import TakenApart

__all__ = ["BUILT", "SHEET", "BackgroundWork", "Pace", "Reached", "built", "checks", "sheet"]

BUILT = "built"  #: the folder beside the print file into which it is built
SHEET = "marking-sheet.pdf"  #: the sheet to mark with pencils, beside the print file
_AGAIN_S = 5.0  #: after so long without a word the last one is said again, and how long it has taken
_BEHIND = 10  #: how far the work stands back where the hand, or another program, wants the processor (POSIX `nice`)
#: Modules of the work, which are slow to read.
_READ_ONCE = (
    "carvegen.interfaces.page.print_checks",
    "carvegen.delivery.print_build",
    "carvegen.prints.file.print_file",
)


class Reached(float):
    """A share of all of a piece of work that is done, 0 to 1: told between its stages, by what knows it."""


Say = Callable[[str | Reached], None]
Work = Callable[[Path, "Library", Say], Any]


def checks(path: Path, shelf: Library, say: Say) -> dict[str, Any]:
    """What would break of a print by block, and how its blocks come out, as WKB."""
    from carvegen.interfaces.page.print_checks import taken_apart
    from carvegen.prints.file.print_file import read_print

    with _shares(say):
        findings, shown = taken_apart(read_print(path, shelf), shelf, path.parent / BUILT, say=say)
    return {"found": _listed(findings), "shown": _packed(shown)}


@contextlib.contextmanager
def _shares(say: Say) -> Iterator[None]:
    """While it lasts it is told which share of all is done."""
    from carvegen.base.progress import followed

    say(Reached(0.0))
    with followed(lambda share: say(Reached(share))):
        yield


def _listed(findings: Mapping[str, Iterable[Finding]]) -> dict[str, list[dict[str, Any]]]:
    return {name: [finding.to_dict() for finding in lot] for name, lot in findings.items()}


def _packed(shown: TakenApart) -> dict[str, Any]:
    """How the blocks come out, shapes as WKB."""
    import shapely

    return {
        "prints": {name: shapely.to_wkb(shape) for name, shape in shown.prints.items()},
        "layers": [(layer.name, shapely.to_wkb(layer.shape)) for layer in shown.layers],
        "over": [(sorted(white.leaves), shapely.to_wkb(white.shapes).tolist()) for white in shown.over],
    }


def built(path: Path, shelf: Library, say: Say) -> dict[str, Any]:
    """Build a print into its folder; what would break by its report, what was noted, and how the blocks came out.

    That is None where nothing of the blocks was to be made.
    """
    from carvegen.delivery.print_build import build_print
    from carvegen.delivery.side_by_side import usual_jobs
    from carvegen.interfaces.page.print_checks import TakenApart, built_findings
    from carvegen.prints.file.print_file import read_print

    print_, out = read_print(path, shelf), path.parent / BUILT
    with _shares(say):
        done = build_print(print_, out, shelf, say=say, jobs=usual_jobs())
    shown = done.shaped and _packed(TakenApart.of(done.shaped.picture, done.shaped.cuts))
    return {"found": _listed(built_findings(print_, out)), "notes": list(done.notes), "shown": shown}


def sheet(path: Path, shelf: Library, say: Say, *, paper: str) -> dict[str, Any]:
    """Write the sheet to mark with coloured pencils; of how many pages it is."""
    from carvegen.base.files import save_file
    from carvegen.delivery.print_build import marking_sheet
    from carvegen.prints.file.print_file import read_print

    data, pages = marking_sheet(read_print(path, shelf), shelf, paper, say=say)
    save_file(path.parent / SHEET, data)
    return {"pages": pages, "paper": paper}


class BackgroundWork:
    """One piece of long work at a time; a new one stops the one before."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._child: BaseProcess | None = None
        self._beginning: object | None = None  #: stands for work whose process has not come yet

    def start(
        self, work: Work, path: Path, shelf: Library, *, say: Say, done: Callable[[Any], None],
        failed: Callable[[CarvegenError | None], None],
    ) -> None:  # fmt: skip
        """Begin; `done` hears the result, `failed` why there is none. Neither is called of work that is stopped.

        The first process comes only after seconds; who stops the work meanwhile does not wait for it.
        """
        mine = object()
        with self._lock:
            self._stop()
            self._beginning = mine
        try:
            context = _processes()
            ours, theirs = context.Pipe(duplex=False)
            child = context.Process(target=_child, args=(theirs, work, path, shelf))
            child.start()
            theirs.close()
        except BaseException:
            self._comes(mine, None)
            raise
        if self._comes(mine, child):
            threading.Thread(target=self._listen, args=(child, ours, say, done, failed), daemon=True).start()
        else:
            child.kill()
            child.join()
            ours.close()

    def _comes(self, beginning: object, child: BaseProcess | None) -> bool:
        """The process of work that was beginning is there, or none comes; whether it is still wanted."""
        with self._lock:
            wanted = self._beginning is beginning
            if wanted:
                self._beginning, self._child = None, child
            return wanted

    def stop(self) -> bool:
        """Stop what is at work; whether anything was."""
        with self._lock:
            return self._stop()

    @property
    def busy(self) -> bool:
        """Whether anything is at work, or begins."""
        return self._beginning is not None or self._child is not None

    def _stop(self) -> bool:
        child, begins = self._child, self._beginning is not None
        self._child = self._beginning = None
        if child is not None:
            with contextlib.suppress(ValueError):
                child.kill()
        return begins or child is not None

    def _listen(self, child: BaseProcess, pipe: Connection, say: Say, done: Any, failed: Any) -> None:  # noqa: ANN401
        what: str = "fails"
        value: Any = None
        with contextlib.suppress(EOFError, OSError):
            while True:
                if what != "says" or pipe.poll(_AGAIN_S):
                    what, value = pipe.recv()
                if what != "says":
                    break
                with self._lock:  # nothing is said of work once it is stopped
                    if self._child is child:
                        say(value)
        pipe.close()
        child.join()
        with self._lock:
            mine = self._child is child
            if mine:
                self._child = None
        if mine:
            (done if what == "returns" else failed)(value if what != "says" else None)


def _processes() -> SpawnContext | ForkServerContext:
    """Where new processes come from: on Linux from one that has read all the work's modules once, and no thread."""
    if sys.platform != "linux":
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(_READ_ONCE))
    return context


def _child(pipe: Connection, work: Work, path: Path, shelf: Library) -> None:
    from carvegen.base.progress import TimeLeft
    from carvegen.delivery.side_by_side import end_with_parent

    def say(stage: str | Reached) -> None:
        if not isinstance(stage, TimeLeft):  # the page tells how long it takes by `Pace`
            pipe.send(("says", stage))

    threading.Thread(target=end_with_parent, daemon=True).start()
    if hasattr(os, "nice"):
        os.nice(_BEHIND)
    try:
        answer = "returns", work(path, shelf, say)
    except Exception as error:  # whatever it is: the page is to say it
        answer = "fails", own_fault(error)
    pipe.send(answer)


class Pace:
    """The stages of a piece of work on a print, when each began, and when each did the last time."""

    def __init__(self, path: Path, what: str, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._file, self._what, self._clock = path.parent / FOLDER / f"{path.stem}.pace", what, clock
        self._begun, self._part = clock(), 0.0
        self._first: float | None = None  #: when it said something first: its process comes only after seconds
        self._stages: dict[str, float] = {}
        self._before, self._whole = _times(_read(self._file).get(what))

    def at(self, stage: str, reached: float | None = None) -> tuple[float | None, str, str]:
        """A stage begins or goes on: the part of the work that is done, the time so far, and about how long it goes on.

        The part, 0 to 1, is how far it was at that time the last time; it stops where the next stage began then.
        Where the last time is not known it is the share that the work has `reached`; None: not known either.
        """
        now = self._clock() - self._begun
        self._first = now if self._first is None else self._first
        since = self._stages.setdefault(stage, now)
        before = self._before.get(stage)
        if before is not None and self._whole:
            ended = min((at for at in self._before.values() if at > before), default=self._whole)
            self._part = max(self._part, min(1.0, min(before + now - since, ended) / self._whole))
        part = round(self._part, 3) if self._whole else reached
        return part, so_far(now, self._whole), to_go(now if self._whole else now - self._first, part)

    def done(self) -> None:
        """The work is done: the next time is told by this one."""
        took = {"stages": self._stages, "whole": self._clock() - self._begun}
        try:
            save_file(self._file, json.dumps({**_read(self._file), self._what: took}))
        except (InputError, OSError):
            return  # the next time nothing is told


def _read(file: Path) -> dict[str, object]:
    try:
        answer = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return answer if isinstance(answer, dict) else {}


def _times(answer: object) -> tuple[dict[str, float], float]:
    """When each stage began, and how long all took; nothing of what can't be understood."""
    if not isinstance(answer, dict) or not isinstance(answer.get("stages"), dict):
        return {}, 0.0
    stages = {str(stage): float(at) for stage, at in answer["stages"].items() if isinstance(at, int | float)}
    whole = answer.get("whole")
    return stages, float(whole) if isinstance(whole, int | float) else 0.0
