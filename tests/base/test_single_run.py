"""A process that does one piece of work and ends: what it no longer needs is kept for what comes next."""

import gc
import subprocess
import sys

import pytest

from carvegen.base.single_run import single_run

_COMES_AND_GOES = """
import resource, sys
import numpy as np
from carvegen.base.single_run import keep_memory

kept = keep_memory() if sys.argv[1] == "kept" else None
def faults():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range(4):
        [np.ones(2_000_000) for _ in range(5)]
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
faults()
print(kept, faults())
"""


def _pages(how: str) -> tuple[str, int]:
    """What keeping memory says, and how many pages are new when arrays, 16 MB each, come and go once more."""
    run = [sys.executable, "-c", _COMES_AND_GOES, how]
    kept, pages = subprocess.run(run, capture_output=True, text=True, check=True).stdout.split()
    return kept, int(pages)


@pytest.mark.skipif(sys.platform != "linux", reason="other C libraries are left as they are")
def test_memory_of_arrays_that_are_gone_is_used_again() -> None:
    kept, pages = _pages("kept")
    if kept == "False":
        pytest.skip("this C library has no mallopt")
    assert pages < 1_000  # one array has 4,000
    assert _pages("as it is")[1] > 4_000


_ENDS = """
import atexit, gc
atexit.register(lambda: print(gc.get_freeze_count()))
from carvegen.base.single_run import single_run
if {single}:
    with single_run():
        pass
"""


def test_a_single_run_ends_without_a_look_through_all_that_lives() -> None:
    runs = [[sys.executable, "-c", _ENDS.format(single=single)] for single in (False, True)]
    frozen = [int(subprocess.run(run, capture_output=True, text=True, check=True).stdout) for run in runs]
    assert frozen[0] == 0
    assert frozen[1] > 1_000


def test_a_process_of_many_runs_ends_no_later(monkeypatch) -> None:
    at_end: list[object] = []
    monkeypatch.setattr("atexit.register", at_end.append)
    monkeypatch.setattr("atexit.unregister", lambda each: at_end.remove(each) if each in at_end else None)
    for _ in range(3):
        with single_run():
            pass
    assert at_end == [gc.freeze]


def test_the_collector_rests_in_a_single_run_alone() -> None:
    was_on = gc.isenabled()
    gc.enable()
    try:
        with single_run():
            assert not gc.isenabled()
        assert gc.isenabled()
    finally:
        (gc.enable if was_on else gc.disable)()
