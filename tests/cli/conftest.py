"""Every test here runs in an empty folder, with no profiles of the user's own."""

from __future__ import annotations

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
def made(tmp_path_factory):
    """What a command wrote, as a folder to copy from: ``made("sky", *words)``; each command runs once."""
    folders: dict[tuple[str, ...], Path] = {}

    def run_once(name: str, *words: str) -> Path:
        if words not in folders:
            folder = tmp_path_factory.mktemp("made") / name
            with pytest.raises(SystemExit) as end:
                main([*words, "--out", str(folder)])
            assert end.value.code in (0, 1)
            folders[words] = folder
        return folders[words]

    return run_once
