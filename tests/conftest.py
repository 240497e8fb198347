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
import subprocess
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

from tests.together import cases_of, run_cases, together

gc.disable()  # until all tests are read, which all stay: looking through them again and again costs a fifth of that


def load_examples() -> None:
    """Tell Hypothesis how many it tries. Here and below: what hands tests out to others imports nothing of ours."""
    from hypothesis import HealthCheck, settings

    # Drawing a whole block's settings is slow beside drawing a number; time is bounded by the blocks' sizes instead.
    slow = [HealthCheck.too_slow, HealthCheck.data_too_large]
    settings.register_profile("dev", max_examples=5, deadline=None, derandomize=True, suppress_health_check=slow)
    settings.register_profile("all", settings.get_profile("dev"), max_examples=25)
    settings.register_profile("ci", max_examples=200, deadline=None, print_blob=True, suppress_health_check=slow)
    settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "dev"))


#: What asserts compare is said of those that fail, see `again_with_values`.
_PLAIN = " --assert=plain"


def pytest_configure(config) -> None:
    """One folder for all processes: xdist's inherit what the first one sets. Where nothing is compiled, one does it."""
    if not hasattr(config, "workerinput"):
        os.environ["CARVEGEN_TESTS_GROWN"] = tempfile.mkdtemp(prefix="carvegen-grown-")
        compiled = _code(config) if sys.dont_write_bytecode else Path(__file__).parent / "cli" / "__pycache__"
        os.environ["CARVEGEN_TESTS_COMPILE"] = "" if compiled.exists() and any(compiled.iterdir()) else "yes"
        if getattr(config.option, "dist", "no") == "no":
            _compile_apart(config)
            load_examples()
        elif not _asks_all(config):
            os.environ["PYTEST_ADDOPTS"] = os.environ.get("PYTEST_ADDOPTS", "") + _PLAIN  # for those it hands tests to
        return
    os.environ["PYTEST_ADDOPTS"] = os.environ.get("PYTEST_ADDOPTS", "").removesuffix(_PLAIN)
    _compile_apart(config)
    load_examples()
    keep_arrays()
    if os.environ.get("CARVEGEN_TESTS_COMPILE") and not _first():
        wait_for(_compiled(), seconds=LONGEST_WAIT_S)


def keep_arrays() -> None:
    """A process of a run keeps the memory of arrays that are gone, as a command does: half its time in the system."""
    from carvegen.base.single_run import keep_memory

    keep_memory()


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
    from hypothesis import given, settings
    from hypothesis.strategies import integers, lists

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
        os.environ["PYTEST_ADDOPTS"] = os.environ.get("PYTEST_ADDOPTS", "").removesuffix(_PLAIN)
        shutil.rmtree(os.environ.pop("CARVEGEN_TESTS_GROWN"), ignore_errors=True)


#: Files of many seconds, the longest first: they begin, so that no process has one left to do when all else is done.
LONG = (
    "browser/test_marking_page.py", "marking/test_pencil_reading.py", "laws/test_motifs.py",
    "browser/test_proof_sheet.py", "motifs/test_snowload.py", "prints/test_recut.py", "cli/test_build.py",
    "cli/test_exit_codes.py",
)  # fmt: skip


@pytest.hookimpl(trylast=True)  # once it is known which are asked for
def pytest_collection_modifyitems(config, items) -> None:
    """Files go whole to one process or another, in this order; in one process they keep theirs."""
    if hasattr(config, "workerinput"):
        order = {Path(__file__).parent / name: place for place, name in enumerate(LONG)}
        items.sort(key=lambda item: order.get(item.path, len(LONG)))
    if not _tells_all(config):
        items[:] = together(items)


def _tells_all(config) -> bool:
    """Whether each test is told of with all that it took: in one process, or where times or a report are asked for."""
    return not hasattr(config, "workerinput") or _asks_all(config)


def _asks_all(config) -> bool:
    return config.option.durations is not None or bool(config.option.xmlpath)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_protocol(item, nextitem) -> bool | None:
    """A process of a run tells of each test once, not five times: that costs more than most tests, in both processes.

    Of what was laid for a test and cleared away it tells only if that failed, was skipped or said something; of all,
    where all is asked for: how long each took, or a report for others. Of cases that ran as one it tells once, too;
    if one of them failed or was skipped, each runs again and is told of by its own name.
    """
    if _tells_all(item.config):
        return None
    reports = runtestprotocol(item, nextitem=nextitem, log=False)
    if not _passed(reports) and (cases := cases_of(item)):
        each = [runtestprotocol(case, nextitem=nextitem, log=False) for case in cases]
        if not all(map(_passed, each)):
            place = item.session.items.index(item)
            for case, of_case in zip(cases, each, strict=True):
                item.session.items[place] = case  # xdist asks that what is told of stands there
                _tell(case, of_case)
            item.session.items[place] = item
            return True
    _tell(item, reports)
    return True


def _passed(reports) -> bool:
    return all(report.passed for report in reports)


#: So many tests of a process that failed run again for their values: where all fails nobody waits for all.
AGAIN = 3


def again_with_values(item, reports) -> None:
    """What failed says the values that it compared, as it does where a test runs alone.

    To take all asserts apart for that costs a run more than to compile the package: here it is done where one fails.
    """
    failed = [report for report in reports if report.failed and report.when == "call"]
    if not failed or item.config.option.assertmode != "plain" or item.config.stash.setdefault(_TOLD, 0) >= AGAIN:
        return
    item.config.stash[_TOLD] += 1
    words = [sys.executable, "-m", "pytest", "-n0", "-q", "--tb=short", "-p", "no:cacheprovider", item.nodeid]
    with suppress(subprocess.TimeoutExpired):
        done = subprocess.run(words, cwd=item.config.rootpath, capture_output=True, text=True, timeout=120, check=False)
        failed[0].sections.append(("Run again alone", done.stdout))


_TOLD = pytest.StashKey[int]()


def _tell(item, reports) -> None:
    again_with_values(item, reports)
    for report in reports:
        if report.when == "call" or not report.passed or report.sections:
            item.ihook.pytest_runtest_logreport(report=report)


@pytest.hookimpl(tryfirst=True)
def pytest_pyfunc_call(pyfuncitem) -> bool | None:
    """Cases that are one test run one after the other."""
    return run_cases(pyfuncitem)


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
_GROWN_ONCE = ("browser", "cli", "delivery", "page", "prints", "readers", "toolpaths", "writers")


@pytest.fixture(autouse=True, scope="module")
def grown_once(request) -> Iterator[None]:
    """In these rooms the same motif on the same place from the same seed grows once in a run of the tests.

    Laid for a whole file: for each of five thousand tests it costs more than many of them.
    """
    with pytest.MonkeyPatch.context() as patched:
        if request.path.relative_to(Path(__file__).parent).parts[0] in _GROWN_ONCE:
            from carvegen.motifs import motif, summaries
            from tests.cases import remembered

            for name in sorted(summaries()):
                patched.setattr(motif(name), "grow", remembered(name, motif(name).grow))
        yield
