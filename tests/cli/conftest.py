"""Every test here runs in an empty folder, with no profiles of the user's own."""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path

import pytest

from carvegen.cli import main


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    folder = tmp_path / "work"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return folder


@pytest.fixture(scope="session")
def made():
    """What a command wrote, as a folder to copy from: ``made("sky", *words)``; each command runs once in a run."""

    def run_once(name: str, *words: str) -> Path:
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

    return run_once
