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
    LONG,
    Lending,
    cpu_seconds,
    end_forkserver,
    pytest_collection_modifyitems,
    pytest_runtest_protocol,
    pytest_terminal_summary,
    read_constants,
)
from tests.robustness.__main__ import files_of_laws
from tests.strategies import takes_long

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


def test_long_files_begin_and_are_there():
    """In the processes of a run; where there is one process alone, files keep the order they are named in."""
    tests = HOME / "tests"
    paths = [tests / "base/test_units.py", *(tests / name for name in reversed(LONG)), tests / "base/test_files.py"]
    assert all(path.is_file() for path in paths)
    items = [SimpleNamespace(path=path) for path in paths]
    pytest_collection_modifyitems(SimpleNamespace(), items)
    assert [item.path for item in items] == paths
    pytest_collection_modifyitems(SimpleNamespace(workerinput={}), items)
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
        SimpleNamespace(when=when, passed=outcome == "passed", sections=list(said), key=(when, outcome, said))
        for when, outcome, said in TOLD
    ]
    monkeypatch.setattr(sys.modules[pytest_runtest_protocol.__module__], "runtestprotocol", lambda *_, **__: reports)
    told: list[tuple] = []
    config = SimpleNamespace(option=SimpleNamespace(**{"durations": None, "xmlpath": None} | asked))
    if "workerinput" not in asked:
        config.workerinput = {}
    item = SimpleNamespace(
        config=config, ihook=SimpleNamespace(pytest_runtest_logreport=lambda report: told.append(report.key))
    )
    assert pytest_runtest_protocol(item, None) is (None if asked else True)
    assert told == ([] if asked else [key for key, is_told in TOLD.items() if is_told])


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
