"""How many examples Hypothesis tries, and where blocks lie that are grown once for all processes of a run.

HYPOTHESIS_PROFILE=dev (5, the same each time; the default), all (25) or ci (200). A law of whole blocks says
`examples(4)`: so many by default, as each is grown or planned; 25 with `all`, 64 with `ci`.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import pickle
import shutil
import sys
import sysconfig
import tempfile
import time
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path
from types import SimpleNamespace

# Matrices are small, and other processes of a run have the other cores: threads would only wait for one another.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Hypothesis's own plugins, which no test asks for, load an event loop into each process.
os.environ.setdefault("HYPOTHESIS_NO_PLUGINS", "1")

import pytest
from _pytest.runner import runtestprotocol
from hypothesis import HealthCheck, given, settings
from hypothesis.strategies import integers, lists

from carvegen.motifs import motif, summaries
from tests.cases import remembered

# Drawing a whole block's settings is slow beside drawing a number; time is bounded by the blocks' sizes instead.
_SLOW_IS_FINE = [HealthCheck.too_slow, HealthCheck.data_too_large]

settings.register_profile("dev", max_examples=5, deadline=None, derandomize=True, suppress_health_check=_SLOW_IS_FINE)
settings.register_profile("all", settings.get_profile("dev"), max_examples=25)
settings.register_profile("ci", max_examples=200, deadline=None, print_blob=True, suppress_health_check=_SLOW_IS_FINE)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "dev"))

gc.disable()  # until all tests are read, which all stay: looking through them again and again costs a fifth of that


def pytest_configure(config) -> None:
    """One folder for all processes: xdist's inherit what the first one sets. Where nothing is compiled, one does it."""
    if not hasattr(config, "workerinput"):
        os.environ["CARVEGEN_TESTS_GROWN"] = tempfile.mkdtemp(prefix="carvegen-grown-")
        compiled = _code(config) if sys.dont_write_bytecode else Path(__file__).parent / "cli" / "__pycache__"
        os.environ["CARVEGEN_TESTS_COMPILE"] = "" if compiled.exists() and any(compiled.iterdir()) else "yes"
        if getattr(config.option, "dist", "no") == "no":
            _compile_apart(config)
        return
    _compile_apart(config)
    if os.environ.get("CARVEGEN_TESTS_COMPILE") and not _first():
        wait_for(_compiled(), seconds=LONGEST_WAIT_S)


def _compile_apart(config) -> None:
    """Where processes of this run keep what they compile, if the surroundings say that nobody is to write it beside it.

    Compiling the package costs each process a second and more, and these modules, whose asserts are rewritten, ten:
    what one has compiled the others read. It stays in pytest's own cache for the next run, and goes with this one where
    that cache is off.
    """
    if not sys.dont_write_bytecode:
        return
    code = _code(config)
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix = str(code)
    sys.dont_write_bytecode = False
    sys.meta_path.insert(0, Lending(code, [sysconfig.get_path(kind) for kind in ("purelib", "platlib", "stdlib")]))


class Lending:
    """What is installed has been compiled where it lies: linked, it is read from there, not compiled once more.

    Asked for a module, it finds none, but links what lies beside it in a folder below one of `installed` to where this
    run keeps what it has compiled, `code`.
    """

    def __init__(self, code: Path, installed: list[str]) -> None:
        self.code, self.installed, self.seen = str(code), tuple(installed), set()

    def find_spec(self, name: str, path: Sequence[str] | None = None, target: object = None) -> None:
        folders = {str(folder) for folder in (sys.path if path is None else path)}
        for folder in folders - self.seen:
            self.seen.add(folder)
            if any(Path(folder).is_relative_to(root) for root in self.installed):
                self._lend(folder)

    def _lend(self, folder: str) -> None:
        compiled, there = Path(folder, "__pycache__"), Path(f"{self.code}{folder}")
        if not compiled.is_dir() or (there / "lent").exists():
            return
        there.mkdir(parents=True, exist_ok=True)
        for path in compiled.glob(f"*.{sys.implementation.cache_tag}*"):
            with suppress(FileExistsError):  # another process of the run was quicker
                (there / path.name).symlink_to(path)
        (there / "lent").touch()


def _code(config) -> Path:
    kept = getattr(config, "cache", None)
    return kept.mkdir("code") if kept else Path(os.environ["CARVEGEN_TESTS_GROWN"]) / "code"


#: Nobody waits longer for another process to compile the tests: it may have been killed. Then each compiles its own.
LONGEST_WAIT_S = 90.0


def _first() -> bool:
    """Whether no other process of this run has asked before, whatever they are called."""
    try:
        _compiled().with_name("compiling").touch(exist_ok=False)
    except FileExistsError:
        return False
    return True


def wait_for(path: Path, *, seconds: float) -> None:
    """Until a file is there, or that time has passed."""
    end = time.monotonic() + seconds
    while not path.exists() and time.monotonic() < end:
        time.sleep(0.2)


def _compiled() -> Path:
    """Is there once a process has read, and so compiled, all test modules."""
    return Path(os.environ["CARVEGEN_TESTS_GROWN"]) / "compiled"


def read_constants() -> None:
    """Hypothesis looks for constants in the modules that are there, and keeps what it has read for other processes.

    It does so once it draws one, at about every twentieth draw.
    """

    @settings(max_examples=10, database=None, derandomize=True, deadline=None)
    @given(lists(integers(), min_size=30))
    def drawn(_numbers: list[int]) -> None: ...

    drawn()


def pytest_collection_finish() -> None:
    if os.environ.get("CARVEGEN_TESTS_COMPILE") and not _compiled().exists():
        read_constants()
    _compiled().touch()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)  # arrays and shapes are in no circles: looking for some costs a hundredth
    gc.enable()


def pytest_unconfigure(config) -> None:
    if not hasattr(config, "workerinput"):
        os.environ.pop("CARVEGEN_TESTS_COMPILE", None)
        shutil.rmtree(os.environ.pop("CARVEGEN_TESTS_GROWN"), ignore_errors=True)


#: Files of many seconds, the longest first: they begin, so that no process has one left to do when all else is done.
LONG = (
    "browser/test_marking_page.py", "marking/test_pencil_reading.py", "laws/test_motifs.py",
    "browser/test_proof_sheet.py", "motifs/test_snowload.py", "prints/test_recut.py", "cli/test_build.py",
    "cli/test_exit_codes.py",
)  # fmt: skip


def pytest_collection_modifyitems(config, items) -> None:
    """Files go whole to one process or another, in this order; in one process they keep theirs."""
    if hasattr(config, "workerinput"):
        order = {Path(__file__).parent / name: place for place, name in enumerate(LONG)}
        items.sort(key=lambda item: order.get(item.path, len(LONG)))


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_protocol(item, nextitem) -> bool | None:
    """A process of a run tells of each test once, not five times: that costs more than most tests, in both processes.

    Of what was laid for a test and cleared away it tells only if that failed, was skipped or said something; of all,
    where all is asked for: how long each took, or a report for others.
    """
    option = item.config.option
    if not hasattr(item.config, "workerinput") or option.durations is not None or option.xmlpath:
        return None
    for report in runtestprotocol(item, nextitem=nextitem, log=False):
        if report.when == "call" or not report.passed or report.sections:
            item.ihook.pytest_runtest_logreport(report=report)
    return True


def cpu_seconds() -> float:
    """Of this process, and of all that it started and that have ended."""
    return sum(os.times()[:4])


def end_forkserver() -> None:
    """End, and wait for, the process that the page's work comes from: else it ends after this one, uncounted.

    It has waited for its own children, so their time counts, too. Asked for again, it begins anew.
    """
    if started := sys.modules.get("multiprocessing.forkserver"):
        started._forkserver._stop()


def pytest_sessionfinish() -> None:
    """Work that no test waits for any longer is stopped: the forkserver ends after the last of it."""
    _compiled().touch()  # whatever has failed, nobody waits
    for child in multiprocessing.active_children():
        child.kill()
        child.join()
    end_forkserver()


def pytest_terminal_summary(terminalreporter) -> None:
    """What the run cost, said at its end; xdist's processes have ended by then."""
    terminalreporter.write_line(f"CPU time of all processes: {cpu_seconds():.0f} s")


@pytest.fixture(autouse=True, scope="session")
def work_saved() -> Iterator[None]:
    """What is otherwise in the tests: one fixture for both, as each costs every one of some six thousand tests.

    A build's steps run in this process unless a test says otherwise: a child for each costs twice the work. The text
    of a profile is parsed once: the shipped ones are read some twenty thousand times in a run.
    """
    tables = cache(lambda text: pickle.dumps(tomllib.loads(text)))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("carvegen.delivery.side_by_side.usual_jobs", lambda: 1)
        once = SimpleNamespace(loads=lambda text: pickle.loads(tables(text)))
        patched.setattr("carvegen.facts.profile_reader.tomllib", once)
        yield


#: Rooms whose tests ask for a grown block, but not how it grows.
_MOTIFS = sorted(summaries())
_GROWN_ONCE = ("browser", "cli", "delivery", "page", "prints", "readers", "toolpaths", "writers")


@pytest.fixture(autouse=True, scope="module")
def grown_once(request) -> Iterator[None]:
    """In these rooms the same motif on the same place from the same seed grows once in a run of the tests.

    Laid for a whole file: for each of five thousand tests it costs more than many of them.
    """
    with pytest.MonkeyPatch.context() as patched:
        if request.path.relative_to(Path(__file__).parent).parts[0] in _GROWN_ONCE:
            for name in _MOTIFS:
                patched.setattr(motif(name), "grow", remembered(name, motif(name).grow))
        yield
