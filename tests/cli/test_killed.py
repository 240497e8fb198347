"""Killed with signal 9 at a rename, then run again: the earlier files or the new ones, whole, and no refusal.

Every rename of every command: `python -m tests.robustness renames`.
"""

from __future__ import annotations

import pytest

from carvegen.interfaces.cli import main
from tests.cli.running import needs_fork, run
from tests.robustness.renames import COMMANDS, killed_and_run_again, sample_files
from tests.strategies import MANY

#: The one that changes her own file; all others are written like a folder: tests/base/test_files.py.
_TRIED = list(COMMANDS) if MANY else ["keep"]


@needs_fork
@pytest.mark.parametrize("name", _TRIED)
def test_killed_and_run_again(own_folder, capsys, name):
    sample_files(own_folder)
    first, second = COMMANDS[name]
    for words in (first, second):
        assert run(capsys, *words).code in (0, 1)  # everything is imported here, once, and not in each child
    assert killed_and_run_again(first, second, own_folder.parent, main, every=False) > 0
