"""The checkout's own promises: one test command, said once in README and run as it stands."""

from __future__ import annotations

import importlib.util
import multiprocessing.forkserver
import os
import py_compile
import re
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import pytest
from hypothesis.configuration import storage_directory

from tests.conftest import (
    _TOLD,
    AGAIN,
    LONG,
    Lending,
    again_with_values,
    cpu_seconds,
    end_forkserver,
    pytest_collection_modifyitems,
    pytest_pyfunc_call,
    pytest_runtest_protocol,
    pytest_terminal_summary,
    read_constants,
)
from tests.robustness.__main__ import files_of_laws
from tests.strategies import takes_long
from tests.together import CASES, cases_of, together

HOME = Path(__file__).parent.parent
TEST_COMMAND = 'python3 -m venv .venv && .venv/bin/pip install -e ".[dev]" && .venv/bin/pytest'


def test_readme_and_ci_agree():
    script = (HOME / ".ci" / "run").read_text(encoding="utf-8")
    assert re.findall(r"^test_command='(.*)'$", script, re.MULTILINE) == [TEST_COMMAND]
    assert TEST_COMMAND in (HOME / "README.md").read_text(encoding="utf-8")


def test_ci_can_be_run_and_stops_at_the_first_failure():
    path = HOME / ".ci" / "run"
    assert os.access(path, os.X_OK)
    assert "\nset -euo pipefail\n" in path.read_text(encoding="utf-8")
    assert subprocess.run(["bash", "-n", str(path)], check=False).returncode == 0


NOTHING_ASKED = SimpleNamespace(durations=None, xmlpath=None)


def test_long_files_begin_and_are_there():
    """In the processes of a run; where there is one process alone, files keep the order they are named in."""
    tests = HOME / "tests"
    paths = [tests / "base/test_units.py", *(tests / name for name in reversed(LONG)), tests / "base/test_files.py"]
    assert all(path.is_file() for path in paths)
    items = [SimpleNamespace(path=path) for path in paths]
    pytest_collection_modifyitems(SimpleNamespace(), items)
    assert [item.path for item in items] == paths
    pytest_collection_modifyitems(SimpleNamespace(workerinput={}, option=NOTHING_ASKED), items)
    assert [each.path for each in items] == [*reversed(paths[1:-1]), paths[0], paths[-1]]


def test_what_the_suite_leaves_out_is_tried_by_the_long_run():
    """A file that says so by `takes_long` alone was not in it."""
    says = re.compile(r"@takes_long|@examples|\bMANY\b|\bfew\(")
    files = {path for path in (HOME / "tests").rglob("test_*.py") if says.search(path.read_text(encoding="utf-8"))}
    assert len(files) > 50
    assert files - {Path(__file__).resolve()} <= set(files_of_laws())


TOLD = {
    ("setup", "passed", ()): False,
    ("setup", "passed", ("Captured stdout setup", "ice")): True,
    ("setup", "failed", ()): True,
    ("setup", "skipped", ()): True,
    ("call", "passed", ()): True,
    ("call", "failed", ()): True,
    ("teardown", "passed", ()): False,
    ("teardown", "passed", ("Captured stderr teardown", "ice")): True,
    ("teardown", "failed", ()): True,
}


@pytest.mark.parametrize("asked", [{}, {"durations": 10}, {"xmlpath": "report.xml"}, {"workerinput": None}])
def test_a_process_tells_of_a_test_once_and_of_what_was_laid_for_it_only_what_is_to_be_seen(monkeypatch, asked):
    """All is told where times or a report are asked for, and in a run of one process: then pytest's own does it."""
    reports = [
        SimpleNamespace(
            when=when, passed=outcome == "passed", failed=False, sections=list(said), key=(when, outcome, said)
        )
        for when, outcome, said in TOLD
    ]
    monkeypatch.setattr(sys.modules[pytest_runtest_protocol.__module__], "runtestprotocol", lambda *_, **__: reports)
    told: list[tuple] = []
    config = SimpleNamespace(option=SimpleNamespace(**vars(NOTHING_ASKED) | asked))
    if "workerinput" not in asked:
        config.workerinput = {}
    item = SimpleNamespace(
        stash=pytest.Stash(),
        config=config,
        ihook=SimpleNamespace(pytest_runtest_logreport=lambda report: told.append(report.key)),
    )
    assert pytest_runtest_protocol(item, None) is (None if asked else True)
    assert told == ([] if asked else [key for key, is_told in TOLD.items() if is_told])


@pytest.mark.parametrize("thick", [3, 4, 5])
def test_ice_bears(thick):
    assert thick > 2


def test_cases_that_nothing_is_laid_for_run_as_one(request):
    """One that stands alone, or for which a folder is laid, is left as it is."""
    every = [case for item in request.session.items for case in cases_of(item) or [item]]
    ice = [item for item in every if item.name.startswith(test_ice_bears.__name__)]
    laid = [item for item in every if "monkeypatch" in getattr(item, "fixturenames", ())]
    assert together([*laid, ice[0]]) == [*laid, ice[0]]
    (one,) = together(ice)
    assert cases_of(one) == ice
    run: list[int] = []
    one.funcargs = dict(ice[0].callspec.params)
    one.obj = lambda thick: run.append(thick)  # noqa: PLW0108
    assert pytest_pyfunc_call(one) and run == [3, 4, 5]
    assert pytest_pyfunc_call(ice[0]) is None


@pytest.mark.parametrize("ends", [["passed", "failed", "skipped"], ["passed", "passed", "passed"]])
def test_where_one_of_them_fails_each_is_told_of_by_its_own_name(monkeypatch, ends):
    """What failed once is told of, whatever comes of it again."""
    told: list[tuple[str, str, str]] = []
    session = SimpleNamespace(items=[])

    def item(name: str, end: str) -> SimpleNamespace:
        tell = SimpleNamespace(
            pytest_runtest_logreport=lambda report: told.append((session.items[0].name, name, report.end))
        )
        config = SimpleNamespace(workerinput={}, option=NOTHING_ASKED)
        return SimpleNamespace(name=name, end=end, ihook=tell, config=config, session=session, stash=pytest.Stash())

    cases, one = [item(f"ice {k}", end) for k, end in enumerate(ends)], item("ice", "failed")
    one.stash[CASES], session.items = cases, [one]
    monkeypatch.setattr(
        sys.modules[pytest_runtest_protocol.__module__], "runtestprotocol",
        lambda item, **_: [
            SimpleNamespace(when="call", passed=item.end == "passed", failed=False, sections=[], end=item.end)
        ],
    )  # fmt: skip
    assert pytest_runtest_protocol(one, None)
    failed = [one] if set(ends) == {"passed"} else cases
    assert told == [(each.name, each.name, each.end) for each in failed]
    assert session.items == [one]


def test_a_test_that_failed_says_its_values(monkeypatch, tmp_path):
    """In a process of a run asserts are not taken apart: it runs again alone; not if many fail."""
    path = tmp_path / "test_ice.py"
    path.write_text("def test_ice():\n    thick = 40\n    assert thick == 41\n", encoding="utf-8")
    monkeypatch.setenv("PYTEST_ADDOPTS", "-p no:hypothesispytest")
    config = SimpleNamespace(option=SimpleNamespace(assertmode="plain"), stash=pytest.Stash(), rootpath=tmp_path)
    item = SimpleNamespace(nodeid="test_ice.py::test_ice", config=config)
    reports = [SimpleNamespace(when=when, failed=when == "call", sections=[]) for when in ("setup", "call")]
    again_with_values(item, reports)
    ((_, said),) = reports[1].sections
    assert "assert 40 == 41" in said and not reports[0].sections
    config.stash[_TOLD] = AGAIN
    again_with_values(item, reports)
    assert len(reports[1].sections) == 1


def test_a_run_ends_with_the_cpu_time_of_all_its_processes():
    """A child that turns round for 0.3 s counts; what is said is read back."""
    said: list[str] = []
    reporter = type("Reporter", (), {"write_line": lambda _, line: said.append(line)})()
    before, own = cpu_seconds(), time.process_time()
    loop = "import time\nwhile time.process_time() < 0.3: pass"
    subprocess.run([sys.executable, "-S", "-c", loop], check=True)
    assert cpu_seconds() - before >= 0.25 + (time.process_time() - own)
    pytest_terminal_summary(reporter)
    (number,) = re.findall(r"CPU time of all processes: (\d+) s", said[0])
    assert abs(int(number) - cpu_seconds()) <= 1


@takes_long  # a second interpreter for a measure of the suite alone
@pytest.mark.skipif(sys.platform != "linux", reason="the page's work comes from a forkserver on Linux alone")
def test_what_comes_from_a_forkserver_counts_once_that_has_ended(monkeypatch):
    """A sum that this process takes some time for is taken in a child of a forkserver that imports nothing of ours."""
    end_forkserver()
    monkeypatch.setattr(multiprocessing.forkserver._forkserver, "_preload_modules", [])
    begun, many = time.process_time(), range(3_000_000)
    sum(many)
    alone, before = time.process_time() - begun, cpu_seconds()
    own = time.process_time()
    child = multiprocessing.get_context("forkserver").Process(target=sum, args=(many,))
    child.start()
    child.join()
    end_forkserver()
    assert cpu_seconds() - before - (time.process_time() - own) >= 0.8 * alone


def test_constants_of_our_modules_are_read_before_other_processes_go_on(tmp_path, monkeypatch):
    """What stands for our modules is one that nobody has read, whose path is no test's."""
    with TemporaryDirectory() as home:
        path = Path(home) / f"ice_{tmp_path.name}_{os.getpid()}.py"
        path.write_text(f'thick_mm, here = 41.37, "{home}"\n', encoding="utf-8")
        monkeypatch.syspath_prepend(home)
        importlib.import_module(path.stem)
        read_constants()
        del sys.modules[path.stem]
    kept = [one for one in storage_directory("constants").path.iterdir() if home in one.read_text(encoding="utf-8")]
    assert ["41.37" in one.read_text(encoding="utf-8") for one in kept] == [True]
    kept[0].unlink()


def test_what_is_installed_is_not_compiled_again_and_what_is_tested_is_not_lent(tmp_path, monkeypatch):
    """Where this run keeps its compiled code, Python comes upon that of an installed package, and of no other."""
    monkeypatch.setattr(sys, "pycache_prefix", None)
    for home in ("installed", "checkout"):
        (tmp_path / home / "ice").mkdir(parents=True)
        (tmp_path / home / "ice" / "floe.py").write_text("thick_mm = 40\n", encoding="utf-8")
        py_compile.compile(str(tmp_path / home / "ice" / "floe.py"), doraise=True)
    for _ in range(2):  # each process of a run has its own, the code is one
        lending = Lending(tmp_path / "code", [str(tmp_path / "installed")])
        for home in ("installed", "checkout"):
            assert lending.find_spec("ice.floe", [str(tmp_path / home / "ice")]) is None
        (tmp_path / f"code{tmp_path}/installed/ice/lent").unlink()  # as if both had come at the same time
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "code"))
    installed, checkout = (
        Path(importlib.util.cache_from_source(str(tmp_path / root / "ice" / "floe.py")))
        for root in ("installed", "checkout")
    )
    assert installed.resolve().parent == (tmp_path / "installed/ice/__pycache__").resolve()
    assert not checkout.exists()
