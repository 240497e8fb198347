"""Which functions of a room each test calls, by pytest's `-p tests.reached`; `tests.mutants` asks.

CARVEGEN_TESTS_REACHED names the file written at the end: {test: [CPU seconds, ["carvegen/checks/bed.py:21", ...]]}, a
function by the line where it begins, its first decorator's if it has one. What a child process calls is not seen.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FrameType

import pytest

_ROOT = f"{Path(__file__).parents[1]}{os.sep}"
_OURS = f"{_ROOT}carvegen{os.sep}"
_called: set[CodeType] = set()
_tests: dict[str, tuple[float, list[str]]] = {}


def _trace(frame: FrameType, _event: str, _what: object) -> None:
    """Calls alone are told, as no function's own events are asked for."""
    _called.add(frame.f_code)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """A fixture of several tests is the first one's: its file is run whole where that matters."""
    _called.clear()
    began = os.times()
    threading.settrace(_trace)
    sys.settrace(_trace)
    try:
        return (yield)
    finally:
        sys.settrace(None)
        threading.settrace(None)  # type: ignore[arg-type]
        ours = sorted(
            {each for each in _called if each.co_filename.startswith(_OURS)}, key=lambda one: one.co_firstlineno
        )
        names = dict.fromkeys(f"{our.co_filename.removeprefix(_ROOT)}:{our.co_firstlineno}" for our in ours)
        _tests[item.nodeid] = (sum(os.times()[:4]) - sum(began[:4]), list(names))


def pytest_sessionfinish() -> None:
    Path(os.environ["CARVEGEN_TESTS_REACHED"]).write_text(json.dumps(_tests), encoding="utf-8")
