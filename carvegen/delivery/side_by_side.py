"""Steps that do not need one another, side by side in processes of their own."""

from __future__ import annotations

import errno
import math
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Collection, Sequence
from contextvars import ContextVar
from multiprocessing.connection import wait
from multiprocessing.reduction import ForkingPickler
from typing import TYPE_CHECKING, Any, Literal, cast

import shapely
from shapely.geometry.base import BaseGeometry

from carvegen.base.errors import CarvegenError
from carvegen.base.progress import AGAIN_S, SOON_S, Stages, TimeLeft, all_reached, each_stretch, heard
from carvegen.base.words import lasted
from carvegen.prints.tasks import Later, ready_task

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.process import BaseProcess

    from carvegen.prints.tasks import Tasks

__all__ = ["Say", "Task", "beside", "end_with_parent", "side_by_side", "usual_jobs"]

Say = Callable[[str], None]  #: is told of each stage
Task = Callable[[Say], Any]

_INSIDE: ContextVar[bool] = ContextVar("_INSIDE", default=False)  #: whether this is a task of others already

#: Of a disk that takes nothing more: to try again would fill what is left once more, and fail alike.
_DISK = frozenset({errno.ENOSPC, errno.EROFS, errno.EFBIG} | ({errno.EDQUOT} if hasattr(errno, "EDQUOT") else set()))

_SOON_S, _AGAIN_S = SOON_S, AGAIN_S

#: How a child begins: as a copy of its parent, which costs nothing, or anew where copies are not safe.
_BEGIN = "fork" if sys.platform == "linux" else "spawn"


def usual_jobs() -> int:
    """How many processes this one may run at once: the processors that it has."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def side_by_side(
    tasks: Tasks, *, jobs: int, say: Say, slight: Collection[str] = (), longest: Collection[str] = (),
    meanwhile: Callable[[], None] | None = None,
) -> dict[str, Any]:  # fmt: skip
    """What each task returns, by its name; they are begun in order, `jobs` of them at a time.

    One that needs others begins once they are done, and those after it need not wait for it.

    However it ends, no process is left; a child whose parent is killed ends by itself. What fails in a child by a fault
    of ours, or because memory ran out, is done once more in this process, where there is room and its place is told.

    Parameters
    ----------
    jobs
        1: all in this process.
    say
        Told what the tasks say and, as a `TimeLeft`, how many are done; not of tasks that are part of another.
    slight
        Names of tasks that take too little time to count.
    longest
        Names of tasks that several processes begin before all others: what is raised is the same.
    meanwhile
        Done in this process once the first tasks are at work, if they have begun as copies of it: it loads what later
        copies need.

    Raises
    ------
    CarvegenError, OSError
        Of the first task, in their order, that raises one; which one ends first makes no difference. An `OSError` is
        that of a full disk.
    """
    daemon = multiprocessing.current_process().daemon  # it may have no children
    alone = min(jobs, len(tasks)) < 2 or daemon
    clock = _Clock(tasks.keys() - set(slight), 1 if alone else jobs, say)
    crew = _Crew(tasks, jobs, clock, say, longest)
    if not alone:
        crew.work(meanwhile if _BEGIN == "fork" else None)
    done = crew.done
    for (name, task), stretch in zip(tasks.items(), each_stretch([1.0] * len(tasks)), strict=True):
        if name in crew.errors:
            raise crew.errors[name]
        if name not in done:
            clock.begin(name)
            with stretch:
                done[name] = _inside(ready_task(task, done), say)
            clock.end(name)
    return {name: done[name] for name in tasks}


def beside(task: Task, meanwhile: Callable[[], None], *, jobs: int, say: Say) -> Any:  # noqa: ANN401
    """What a task returns, which works in a child while this process does something else, if it has begun as a copy.

    What fails in the child by a fault of ours is done once more in this process, as `side_by_side` has it.
    """
    if jobs < 2 or _BEGIN != "fork" or multiprocessing.current_process().daemon:
        meanwhile()
        return _inside(task, say)
    pipe, child = _begun(task)
    try:
        meanwhile()
        what, value = _heard(pipe)
        while what == "says":
            say(value)
            what, value = _heard(pipe)
    finally:
        _end(pipe, child)
    if what == "fails" and value is None:
        return _inside(task, say)
    if what == "fails":
        raise value
    return value


class _Crew:
    """Children at work on tasks: what waits, what each has returned, what failed."""

    def __init__(self, tasks: Tasks, jobs: int, clock: _Clock, say: Say, longest: Collection[str]) -> None:
        self._tasks, self._jobs, self._clock, self._say = tasks, jobs, clock, say
        self._order = list(tasks)
        self._waiting = sorted(tasks, key=lambda name: name not in longest)
        self._running: dict[Any, tuple[str, BaseProcess]] = {}
        self.done: dict[str, Any] = {}
        self.errors: dict[str, Exception] = {}

    def work(self, meanwhile: Callable[[], None] | None) -> None:
        """Do what can be done in children, and leave none; what needs a task that is not done stays undone."""
        try:
            if self._begin() and meanwhile is not None:
                meanwhile()
            while self._begin() or self._running:
                heard: list[Any] = wait(list(self._running), timeout=_AGAIN_S)
                if heard:
                    self._hear(heard[0])
                else:
                    self._clock.tell()
        finally:
            for pipe, (_, child) in self._running.items():
                _end(pipe, child)

    def _begin(self) -> bool:
        """Begin what is ready, as far as there is room; whether anything was."""
        begun = False
        while len(self._running) < self._jobs and (name := self._ready()):
            self._waiting.remove(name)
            try:
                task = ready_task(self._tasks[name], self.done)
            except CarvegenError as error:
                self._fail(name, error)
                continue
            self._clock.begin(name)
            own, child = _begun(task)
            self._running[own] = name, child
            begun = True
        return begun

    def _ready(self) -> str:
        """The first that waits and has all that it needs; "" if there is none."""
        for name in self._waiting:
            task = self._tasks[name]
            if not isinstance(task, Later) or all(need in self.done for need in task.needs):
                return name
        return ""

    def _hear(self, pipe: Connection) -> None:
        what, value = _heard(pipe)
        if what == "says":
            self._say(value)
            return
        name, child = self._running.pop(pipe)
        _end(pipe, child)
        if what == "returns":
            self.done[name] = value
            if not self.errors:
                all_reached(len(self.done) / len(self._tasks))
                self._clock.end(name)
        elif value is not None:
            self._fail(name, value)

    def _fail(self, name: str, error: Exception) -> None:
        """End what comes after a task that failed; what comes before it goes on: it may fail, too, and come first."""
        self.errors[name] = error
        self._waiting.clear()
        after = self._order[self._order.index(name) :]
        for pipe in [pipe for pipe, (other, _) in self._running.items() if other in after]:
            _, child = self._running.pop(pipe)
            _end(pipe, child)


class _Clock:
    """Tells how many tasks are done, and, once one is, how long the others may go on by how long that took."""

    def __init__(self, counted: Collection[str], jobs: int, say: Say) -> None:
        self._counted, self._jobs, self._say = counted, jobs, say
        self._first = time.monotonic()
        self._since: dict[str, float] = {}  #: of tasks at work
        self._took: list[float] = []

    def begin(self, name: str) -> None:
        if name in self._counted:
            self._since[name] = time.monotonic()

    def end(self, name: str) -> None:
        if name in self._counted:
            self._took.append(time.monotonic() - self._since.pop(name))
            self.tell()

    def tell(self) -> None:
        now, count, ready = time.monotonic(), len(self._counted), len(self._took)
        if ready >= count or now - self._first <= _SOON_S or _INSIDE.get():
            return
        if ready == 0:
            self._say(TimeLeft(f"0 of {count} parts done, {lasted(now - self._first)} so far"))
        else:
            at_work = [now - since for since in self._since.values()]
            left = _time_left(self._took, at_work, count - ready - len(at_work), self._jobs)
            self._say(TimeLeft(f"{ready} of {count} parts done, about {math.ceil(left)} s to go"))


def _time_left(took: Sequence[float], at_work: Sequence[float], waiting: int, jobs: int) -> float:
    """Seconds that tasks go on if each takes as long as those done took on average.

    One at work goes on at least as long again as it has: who has waited long is not told that it is nearly over.
    """
    usual = sum(took) / len(took)
    rest = [max(usual - so_far, so_far) for so_far in at_work]
    return max([(sum(rest) + waiting * usual) / jobs, *rest])


def _inside(task: Task, say: Say) -> Any:  # noqa: ANN401
    """What a task returns, which tells nothing of how far its own tasks are, but of its stages that take long."""
    was = _INSIDE.set(True)
    try:
        stages = Stages(say)
        with heard(stages.hear):
            return task(stages)
    finally:
        _INSIDE.reset(was)


def _begun(task: Task) -> tuple[Connection, BaseProcess]:
    _send_grids()
    context: Any = multiprocessing.get_context(_BEGIN)
    ours, theirs = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(theirs, task), daemon=True)
    child.start()
    theirs.close()
    return ours, child


def _send_grids() -> None:
    """Let shapes that are sent to another process keep the grid that GEOS joins to them, and with it the same bytes."""
    for kind in vars(shapely.geometry).values():
        if isinstance(kind, type) and issubclass(kind, BaseGeometry):
            ForkingPickler.register(kind, _sent)


def _sent(shape: BaseGeometry) -> tuple[Callable[..., BaseGeometry], tuple[object, ...]]:
    make, parts = cast("tuple[Callable[..., BaseGeometry], tuple[object, ...]]", shape.__reduce__())
    return _received, (shapely.get_precision(shape), make, *parts)


def _received(grid: float, make: Callable[..., BaseGeometry], *parts: object) -> BaseGeometry:
    """A shape as its own type makes it again (WKB has no rings), on its grid."""
    shape = make(*parts)
    # pointwise, GEOS makes a ring of an empty polygon
    mode: Literal["valid_output", "pointwise"] = "valid_output" if shape.is_empty else "pointwise"
    return shapely.set_precision(shape, grid, mode=mode) if grid else shape


def _heard(pipe: Connection) -> tuple[str, Any]:
    try:
        what, value = pipe.recv()
    except EOFError:  # it was killed
        return "fails", None
    return what, value


def _end(pipe: Connection, child: BaseProcess) -> None:
    """No more is heard of it: it has told its result, or that is no longer wanted."""
    child.kill()
    child.join()
    child.close()
    pipe.close()


def _child(pipe: Connection, task: Task) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches all; the parent ends its children
    _send_grids()
    threading.Thread(target=end_with_parent, daemon=True).start()
    try:
        result = "returns", _inside(task, lambda stage: pipe.send(("says", stage)))
    except Exception as error:  # unless it would be the same again, the parent does it once more, and tells
        full = isinstance(error, OSError) and error.errno in _DISK
        result = "fails", error if full or isinstance(error, CarvegenError) else None
    pipe.send(result)


def end_with_parent() -> None:
    """Wait for the process that began this one, and end with it; in a thread of the child."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
