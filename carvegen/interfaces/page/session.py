"""A print that is being worked on: desk, journal and files together, and what the page is told of them."""

from __future__ import annotations

import contextlib
import os
import secrets
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.findings import Finding
from carvegen.base.progress import heard
from carvegen.base.units import PAPERS
from carvegen.delivery.build_record import read_record
from carvegen.delivery.print_build import outdated
from carvegen.interfaces.page.gestures import (
    Area,
    Clear,
    ClearStrip,
    CutBy,
    Gesture,
    Mend,
    Step,
    Stroke,
    TakeMarks,
    names_shapes,
)
from carvegen.interfaces.page.packed import ShapeGroup, packed, step_for
from carvegen.interfaces.page.print_checks import built_findings, mended
from carvegen.interfaces.page.state import recut_entry, state_of
from carvegen.interfaces.page.table import own_marks
from carvegen.interfaces.page.table.desk import ChangeWriter, Desk, opened
from carvegen.interfaces.page.table.doing import (
    PlannedChange,
    clearing_planned,
    marks_planned,
    mending_planned,
    planned,
    strip_planned,
)
from carvegen.interfaces.page.table.drawn_mark import DrawnMark, place_of
from carvegen.interfaces.page.table.least_land import drawn_land_words
from carvegen.interfaces.page.table.locked import locked_shapes, recut
from carvegen.interfaces.page.table.moved_snow import moved_lines
from carvegen.interfaces.page.table.saving import Saver, done_to_files
from carvegen.interfaces.page.table.under_snow import under_snow
from carvegen.interfaces.page.wording import before_mending_words, own_fault
from carvegen.interfaces.page.work.handed_over import File, cautions, files, files_in, listed
from carvegen.interfaces.page.work.live_findings import LatestFindings, Nearby, broken_in
from carvegen.interfaces.page.work.photographs import compared, read_coloured
from carvegen.interfaces.page.work.processes import BUILT, SHEET, BackgroundWork, Pace, Reached, built, checks, sheet
from carvegen.interfaces.page.work.thumbnails import by_hand, thumbnail
from carvegen.marking.gesture_journal import GestureJournal
from carvegen.marking.journal import held
from carvegen.prints.file.print_file import read_print

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.facts.profiles import Library
    from carvegen.interfaces.page.table.desk import Outcome
    from carvegen.interfaces.page.table.locked import Locked
    from carvegen.marking.gesture_journal import Change
    from carvegen.marking.marks import Mark
    from carvegen.prints.file.print_file import Print

__all__ = ["OnlyLooksError", "Session"]

_MOST_READ = 8  #: so many photographs' marks are kept until they are taken
_STOPPED = "stopped"
_REMEMBERED = 64  #: so many answers are kept for gestures that are sent again


def _findings(message: Mapping[str, list[dict[str, Any]]]) -> dict[str, list[Finding]]:
    return {name: [Finding.from_dict(finding) for finding in lot] for name, lot in message.items()}


Note = Callable[[dict[str, str]], None]
Tell = Callable[[dict[str, Any]], None]


def _deaf(_: dict[str, Any]) -> None:
    """Hears nothing."""


class OnlyLooksError(Exception):
    """Another window or another server holds the print."""


@dataclass(frozen=True, kw_only=True)
class _Answer:
    message: dict[str, Any]
    groups: list[ShapeGroup]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Before:
    """A print before a change that has it opened again."""

    print_: Print
    locked: Locked | None  #: what of it is locked, if others come to cut it
    by_hand: bool  #: whether the change is a gesture of hers, not one taken back


class Session:
    """One print, opened in a thread of its own; `tell` hears what happens behind."""

    rest_s = 3.0  #: the whole print is checked once no gesture has come for so long

    def __init__(self, path: Path, shelf: Library, tell: Tell) -> None:
        self.path, self.shelf, self._tell = path, shelf, tell
        self._lock = threading.RLock()
        self._ready = threading.Event()
        self._fault: CarvegenError | None = None
        self._answers: dict[str, _Answer] = {}
        self._lease = held(path.parent, path.name)
        self._journal = GestureJournal(path.parent, path.name) if self._lease is not None else None
        self._saver: Saver | None = None
        self._notes_at_opening: list[str] = []  #: what came otherwise than it was done, after a kill
        self._latest = LatestFindings()
        self._nearby = Nearby(self._lock, self._latest, self._looked, partial(self._failed, "a look nearby"))
        self._checks, self._builder = BackgroundWork(), BackgroundWork()
        self._later: threading.Timer | None = None
        self._ended = False
        self._desk: Desk | None = None
        self._prints: dict[str, Any] = {}  #: what each block would print if nothing were white, once that is worked out
        self._mended = frozenset[str]()  #: the blocks that were mended for that
        self._shown = 0  #: the version of which that is, 0 if it is of none
        self._unlooked = ""  #: why the whole print could not be looked at
        self._sheets: dict[str, tuple[Mark, ...]] = {}  #: what was read of photographs last, by key
        self._recut: dict[str, Any] | None = None  #: what became of locked snow when others came to cut it
        self._moved: list[str] = []  #: which snow moved by the last change, though that was not of it, and why
        self.opening = ""  #: shapes have the same numbers as long as this is the same
        self.stage = "opening the print"
        threading.Thread(target=self._open, name="opening", daemon=True).start()

    # ── opening ──

    def _open(self, before: _Before | None = None) -> None:
        try:
            if self._journal is not None and self._journal.unwritten:
                self._notes_at_opening += done_to_files(self._journal, self.path, self.shelf)
                self._journal.written()
            self.shelf.look_again()
            with heard(self._goes_on):
                desk = opened(self.path, self.shelf, say=self._say)
            became, moves = self._became(before, desk)
            with self._lock:
                self._recut, self._moved = became, moves
                desk.version = 1 + (self._desk.version if self._desk else 0)
                self._desk, self.opening = desk, secrets.token_hex(6)
                self._prints, self._mended, self._shown = {}, frozenset(), 0
                if self._journal is not None:
                    desk.left = self._journal.left
                    self._saver = Saver(desk, self._journal, self._lock, self._saved)
            self._fault = None
        except Exception as error:  # whatever it is: the page is to say it, not to wait for ever
            self._fault = own_fault(error)
            self._tell({"kind": "stopped", "say": f"{self._fault}. {self._fault.hint}"})
        finally:
            self.stage = ""
            self._ready.set()
        self._tell({"kind": "stage", "text": "", "part": 1})
        self._tell({"kind": "shapes", "version": self._version})
        if self._fault is None:
            if self._desk is not None:
                self._take_built(self._desk)
                self._looked(self._version)
            self._check_later()

    def _became(self, before: _Before | None, desk: Desk) -> tuple[dict[str, Any] | None, list[str]]:
        """By the change before which the print was so: what became of locked snow, and which other snow moved."""
        if before is None:
            return None, []
        became = None if before.locked is None else recut_entry(recut(before.locked, locked_shapes(desk)))
        if self._desk is None or not before.by_hand:
            return became, []
        return became, moved_lines(before.print_, self._desk, desk)

    def _goes_on(self, share: float) -> None:
        """However much of a stage is done: nobody waits for it any more once the session has ended."""
        if self._ended:
            raise CarvegenError("ended while the print was opened")

    def _say(self, stage: str) -> None:
        self._goes_on(0)
        self.stage = stage
        self._tell({"kind": "stage", "text": self.stage, "part": None})

    def _saved(self, fault: str) -> None:
        if fault:
            self._tell({"kind": "stopped", "say": fault})
        else:
            self._tell({"kind": "saved", "version": self._version})

    @property
    def desk(self) -> Desk:
        """The print on the desk, once it is there.

        Raises
        ------
        CarvegenError
            If it can't be opened.
        """
        self._ready.wait()
        if self._fault is not None:
            raise self._fault
        assert self._desk is not None
        return self._desk

    @contextlib.contextmanager
    def _at_desk(self) -> Iterator[Desk]:
        """The desk, with the lock held; while the print is opened again, it is the new one that is waited for."""
        while True:
            desk = self.desk
            with self._lock:
                if self._ready.is_set() and desk is self._desk:
                    yield desk
                    return

    @property
    def only_looks(self) -> bool:
        """Whether another server holds the print."""
        return self._journal is None

    def take_hold(self) -> bool:
        """Whether this server holds the print; where it only looked, it does once the other one has let go."""
        with self._lock:
            if not self.only_looks or self._ended or not self._ready.is_set():
                return not self.only_looks
            lease = held(self.path.parent, self.path.name)
            if lease is None:
                return False
            self._lease, self._journal = lease, GestureJournal(self.path.parent, self.path.name)
            self._again()
        return True

    # ── what the page asks ──

    def state(self) -> dict[str, Any]:
        """All of the print but its shapes."""
        with self._at_desk() as desk:
            counts = {**self._counts, "opening": self.opening}
            state = state_of(desk)
            state["notes"] = [*self._notes_at_opening, *state["notes"]]
            state["recut"], state["moved"] = self._recut, self._moved
            return {
                **state,
                **counts,
                "before_mending": self._before_mending,
                "only_looks": self.only_looks,
                "stage": self.stage,
            }

    def shapes(self) -> bytes:
        """All shapes, packed."""
        with self._at_desk() as desk:
            message = self._reply(marks=self._mark_entries())
            groups = [*self._blocks(), *self._openings(), *desk.seen.groups(desk.seen.numbers())]
            return packed(message, groups, step_for(desk.size))

    def blocks(self) -> bytes:
        """What each block would print, packed."""
        with self._at_desk() as desk:
            return packed(self._reply(), self._blocks(), step_for(desk.size))

    def tries(self, key: str) -> bytes:
        """The last tries of a place that grows again, packed; `tries` tells which shapes are of which."""
        with self._at_desk() as desk:
            result, mark = desk.attempts(key), desk.mark_called(key)
        message = {
            "mark": key, "chosen": mark.attempt,
            "box": [round(float(value), 3) for value in shapely.bounds(mark.shape)],
            "tries": [
                {"attempt": attempt, "ids": [n for group in groups for n in group.ids]}
                for attempt, groups in result.items()
            ],
        }  # fmt: skip
        return packed(message, [group for groups in result.values() for group in groups], step_for(desk.size))

    def do(self, gesture_id: str, gesture: Gesture, opening: str = "") -> bytes:
        """Do a gesture, once however often it is sent; what has changed, packed.

        Parameters
        ----------
        opening
            Of the print as the page saw it, if it says: by another, numbers of shapes mean others.

        Raises
        ------
        OnlyLooksError
            If another server holds the print, or this one has let go of it.
        InputError
            If it can't be done; nothing has changed then.
        """
        with self._at_desk() as desk:
            if self._journal is None or self._saver is None or self._ended:
                raise OnlyLooksError
            if self._journal.has(gesture_id):
                answer = self._answers.get(gesture_id) or _Answer(message={**self._reply(), "reload": True}, groups=[])
            else:
                before = opening not in ("", self.opening)
                if before and names_shapes(gesture):
                    raise InputError(
                        "was in your fingers before the print was laid out again", hint="take it once more"
                    )
                answer = self._done(desk, self._journal, gesture_id, gesture)
                if before:
                    answer.message["reload"] = True
                self._answers[gesture_id] = answer
                for old in list(self._answers)[:-_REMEMBERED]:
                    del self._answers[old]
        return packed(answer.message, answer.groups, step_for(desk.size))

    def _done(self, desk: Desk, journal: GestureJournal, gesture_id: str, gesture: Gesture) -> _Answer:
        begun, notes = time.perf_counter(), tuple[str, ...]()
        if isinstance(gesture, Step):
            step = journal.next("undo" if gesture.back else "redo")
            if step is None:
                raise InputError(f"nothing to {'undo' if gesture.back else 'do again'}", where="the journal")
            change, do = step.change, step.do
            keeping = None
            note: Note = partial(journal.move, gesture_id, do)
        else:
            plan = self._planned(gesture, desk)
            change, notes, keeping = plan.change, plan.notes, plan.keeping
            note = partial(journal.add, gesture_id, change)
        saver = self._saver
        assert saver is not None
        locked = locked_shapes(desk) if isinstance(gesture, CutBy) else None
        before = _Before(
            print_=desk.print_, locked=locked, by_hand=not (isinstance(gesture, Step) and gesture.back)
        )  # fmt: skip
        put = ChangeWriter(note=lambda: note(saver.clean(change)), take_back=journal.take_back, file=saver.put)
        drawn, version = DrawnMark.of(gesture, desk), desk.version
        outcome = desk.apply(change, put, keeping)
        saver.take(change)
        if drawn is not None:
            notes = (*notes, *drawn.notes(desk, outcome.went))
        self._look_after(change, outcome, desk, version, before)
        if isinstance(gesture, Mend) and (result := self._latest.called(gesture.finding)) and result[1].at:
            self._nearby.look(desk, shapely.buffer(shapely.Point(result[1].at), 1.0))
        return self._answer(outcome, change.what, notes, time.perf_counter() - begun)

    def _look_after(self, change: Change, outcome: Outcome, desk: Desk, version: int, before: _Before) -> None:
        """Look at what a change may have broken, at once nearby and later at all; `version` is the one before it."""
        if outcome.again:
            self._again(before)
        elif outcome.where is not None:
            self._nearby.look(desk, outcome.where)
            self._check_later()
        else:
            if self._shown == version:
                self._shown = desk.version
            if change.text:
                self._check_later()
            else:
                self._latest.same(version, desk.version)
                if not self._is_done:
                    self._check_later()  # what is at work looks at the version before
            self._looked(desk.version)

    def foreseen(self, gesture: Gesture) -> dict[str, Any]:
        """What of the snow would go by a mark that is still being drawn: its rings, and how much it is, mm².

        Raises
        ------
        InputError
            If it can't be drawn so, or is no mark.
        """
        if not isinstance(gesture, (Area, Stroke)):
            raise InputError("must be a mark that is drawn", value=type(gesture).__name__)
        with self._at_desk() as desk:
            gone, less = desk.taken_by(planned(gesture, desk).change, place_of(gesture, desk))
        parts = geometry.parts(gone)
        parts = parts[shapely.area(parts) > own_marks.LEAST_MM2]
        return {
            "rings": [ring for part in parts for ring in own_marks.rings_of(part)],
            "area_mm2": round(less, 1),
        }  # fmt: skip

    def _planned(self, gesture: Gesture, desk: Desk) -> PlannedChange:
        """What a gesture would do: of its own, or with what is known here beside the desk."""
        if isinstance(gesture, (Mend, Clear, ClearStrip)):
            return self._mending(gesture, desk)
        if not isinstance(gesture, TakeMarks):
            return planned(gesture, desk)
        if gesture.sheet not in self._sheets:
            raise InputError("is no longer at hand", where="what was read of the photograph", hint="read it again")
        return marks_planned(self._sheets[gesture.sheet], desk)

    def _mending(self, gesture: Mend | Clear | ClearStrip, desk: Desk) -> PlannedChange:
        result = self._latest.called(gesture.finding)
        if result is None or result[1].at is None:
            raise InputError("there is no such place any more", where="what would break", hint="look again")
        if isinstance(gesture, Clear):
            return clearing_planned(result[0], [result[1]], gesture.meaning, desk)
        if isinstance(gesture, ClearStrip):
            block, strip = self._latest.strip(gesture.finding, desk) or (result[0], (result[1],))
            return strip_planned(block, strip, desk)
        return mending_planned(*result, desk)

    def _again(self, before: _Before | None = None) -> None:
        """Open the print again: something else grows; `before`, how it was before that, if it was open."""
        saver, self._saver = self._saver, None
        self._ready.clear()

        def run() -> None:
            if saver is not None:
                saver.close()
            self._open(before)

        threading.Thread(target=run, name="opening", daemon=True).start()

    def _answer(self, outcome: Outcome, what: str, notes: tuple[str, ...], seconds: float) -> _Answer:
        assert self._desk is not None
        new = set(outcome.new_marks)
        marks = [own_marks.mark_entry(mark, fixed=False) for mark in self._desk.marks.own if mark.key in new]
        message = self._reply(gone=outcome.delta.gone, marks=marks, gone_marks=outcome.gone_marks)
        kept = [motif.name for motif in self._desk.print_.motifs if motif.kept]
        message |= {"said": list(notes), "message": what, "kept": kept, "ms": round(1000 * seconds, 1)}
        if outcome.again:
            message["reload"] = True
        return _Answer(message=message, groups=self._desk.seen.groups(outcome.delta.new))

    def _reply(self, *, gone: Any = (), marks: Any = (), gone_marks: Any = ()) -> dict[str, Any]:  # noqa: ANN401
        return {
            "version": self._version, "gone": list(gone), "marks": list(marks),
            "gone_marks": list(gone_marks), **self._counts, "said": [], "message": "",
            "before_mending": self._before_mending,
        }  # fmt: skip

    @property
    def _before_mending(self) -> str:
        """What is said of the picture as long as blocks that the build mends are not shown as it mends them."""
        assert self._desk is not None
        if self._is_shown or not (self._mended or mended(self._desk.print_)):
            return ""
        stopped = self._unlooked == _STOPPED
        failed = bool(self._unlooked) and not stopped
        return before_mending_words(since=bool(self._mended), stopped=stopped, failed=failed)

    @property
    def _is_shown(self) -> bool:
        """Whether the picture is of the print as it is now, and mended as its build mends it."""
        assert self._desk is not None
        return self._shown == self._version and self._mended == mended(self._desk.print_)

    @property
    def _is_done(self) -> bool:
        """Whether there is nothing left to look at: all of it was, and the picture shows how it comes out."""
        return self._desk is not None and self._latest.is_whole(self._version) and self._is_shown

    def _mark_entries(self) -> list[dict[str, Any]]:
        assert self._desk is not None
        marks = self._desk.marks
        return [own_marks.mark_entry(mark, fixed=not any(mark is own for own in marks.own)) for mark in marks.every]

    @property
    def _counts(self) -> dict[str, int]:
        return {
            "undo": self._journal.undo_count if self._journal else 0,
            "redo": self._journal.redo_count if self._journal else 0,
        }

    def _blocks(self) -> list[ShapeGroup]:
        """What each block would print if nothing were white, and what is white over loose bits.

        Until the inks are taken apart it is the layers of each, and no bits are known.
        """
        assert self._desk is not None
        groups = list[ShapeGroup]()
        for block in self._desk.print_.blocks:
            layers = self._desk.bare.pictures.get(block.name, shapely.Polygon())
            shape = self._prints.get(block.name, layers)
            pieces = geometry.parts(shape)
            number = self._desk.stock.taken()
            groups.append(
                ShapeGroup(
                    kind="block", name=block.name, blocks=(block.name,), ids=[number] * len(pieces), shapes=pieces
                )
            )
        return [*groups, *(self._desk.bits.groups if self._desk.bits is not None else ())]

    def _openings(self) -> list[ShapeGroup]:
        """What is cut through every block."""
        assert self._desk is not None
        openings = self._desk.bare.openings
        if len(openings) == 0:
            return []
        names = tuple(block.name for block in self._desk.print_.blocks)
        ids = [self._desk.stock.taken() for _ in openings]
        return [ShapeGroup(kind="white", name="", blocks=names, ids=ids, shapes=openings)]

    # ── behind ──

    @property
    def _version(self) -> int:
        return self._desk.version if self._desk else 0

    def _looked(self, version: int) -> None:
        self._tell({"kind": "findings", "version": version})

    def _check_later(self) -> None:
        """Check the whole print once the hand has rested; what is at work is of no use any more."""
        self._checks.stop()
        with self._lock:
            if self._ended:
                return
            if self._later is not None:
                self._later.cancel()
            self._unlooked = ""
            self._later = threading.Timer(self.rest_s, self._check)
            self._later.daemon = True
            self._later.start()

    def look(self) -> None:
        """Look at the whole print now; nothing to do if it was, or that is at work."""
        with self._lock:
            if self._is_done or self._checks.busy or self._builder.busy:
                return
            if self._later is not None:
                self._later.cancel()
            self._unlooked = ""
        self._looked(self._version)
        self._check()

    def put_off(self) -> None:
        """A mark is being drawn: a look at the whole print that is due waits until the hand has rested again."""
        with self._lock:
            if self._later is not None and self._later.is_alive() and not self._checks.busy:
                self._check_later()

    def stop_looking(self) -> None:
        """Stop a look at the whole print that is at work, until something is changed or it is asked for."""
        with self._lock:  # else a change that comes just now may be thought stopped, too
            stopped = self._checks.stop()
            if stopped:
                self._unlooked = _STOPPED
        if stopped:
            self._say_work("")
            self._looked(self._version)

    @property
    def _looks(self) -> str:
        """What is done to look at the whole print: "done", "at work", "after the files", "soon", or why it is not.

        It is "stopped" where she has stopped it.
        """
        if self._is_done:
            return "done"
        if self._unlooked:
            return self._unlooked
        return "at work" if self._checks.busy else "after the files" if self._builder.busy else "soon"

    def _check(self) -> None:
        if self._builder.busy:
            self._check_later()
            return
        try:
            with self._at_desk() as desk:
                self._unlooked, version = "", desk.version
            self._flush()  # after that: what it looks at is of this version, or of a later one, and counts no more
        except CarvegenError as error:
            self._failed("checking", error)
            return
        pace = Pace(self.path, "checking")

        def done(message: dict[str, Any]) -> None:
            pace.done()
            with self._lock:
                if self._version != version:
                    return
                if not self._latest.is_whole(version):  # what a build says of its paths, too, is more than this
                    self._latest.whole(_findings(message["found"]), version)
                self._take_shown(desk, message["shown"])
            self._say_work("")
            self._looked(version)
            self._tell({"kind": "blocks", "version": version})

        self._start(
            self._checks, checks, done=done, say=self._course("checking", pace),
            failed=lambda error: self._failed("checking", error),
        )  # fmt: skip

    def _take_shown(self, desk: Desk, shown: Mapping[str, Any]) -> None:
        """How the blocks come out is known, and shown from now on; call it with the lock held."""
        self._prints = {name: shapely.from_wkb(shape) for name, shape in shown["prints"].items()}
        self._mended, self._shown = mended(desk.print_), desk.version
        desk.bits = under_snow(desk.bare.drawing.layers, shown["layers"], shown["over"], number=desk.stock.taken)

    def _start(self, behind: BackgroundWork, work: Any, **hears: Any) -> None:  # noqa: ANN401
        """Begin work behind the hand, unless the print was let go of: nobody would stop it any more.

        Call it without the lock: the first process comes only once its modules are read, which takes seconds.
        """
        if not self._ended:
            behind.start(work, self.path, self.shelf, **hears)
        if self._ended:  # `close` may have stopped what had not begun
            behind.stop()

    def _course(self, what: str, pace: Pace) -> Callable[[str | Reached], None]:
        """What hears the stages of work behind, and says them with the share that is done, where that is told."""
        stage, share = "it begins", -1.0

        def hear(said: str | Reached) -> None:
            nonlocal stage, share
            if isinstance(said, Reached):
                share = max(share, said)
            else:
                stage = said
            at = pace.at(stage) if share < 0 else pace.at(f"{share:.2f}", round(share, 3))
            self._say_work(f"{what}: {stage}", *at)

        return hear

    def _say_work(self, stage: str, part: float | None = None, so_far: str = "", to_go: str = "") -> None:
        self.stage = stage
        self._tell({"kind": "stage", "text": stage, "part": part, "so_far": so_far, "to_go": to_go})

    def _failed(self, what: str, error: CarvegenError | None) -> None:
        if what == "checking":
            self._unlooked = "it was stopped" if error is None else str(error)
        self._say_work("")
        say = f"{what} was stopped" if error is None else f"{error}. {error.hint}"
        self._tell({"kind": "stopped", "say": say, "version": self._version})

    def _flush(self) -> None:
        saver = self._saver  # another thread may exchange it
        if saver is not None:
            saver.flush()

    def findings(self) -> dict[str, Any]:
        """What would break, as far as it is known."""
        with self._lock:
            version = self._latest.version
            state = "whole" if self._latest.is_whole(self._version) else "near" if version else "nothing"
            entries = self._latest.entries(self._desk) if self._desk else []
            words = self._before_mending if self._desk else ""
            return {
                "version": version, "looked_at": state, "looks": self._looks, "list": entries, "before_mending": words,
            }  # fmt: skip

    def build(self) -> None:
        """Begin a build of the print as it is.

        Raises
        ------
        OnlyLooksError
            If another server holds the print.
        """
        version = self.desk.version

        def event(message: dict[str, Any]) -> dict[str, Any]:
            result, shown = _findings(message["found"]), message["shown"]
            with self._lock:
                left, same = self._desk.left if self._desk else frozenset[str](), self._version == version
                if same:
                    self._latest.whole(result, version)
                if same and shown and self._desk is not None:
                    self._take_shown(self._desk, shown)
            if same and shown:
                self._tell({"kind": "blocks", "version": version})
            return {"kind": "built", "breaks": broken_in(result, left), "notes": message["notes"]}

        self._make("building", built, event)

    def draw_sheet(self, paper: object) -> None:
        """Begin the sheet that is marked with coloured pencils.

        Raises
        ------
        OnlyLooksError
            If another server holds the print.
        InputError
            If there is no such paper, or a build is at work.
        """
        if not isinstance(paper, str) or paper not in PAPERS:
            raise InputError("must be a paper", value=paper, field="paper", hint=f"one of: {', '.join(PAPERS)}")
        if self._builder.busy:
            raise InputError("the files are being made", hint="wait until they are there, or stop that")
        self._make("drawing the sheet", partial(sheet, paper=paper), lambda message: {"kind": "sheet", **message})

    def sheet(self) -> Path | None:
        """The sheet that was drawn last; None if none was."""
        path = self.path.parent / SHEET
        return path if path.is_file() else None

    def _make(self, what: str, work: Any, event: Callable[[dict[str, Any]], dict[str, Any]]) -> None:  # noqa: ANN401
        """Have files made of the print as it is, in a process of their own."""
        version = self.desk.version
        if self._journal is None:
            raise OnlyLooksError
        self._checks.stop()
        self._flush()
        pace = Pace(self.path, what)

        def done(message: dict[str, Any]) -> None:
            pace.done()
            self._say_work("")
            self._tell({**event(message), "version": version})
            self._looked(version)  # counted once the build is over, and said so
            self._look_on()

        def failed(error: CarvegenError | None) -> None:
            self._failed(what, error)
            self._look_on()

        self._start(self._builder, work, done=done, failed=failed, say=self._course(what, pace))

    def _look_on(self) -> None:
        """Check the whole print if making files has broken that off."""
        with self._lock:
            done = self._is_done
        if not done:
            self._check_later()

    def _take_built(self, desk: Desk) -> None:
        """What a build of the print as it is now has found is known at once."""
        out = self.path.parent / BUILT
        with contextlib.suppress(CarvegenError, OSError, ValueError, KeyError):  # then it is looked for anew
            if read_record(out).files and not any(outdated(desk.print_, out, self.shelf).values()):
                result = built_findings(desk.print_, out)
                with self._lock:
                    if self._version == desk.version:
                        self._latest.whole({name: list(findings) for name, findings in result.items()}, desk.version)

    def stop(self) -> None:
        """Stop a build that is at work."""
        if self._builder.stop():
            self._failed("building", None)
            self._look_on()

    def files(self) -> list[File]:
        """What the last build has handed over, compared with the print as its files are now."""
        path = self.desk.print_.path
        self._flush()
        return files(read_print(path, self.shelf), self.shelf)

    def handed_over(self) -> dict[str, Any]:
        """The same for the page, with the folder's name and how many files lie in it, each counted."""
        out = self.path.parent / BUILT
        return {
            "list": listed(self.files()), "folder": f"{out.parent.name}/{out.name}", "count": files_in(out),
        }  # fmt: skip

    def cautions(self) -> dict[str, Any]:
        """What must be settled, and heeded, before machine files are used."""
        return cautions(self.desk.print_, self.desk.setups)

    def drawn_land(self, wish: CutBy) -> dict[str, Any]:
        """What becomes of what is drawn if others cut the print, before it is chosen."""
        with self._at_desk() as desk:
            return {"say": drawn_land_words(desk, wish)}

    def compared(self, picture: Path, wish: dict[str, Any], out: Path) -> dict[str, Any]:
        """A photograph of a proof or a block laid on the plan: what is said; pictures go into `out`.

        `follow` is the key by which marks can be taken that let the plan follow what is gone; "" if nothing is.
        """
        marks, message = compared(self.desk.print_, picture, wish, out)
        return {**message, "follow": self._taken_later(marks) if marks else ""}

    def read_sheet(self, pages: Sequence[Path], out: Path) -> dict[str, Any]:
        """What is understood of photographs of the coloured sheet, under a key by which it can be taken as marks."""
        marks, message = read_coloured(self.desk.print_, pages, out)
        return {**message, "sheet": self._taken_later(marks)}

    def _taken_later(self, marks: tuple[Mark, ...]) -> str:
        """The key by which marks that were read of photographs can be taken; those of the last few are kept."""
        key = secrets.token_hex(6)
        with self._lock:
            self._sheets = {**dict([*self._sheets.items()][1 - _MOST_READ :]), key: marks}
        return key

    def thumbnail(self, name: str, preset: str) -> bytes:
        """The middle of the print with a motif by another preset; a PNG."""
        return thumbnail(self._at_desk, name, preset)

    def by_hand(self, name: str, changes: Mapping[str, str]) -> bytes:
        """The same with a motif by other settings."""
        return by_hand(self._at_desk, name, changes)

    def close(self) -> None:
        """Write what is left and let go of the print; once is enough."""
        with self._lock:
            if self._ended:
                return
            self._ended = True
        self._ready.wait()
        if self._later is not None:
            self._later.cancel()
        self._checks.stop()
        self._builder.stop()
        self._nearby.close()
        if self._saver is not None:
            self._saver.close()
            if self._desk is not None:
                self._desk.copy_edited(self._saver.holds)
            self._saver = None
        self._tell = _deaf  # what still ends behind is of no window any more
        if self._journal is not None:
            self._journal.close()
        if self._lease is not None:
            with contextlib.suppress(OSError):
                os.close(self._lease)
