"""Every test here runs in an empty folder, with no profiles of the user's own."""

from __future__ import annotations

import pytest

from carvegen.base import progress
from tests.cli import running


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
    return running.made


@pytest.fixture
def shares(monkeypatch):
    """What a command is told of how far it is, told on at once."""
    monkeypatch.setattr(progress, "SOON_S", 0.0)
    heard, hear = list[float](), progress.Stages.hear

    def hear_and_keep(self, share):
        heard.append(share)
        hear(self, share)

    monkeypatch.setattr(progress.Stages, "hear", hear_and_keep)
    return heard
