"""Killed by signal 9 in the place of one of its renames or removals, in a forked process; then the command again.

They are counted where they are made, in `os`; nothing of the package knows of it. "Rename" below means both.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

from carvegen.base.files import settled
from carvegen.marking.journal import FOLDER
from tests.cases import layer, small_print
from tests.cli.running import fork, run_apart, tree

__all__ = ["COMMANDS", "killed_and_run_again", "killed_at", "sample_files"]

Words = Sequence[str]

_BLOCK = ("--material", "linoleum", "--cutter", "v-60", "--for", "hand")
_DRAWING = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="15mm" viewBox="0 0 20 15">'
    '<rect x="5" y="5" width="4" height="4"/></svg>'
)
_MEASURED = (
    "profiles",
    "measured",
    "cutter",
    "--like",
    "v-60",
    "--name",
    "own",
    "--date",
    "2026-01-02",
    "--out",
    "out",
)

#: Every command that writes a folder: an earlier run of it, and the one that is killed. Motifs are
#: written alike: one stands for them, and the print has none.
COMMANDS: dict[str, tuple[Words, Words]] = {
    "frost": (
        ("frost", "--size", "20x15", *_BLOCK, "--seed", "1", "--out", "out"),
        ("frost", "--size", "20x15", *_BLOCK, "--seed", "2", "--out", "out"),
    ),
    "mend": (("mend", "a.svg", *_BLOCK, "--out", "out"), ("mend", "a.svg", *_BLOCK, "--out", "out", "--width-map")),
    "strip": (("strip", *_BLOCK, "--out", "out"), ("strip", *_BLOCK, "--out", "out", "--paper", "Letter")),
    "build": (("build", "1.toml", "--out", "out"), ("build", "2.toml", "--out", "out")),
    "measured": ((*_MEASURED, "--cut", "0.4"), (*_MEASURED, "--cut", "0.5")),
    "keep": (("keep", "k.toml", "--motif", "grain 1"), ("keep", "k.toml")),
    "release": (("keep", "k.toml"), ("keep", "k.toml", "--release")),
    "undo": (("keep", "k.toml"), ("undo", "k.toml")),
}
#: Those that change her own files: each is whole by itself, and they work on what the first has left.
_HER_FILES = ("keep", "release", "undo")


def sample_files(folder: Path) -> None:
    """What the commands read."""
    for number in "12":
        print_ = small_print(
            layer("POST", "box 5 0 6 10"),
            blocks={"sky": ["*"]},
            size=(20, 15),
            after=f'[[highlights]]\nshape = "circle 15 10 {number}"',
        )
        (folder / f"{number}.toml").write_text(print_, encoding="utf-8")
    motifs = (
        '[[motifs]]\nmotif = "grain"\n[[motifs]]\nmotif = "frost"\nsettings = { feather_mm = 6.0, reach_mm = 8.0 }\n'
    )
    kept = small_print(layer("POST", "box 5 0 6 10"), blocks={"sky": ["*"]}, size=(20, 15), after=motifs)
    (folder / "k.toml").write_text(kept, encoding="utf-8")
    (folder / "a.svg").write_text(_DRAWING, encoding="utf-8")


def killed_and_run_again(
    first: Words, second: Words, scratch: Path, main: Callable[[list[str]], object], *, every: bool
) -> int:
    """Kill `second` on what `first` has left, look at what is there, run it again, look again; how often.

    Parameters
    ----------
    every
        At every rename; otherwise at a handful, from the first to the last.
    """
    names = ("before", "fresh", "killed")
    before, fresh, killed = (Path(tempfile.mkdtemp(prefix=f"{name}-", dir=scratch)) for name in names)
    for folder in (before, fresh):
        sample_files(folder)
    killed_at(0, lambda: main([*first]), folder=before)
    hers = second[0] in _HER_FILES
    if hers:
        shutil.copytree(before, fresh, dirs_exist_ok=True)
    killed_at(0, lambda: main([*second]), folder=fresh)
    shutil.copytree(before, killed, dirs_exist_ok=True)
    last = _count(second, killed, main)
    new, old = tree(fresh), tree(before)
    assert new != old
    some = {1, last // 2, last} - {0}
    places = range(1, last + 1) if every else sorted(some)
    for nth in places:
        shutil.rmtree(killed)
        shutil.copytree(before, killed)
        assert killed_at(nth, lambda: main([*second]), folder=killed) is None, f"rename {nth} of {last}"
        with settled(killed / ("out" if not hers else FOLDER)):
            there = _whole({name: data for name, data in tree(killed).items() if not name.startswith(".")})
        if hers:
            torn = [name for name, data in there.items() if data not in (old.get(name), new.get(name))]
            assert torn == [], f"rename {nth} of {last}: half of each"
        else:
            assert there in (_whole(old), _whole(new)), f"rename {nth} of {last}: half of each"
        if nth == places[-1]:  # as she runs it, in a process that knows of nothing
            again = run_apart(killed, *second)
            assert again.code in (0, 1), f"rename {nth} of {last}: {again.err}"
        else:
            killed_at(0, lambda: main([*second]), folder=killed)
        assert _whole(tree(killed)) == _whole(new), f"rename {nth} of {last}: not the new files"
    return len(places)


def _count(words: Words, folder: Path, main: Callable[[list[str]], object]) -> int:
    made = killed_at(0, lambda: main([*words]), folder=folder)
    assert made, "writes nothing"
    return made


def _whole(expected: dict[str, bytes]) -> dict[str, bytes]:
    """Files by name, without the beginnings of one that was never finished: those a killed run may leave."""
    return {name: data for name, data in expected.items() if not _unfinished(name) and not name.startswith(FOLDER)}


def _unfinished(name: str) -> bool:
    last = name.rpartition("/")[2]
    return last.startswith(".") and last != ".carvegen.json"


def killed_at(nth: int, work: Callable[[], object], *, folder: Path) -> int | None:
    """Do `work` in a forked process that stands in `folder`; None if it was killed, else how many renames it made.

    Parameters
    ----------
    nth
        The rename in whose place it is killed, 1 for the first; 0: none.
    """
    counted, count = os.pipe()
    child = fork()
    if child == 0:
        code = 1
        try:
            os.chdir(folder)
            said = os.open(os.devnull, os.O_RDWR)
            for stream in (1, 2):
                os.dup2(said, stream)
            sys.stdout, sys.stderr = os.fdopen(1, "w", closefd=False), os.fdopen(2, "w", closefd=False)
            so_far = _killing(nth)
            try:
                work()
                code = 0
            except SystemExit as end:
                code = int(end.code or 0)
            os.write(count, str(so_far()).encode())
        finally:
            os._exit(code)
    os.close(count)
    with os.fdopen(counted) as heard:
        made = heard.read()
    ended = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if ended == -signal.SIGKILL:
        return None
    assert ended in (0, 1), f"ended with {ended}"
    return int(made)


def _killing(nth: int) -> Callable[[], int]:
    """Let this process die in the place of its `nth` rename; how many there were so far."""
    count = 0

    def dying(move: Callable[..., None]) -> Callable[..., None]:
        def moved(*names: object, **how: object) -> None:
            nonlocal count
            count += 1
            if count == nth:
                os.kill(os.getpid(), signal.SIGKILL)
            move(*names, **how)

        return moved

    for move in ("replace", "rename", "unlink", "rmdir"):
        setattr(os, move, dying(getattr(os, move)))
    return lambda: count


def renames() -> int:
    """Every rename of every command."""
    from carvegen.interfaces.cli import main

    failed = 0
    for name, (first, second) in COMMANDS.items():
        with tempfile.TemporaryDirectory() as where:
            try:
                times = killed_and_run_again(first, second, Path(where), main, every=True)
                print(f"{name}: killed at each of {times} renames: whole, and no refusal")
            except AssertionError as error:
                failed += 1
                print(f"{name}: {error}")
    return failed
