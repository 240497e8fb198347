"""Run the command line, in this process or in one of its own, and look at what it leaves behind."""

from __future__ import annotations

import contextlib
import hashlib
import os
import signal
import subprocess
import sys
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from carvegen.interfaces.cli import main

#: A small block that is quick to make.
SMALL = ("snowfall", "--size", "40x30", "--material", "linoleum", "--cutter", "laser-fine", "--seed", "3")
#: One for a single machine, for what does not ask how large it is or what is on it.
TINY = ("snowfall", "--size", "20x15mm", *SMALL[3:], "--for", "laser")


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str


def small(**changed: str) -> list[str]:
    """The small block's command with options changed, such as ``size="60x40"``."""
    words = list(SMALL)
    for name, value in changed.items():
        words[words.index(f"--{name}") + 1] = value
    return words


def run(capsys, *words: object) -> Ran:
    """In this process."""
    capsys.readouterr()
    try:
        main([str(word) for word in words])
    except SystemExit as end:
        said = capsys.readouterr()
        return Ran(int(end.code or 0), said.out, said.err)
    raise AssertionError("main ends by leaving")


def built_once(text: str) -> Path:
    """A folder with this print file and what `build` made of it, in `built`: made once in a run of the tests.

    Not to be changed: tests that change it copy it.
    """
    folder = Path(os.environ["CARVEGEN_TESTS_GROWN"]) / f"built-{hashlib.sha256(text.encode()).hexdigest()}"
    if not folder.exists():
        part = folder.with_suffix(f".{os.getpid()}")
        part.mkdir()
        (part / "print.toml").write_text(text, encoding="utf-8")
        with pytest.raises(SystemExit) as end:
            main(["build", str(part / "print.toml"), "--out", str(part / "built"), "--quiet"])
        assert end.value.code in (0, 1)
        with contextlib.suppress(OSError):  # another process was first
            part.rename(folder)
    return folder


def made(name: str, *words: str) -> Path:
    """What a command wrote, as a folder to copy from: each command runs once in a run of the tests."""
    key = hashlib.sha256(repr((name, words)).encode()).hexdigest()
    folder = Path(os.environ["CARVEGEN_TESTS_GROWN"]) / f"made-{key}"
    if not folder.exists():
        part = folder.with_suffix(f".{os.getpid()}")
        with pytest.raises(SystemExit) as end:
            main([*words, "--out", str(part / name)])
        assert end.value.code in (0, 1)
        with contextlib.suppress(OSError):  # another process was first
            part.rename(folder)
    return folder / name


def command(*words: object) -> list[str]:
    return [sys.executable, "-m", "carvegen", *(str(word) for word in words)]


def run_afresh(folder: Path, *words: object, **how) -> Ran:
    """In a process of its own that knows of nothing, in `folder`: it imports all anew, which costs a second."""
    done = subprocess.run(
        command(*words),
        cwd=folder,
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        timeout=300,
        check=False,
        **how,
    )
    return Ran(done.returncode, done.stdout, done.stderr)


#: A copy of this process is ended after so many seconds, if it has not ended by itself.
LONGEST_S = 300
#: Windows has no copies of processes, and macOS no safe ones (Python's manual, multiprocessing: from memory).
FORKS = sys.platform == "linux"
needs_fork = pytest.mark.skipif(not FORKS, reason="what is patched here, or done first, is so in a copy alone")


def fork() -> int:
    """The process id of a copy of this process; in the copy, 0.

    A lock that another thread holds meanwhile is held in the copy for ever, of which Python warns from 3.12 on. Other
    threads here are xdist's, which waits for words on a pipe that no copy reads, and those of BLAS, which prepares
    itself for copies. Should a copy wait for a lock all the same, the system ends it.
    """
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r".* is multi-threaded, use of fork\(\)", DeprecationWarning)
        pid = os.fork()
    if pid == 0:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.alarm(LONGEST_S)
    return pid


class Forked:
    """A command in a process forked from this one, which has imported what it needs, in `folder`; it hears Ctrl-C.

    Parameters
    ----------
    first
        What is done in that process before the command.
    """

    def __init__(self, folder: Path, *words: object, first: Callable[[], object] = lambda: None) -> None:
        ends = [os.pipe(), os.pipe()]
        self.pid = fork()
        if self.pid == 0:
            code = 1
            try:
                os.chdir(folder)
                for stream, (_, write) in enumerate(ends, 1):
                    os.dup2(write, stream)
                sys.stdout, sys.stderr = (os.fdopen(k, "w", encoding="utf-8", closefd=False) for k in (1, 2))
                signal.signal(signal.SIGINT, signal.default_int_handler)
                first()
                main([str(word) for word in words])
            except SystemExit as end:
                code = int(end.code or 0)
            finally:
                with contextlib.suppress(OSError):
                    sys.stdout.flush()
                    sys.stderr.flush()
                os._exit(code)
        for _, write in ends:
            os.close(write)
        self.stdout, self.stderr = (os.fdopen(read, encoding="utf-8", errors="replace") for read, _ in ends)

    def ended(self) -> Ran:
        """Wait for the end; what it says as an error is little enough for a pipe."""
        with self.stdout, self.stderr:
            out, err = self.stdout.read(), self.stderr.read()
        return Ran(os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1]), out, err)


def run_apart(folder: Path, *words: object, first: Callable[[], object] = lambda: None) -> Ran:
    """In a process of its own, in `folder`: forked from this one, or, where there is no fork, without `first`."""
    return Forked(folder, *words, first=first).ended() if FORKS else run_afresh(folder, *words)


def start(folder: Path, *words: object) -> subprocess.Popen:
    """Start one that knows of nothing and hears Ctrl-C, whoever started this process."""
    return subprocess.Popen(
        command(*words),
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        preexec_fn=_hear_ctrl_c if os.name == "posix" else None,  # noqa: PLW1509
    )


def _hear_ctrl_c() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones too, and empty folders."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else b"folder"
        for path in sorted(folder.rglob("*"))
    }
