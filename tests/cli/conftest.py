"""Every test here runs in an empty folder, with no profiles of the user's own."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    folder = tmp_path / "work"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return folder
