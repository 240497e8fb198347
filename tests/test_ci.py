"""The checkout's own promises: one test command, said once in README and run as it stands."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

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
