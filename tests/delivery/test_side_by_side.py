"""Tasks in processes of their own: what they return, what fails, and that nothing is left."""

from __future__ import annotations

import errno
import multiprocessing
import os
import re
import signal
import subprocess
import sys
import time
from functools import partial

import numpy as np
import pytest
import shapely

from carvegen.base.errors import InputError
from carvegen.base.progress import TimeLeft, followed, reached
from carvegen.delivery import side_by_side as side_by_side_module
from carvegen.delivery.side_by_side import beside, side_by_side
from carvegen.prints.tasks import Later, in_turn
from tests.cli.running import needs_fork
from tests.delivery.elsewhere import grid_of
from tests.strategies import few

TEST_PROCESS = os.getpid()


def squared(number, say):
    say(f"squaring {number}")
    return number**2


def elsewhere(say):
    return os.getpid()


def wrong(say):
    raise InputError("must be even", value=3, where="here", hint="double it")


def killed_in_a_child(say):
    if os.getpid() != TEST_PROCESS:
        os.kill(os.getpid(), signal.SIGKILL)
    return "done here"


def failing_in_a_child(say):
    if os.getpid() != TEST_PROCESS:
        raise MemoryError
    return "done here"


def on_a_full_disk(folder, say):
    (folder / f"tried by {os.getpid()}").touch()
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_full_disk_is_told_at_once(tmp_path):
    """Tried once more by the parent, a write would fill what others have freed meanwhile, and fail alike."""
    with pytest.raises(OSError, match=re.escape(os.strerror(errno.ENOSPC))):
        side_by_side({"a": partial(on_a_full_disk, tmp_path), "b": partial(squared, 2)}, jobs=2, say=print)
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize("jobs", few([1, 2, 9], 2))
def test_every_task_returns_and_tells(jobs):
    said = []
    tasks = {str(k): partial(squared, k) for k in range(5)}
    shares = list[float]()
    with followed(shares.append):
        done = side_by_side(tasks, jobs=jobs, say=said.append)
    assert list(done.items()) == [(str(k), k**2) for k in range(5)]
    assert shares == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0]), "each is told as it ends"
    assert sorted(line for line in said if "to go" not in line) == [f"squaring {k}" for k in range(5)]
    assert multiprocessing.active_children() == []


def test_several_jobs_are_several_processes():
    assert TEST_PROCESS not in side_by_side({"a": elsewhere, "b": elsewhere}, jobs=2, say=print).values()
    assert set(side_by_side({"a": elsewhere, "b": elsewhere}, jobs=1, say=print).values()) == {TEST_PROCESS}


@needs_fork
@pytest.mark.parametrize(("jobs", "times"), [(1, 0), (2, 1)])
def test_while_others_work_this_process_does_something_once(jobs, times):
    """In the process that begins them, after the first have begun; not if it does all itself."""
    done, meant = [], partial(squared, 3)
    tasks = {name: Later(needs=(), make=lambda _: done.append("begun") or meant) for name in "abc"}
    side_by_side(tasks, jobs=jobs, say=lambda _: None, meanwhile=lambda: done.append(os.getpid()))
    assert done.count(TEST_PROCESS) == times
    assert times == 0 or done.index(TEST_PROCESS) == 2


@pytest.mark.parametrize("jobs", [1, 2])
def test_what_takes_long_tells_how_far_it_is(monkeypatch, jobs):
    monkeypatch.setattr(side_by_side_module, "_SOON_S", 0.0)
    said = []
    side_by_side({str(k): partial(squared, k) for k in range(3)}, jobs=jobs, say=said.append)
    report = [line for line in said if "to go" in line]
    assert [line.partition(", about ")[0] for line in report] == ["1 of 3 parts done", "2 of 3 parts done"]
    assert all(int(line.split()[-4]) >= 1 for line in report)


@pytest.mark.parametrize("slight", [" first", "zero"])
@pytest.mark.parametrize("jobs", [1, 2])
def test_what_takes_hardly_any_time_is_no_part(monkeypatch, jobs, slight):
    monkeypatch.setattr(side_by_side_module, "_SOON_S", 0.0)
    said = []
    names = sorted([slight, "one", "two"])
    side_by_side({name: partial(squared, 1) for name in names}, jobs=jobs, say=said.append, slight=[slight])
    assert [line.partition(",")[0] for line in said if "to go" in line] == ["1 of 2 parts done"]


def nested(jobs, say):
    return side_by_side({str(k): partial(squared, k) for k in range(3)}, jobs=jobs, say=lambda each: say(f"in: {each}"))


@pytest.mark.parametrize("jobs", [1, 2])
def test_the_parts_of_a_part_tell_not_how_far_they_are(monkeypatch, jobs):
    monkeypatch.setattr(side_by_side_module, "_SOON_S", 0.0)
    said = []
    side_by_side({each: partial(nested, jobs) for each in "ab"}, jobs=jobs, say=said.append)
    report = [line for line in said if "to go" in line]
    assert [line.partition(",")[0] for line in report] == ["1 of 2 parts done"]
    assert all(isinstance(line, TimeLeft) for line in report)
    side_by_side({"a": partial(squared, 1), "b": partial(squared, 2)}, jobs=1, say=said.append)
    assert sum("to go" in line for line in said) == 2


@pytest.mark.parametrize("begin", [pytest.param("fork", marks=needs_fork), "spawn"])
def test_shapes_keep_their_grid_on_the_way_to_another_process_and_back(monkeypatch, begin):
    """Spawned, as where copies of a process are not safe."""
    monkeypatch.setattr(side_by_side_module, "_BEGIN", begin)
    drawn = shapely.set_precision(shapely.box(0.0004, 0, 2.0004, 1), 0.001)
    tasks = {"a": partial(grid_of, drawn), "b": partial(grid_of, shapely.box(0, 0, 1, 1))}
    result = side_by_side(tasks, jobs=2, say=print)
    assert TEST_PROCESS not in {process for process, _, _ in result.values()}
    assert [grid for _, grid, _ in result.values()] == [0.001, 0]
    assert [shapely.get_precision(shape) for _, _, shape in result.values()] == [0.001, 0]
    assert result["a"][2].wkb == drawn.wkb


@pytest.mark.parametrize(
    "drawn",
    [
        "POINT Z (1 2 3)", "LINESTRING (0 0, 1.0004 0)", "POLYGON EMPTY", "POLYGON ((0 0, 4 0, 4 4, 0 0))",
        "LINEARRING (0 0, 4.0004 0, 4 4, 0 0)", "LINEARRING Z (0 0 1, 4 0 2, 4 4 3, 0 0 1)", "LINEARRING EMPTY",
        "MULTIPOINT (1 2, 3 4)", "MULTILINESTRING ((0 0, 1 1), (2 2, 3 5))",
        "MULTIPOLYGON (((0 0, 4 0, 4 4, 0 0)), ((9 9, 8 8, 8 9, 9 9)))",
        "GEOMETRYCOLLECTION (POINT (1 2), LINESTRING (0 0, 1 1))",
    ],
)  # fmt: skip
def test_every_type_of_shape_arrives_as_it_was(drawn):
    each = shapely.from_wkt(drawn)
    tasks = {str(grid): partial(grid_of, shapely.set_precision(each, grid)) for grid in (0.001, 0)}
    result = side_by_side(tasks, jobs=2, say=print)
    for grid, (process, there, back) in zip((0.001, 0), result.values(), strict=True):
        assert process != TEST_PROCESS
        assert (there, shapely.get_precision(back)) == (grid, grid)
        assert type(back) is type(each)
        assert back.equals_exact(shapely.set_precision(each, grid), 0)
        heights = [shapely.get_coordinates(one, include_z=True)[:, 2] for one in (back, each)]
        assert np.array_equal(*heights, equal_nan=True)


@needs_fork
def test_an_error_comes_whole_and_ends_the_others():
    begun = time.monotonic()
    with pytest.raises(InputError, match="must be even, got 3") as raised:
        side_by_side({"a": wrong, "b": lambda say: time.sleep(60)}, jobs=2, say=print)
    assert (raised.value.where, raised.value.hint) == ("here", "double it")
    assert time.monotonic() - begun < 50
    assert multiprocessing.active_children() == []


@needs_fork
@pytest.mark.parametrize("jobs", [1, 2, 3])
def test_the_error_of_the_first_task_in_order_is_raised_whichever_fails_first(tmp_path, jobs):
    """The first fails once the second has failed; the third, which goes on, is ended, the fourth never begun."""

    def first(say):
        until = time.monotonic() + 0.4 * jobs
        while not (tmp_path / "second").exists() and time.monotonic() < until:
            time.sleep(0.01)
        time.sleep(0.3)  # the other's error is heard
        raise InputError("first")

    def second(say):
        (tmp_path / "second").touch()
        raise InputError("second")

    def fourth(say):
        (tmp_path / "fourth").touch()

    begun = time.monotonic()
    tasks = {"a": first, "b": second, "c": lambda say: time.sleep(60), "d": fourth}
    with pytest.raises(InputError, match="first"):
        side_by_side(tasks, jobs=jobs, say=print)
    assert (tmp_path / "second").exists() == (jobs > 1)
    assert not (tmp_path / "fourth").exists()
    assert time.monotonic() - begun < 30
    assert multiprocessing.active_children() == []


@needs_fork
@needs_fork
def test_what_takes_longest_begins_first_and_its_error_comes_in_its_place(tmp_path):
    def begun(name, say):
        with (tmp_path / "begun").open("a") as lines:
            lines.write(name)
        time.sleep(0.3)
        raise InputError(f"{name} failed")

    tasks = {name: partial(begun, name) for name in "abc"}
    with pytest.raises(InputError, match="a failed"):
        side_by_side(tasks, jobs=2, say=[].append, longest=["c"])
    assert sorted((tmp_path / "begun").read_text()) == ["a", "c"]


def test_an_earlier_task_that_a_child_could_not_do_is_done_here_before_a_later_error_is_raised():
    def late(say):
        if os.getpid() != TEST_PROCESS:
            raise MemoryError
        raise InputError("early in order")

    with pytest.raises(InputError, match="early in order"):
        side_by_side({"a": late, "b": wrong}, jobs=2, say=print)


@needs_fork
@pytest.mark.parametrize("task", [killed_in_a_child, failing_in_a_child])
def test_what_a_child_could_not_do_is_done_here(task):
    assert side_by_side({"a": task, "b": partial(squared, 3)}, jobs=2, say=print) == {"a": "done here", "b": 9}


@pytest.mark.skipif(sys.platform != "linux", reason="its processes are looked up in /proc")
@pytest.mark.parametrize("end", few([signal.SIGTERM, signal.SIGINT, signal.SIGKILL], 2))
def test_no_child_outlives_its_parent(end):
    words = (
        "import os, signal, time; from carvegen.delivery.side_by_side import side_by_side\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # though the tests run where it is ignored
        "def slow(say): say(str(os.getpid())); time.sleep(120)\n"
        "side_by_side({'a': slow, 'b': slow}, jobs=2, say=lambda text: print(text, flush=True))"
    )
    parent = subprocess.Popen(
        [sys.executable, "-c", words], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    with parent:
        assert parent.stdout is not None
        children = [int(parent.stdout.readline()) for _ in range(2)]
        parent.send_signal(end)
        parent.wait()
    until = time.monotonic() + 30
    while any(_lives(child) for child in children):
        assert time.monotonic() < until
        time.sleep(0.05)


def _lives(process: int) -> bool:
    try:
        with open(f"/proc/{process}/stat", encoding="ascii") as report:  # noqa: PTH123
            return report.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.parametrize(
    ("took", "at_work", "waiting", "jobs", "left"),
    [([10], [], 2, 1, 20), ([10], [4], 0, 2, 6), ([10], [90], 0, 2, 90), ([10], [4], 3, 2, 18),
     ([5, 15], [8], 4, 2, 24)],
)  # fmt: skip
def test_the_time_left_is_never_less_than_what_a_part_has_taken_so_far(took, at_work, waiting, jobs, left):
    """By hand: 10 s a part on average, one at work goes on as long again as it has, at least; over both processors."""
    assert side_by_side_module._time_left(took, at_work, waiting, jobs) == left


def test_while_a_part_takes_long_it_is_told_again(monkeypatch):
    monkeypatch.setattr(side_by_side_module, "_SOON_S", 0.0)
    monkeypatch.setattr(side_by_side_module, "_AGAIN_S", 0.1)
    said: list[str] = []
    tasks = {"short": lambda _: None, "long": lambda _: time.sleep(0.5)}
    side_by_side(tasks, jobs=2, say=said.append)
    assert sum("1 of 2 parts done" in line for line in said) > 1
    side_by_side({name: lambda _: time.sleep(0.3) for name in "ab"}, jobs=2, say=said.append)
    assert "0 of 2 parts done, 0 s so far" in said, "before any is done nothing is guessed"


def later(needs, make=lambda done: partial(squared, sum(done.values()))):
    return Later(needs=needs, make=make)


BY_NEEDS = [pytest.param(in_turn, id="in turn"), *(partial(side_by_side, jobs=jobs) for jobs in (1, 2))]


@pytest.mark.parametrize("run", BY_NEEDS)
def test_a_task_gets_what_it_needs_from_others(run):
    two = later("a", lambda done: partial(squared, done["a"]))
    tasks = {"a": partial(squared, 2), "b": partial(squared, 3), "c": two, "d": later("abc")}
    assert list(run(tasks, say=lambda _: None).items()) == [("a", 4), ("b", 9), ("c", 16), ("d", 29**2)]


def test_who_needs_others_lets_those_after_it_go_first():
    said = []
    tasks = {"a": lambda say: time.sleep(0.5), "b": later("a", lambda _: partial(squared, 2)), "c": partial(squared, 3)}
    side_by_side(tasks, jobs=2, say=said.append)
    assert said == ["squaring 3", "squaring 2"]


@pytest.mark.parametrize("jobs", [1, 2])
@pytest.mark.parametrize("slow", ["b", "d"])
def test_of_tasks_that_cannot_be_made_the_first_in_order_is_told(jobs, slow):
    def refusing(needs, done):
        raise InputError("can't be made", value=done[needs])

    tasks = {
        "a": lambda say: time.sleep(0.3 * (slow == "b")) or 1, "b": later("a", partial(refusing, "a")),
        "c": lambda say: time.sleep(0.3 * (slow == "d")) or 2, "d": later("c", partial(refusing, "c")),
    }  # fmt: skip
    with pytest.raises(InputError, match="can't be made, got 1"):
        side_by_side(tasks, jobs=jobs, say=print)


def test_what_needs_a_task_that_was_killed_is_done_after_it():
    tasks = {"a": killed_in_a_child, "b": later("a", lambda done: lambda say: done["a"] + ", too"), "c": elsewhere}
    done = side_by_side(tasks, jobs=2, say=print)
    assert done.pop("c") != TEST_PROCESS
    assert done == {"a": "done here", "b": "done here, too"}


@needs_fork
def test_while_a_task_works_beside_this_process_does_something_else(tmp_path):
    """The task ends once the other thing is done; a task that waits for it in this process would wait for ever."""

    def waiting(say):
        say("waiting")
        until = time.monotonic() + 30
        while not (tmp_path / "done").exists():
            assert time.monotonic() < until
            time.sleep(0.01)
        return os.getpid()

    said = []
    assert beside(waiting, (tmp_path / "done").touch, jobs=2, say=said.append) != TEST_PROCESS
    assert said == ["waiting"]
    assert multiprocessing.active_children() == []


@pytest.mark.parametrize("jobs", [1, pytest.param(2, marks=needs_fork)])
@pytest.mark.parametrize("task", [killed_in_a_child, failing_in_a_child])
def test_what_fails_beside_is_done_here_after_the_other_thing(jobs, task):
    done = []
    assert beside(task, lambda: done.append(1), jobs=jobs, say=print) == "done here"
    assert done == [1]


@pytest.mark.parametrize("jobs", [1, pytest.param(2, marks=needs_fork)])
def test_an_error_from_beside_comes_whole_and_one_of_the_other_thing_ends_the_task(jobs):
    with pytest.raises(InputError, match="must be even, got 3"):
        beside(wrong, lambda: None, jobs=jobs, say=print)
    begun = time.monotonic()
    with pytest.raises(InputError, match="must be even, got 3"):
        beside(lambda say: time.sleep(60), partial(wrong, print), jobs=jobs, say=print)
    assert time.monotonic() - begun < 50
    assert multiprocessing.active_children() == []


def test_a_task_beside_tells_how_far_its_stages_are(monkeypatch):
    monkeypatch.setattr("carvegen.base.progress.SOON_S", 0.0)

    def slow(say):
        say("snowing")
        time.sleep(0.01)
        reached(0.5)

    for jobs in (1, 2):
        said = []
        beside(slow, lambda: None, jobs=jobs, say=said.append)
        assert said == ["snowing", "snowing: 50 % done, about 1 s to go"]
