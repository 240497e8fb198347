"""How the page is opened: what others on the computer can read of it is not the token."""

from __future__ import annotations

import os

import click
import pytest
from click.testing import CliRunner

from carvegen.interfaces.cli.whole_print import mark
from carvegen.interfaces.page.guard import refused
from tests.page.page import print_file

URL = "http://127.0.0.1:8123/a-secret-token/"


@pytest.mark.skipif(os.name != "posix", reason="other computers have other permissions")
def test_a_browser_is_started_with_a_file_that_its_owner_alone_can_read(tmp_path, monkeypatch) -> None:
    path, seen = print_file(tmp_path), []

    def launch(what: str) -> None:
        pointer = next(each for each in tmp_path.iterdir() if str(each) == what)
        seen.append((what, pointer.stat().st_mode & 0o777, pointer.read_text()))

    monkeypatch.setattr(click, "launch", launch)
    monkeypatch.setattr("carvegen.interfaces.page.serving.serve", lambda *_, at, left: at(URL))
    done = CliRunner().invoke(mark.command, [str(path)])
    assert done.exit_code == 0, done.output
    (what, mode, text) = seen[0]
    assert "a-secret-token" not in what
    assert mode == 0o600
    assert f"url={URL}" in text
    assert [one.name for one in tmp_path.iterdir()] == [path.name]  # gone with the server
    seen.clear()
    CliRunner().invoke(mark.command, [str(path), "--no-browser"])
    assert not seen


@pytest.mark.parametrize(
    ("method", "path", "mode", "status"),
    [
        ("GET", "/token/", "navigate", None),
        ("GET", "/token/", "no-cors", 403),
        ("GET", "/token/", "cors", 403),
        ("GET", "/token/print", "navigate", 403),
        ("GET", "/token/file/key-laser.zip", "navigate", 403),
        ("GET", "/other/", "navigate", 404),
        ("POST", "/token/", "navigate", 403),
    ],
)
def test_from_elsewhere_only_the_page_itself_is_opened(method, path, mode, status) -> None:
    """A file that leads to it is another origin: Fetch Standard, Sec-Fetch-Site and Sec-Fetch-Mode, from memory."""
    headers = {"host": "h:1", "sec-fetch-site": "cross-site", "sec-fetch-mode": mode}
    result = refused(method, path, headers, host="h:1", token="token")
    assert (result and result[0]) == status
