"""README's reference of the print file is what the schema says; its commands are there."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import httpx
from PIL import Image

from carvegen.interfaces.cli import _COMMANDS
from carvegen.prints.file.schema import reference
from tests.cli.running import run_apart
from tests.strategies import MANY

README_FILE = Path(__file__).parent.parent / "README.md"
README = README_FILE.read_text(encoding="utf-8")


def test_the_print_files_page_is_the_schemas():
    """Mend it by ``python gallery/build.py print-file``."""
    page = (README_FILE.parent / "gallery" / "print-file.md").read_text(encoding="utf-8")
    assert page == f"# What a print file may hold\n\n{reference()}"


def test_every_command_is_told_of_and_no_other():
    report = set(re.findall(r"`(?:\.venv/bin/)?carvegen ([a-z]+)", README))
    assert report == set(_COMMANDS)


def test_the_first_command_installs_and_opens_the_page_on_the_sample(tmp_path):
    """As it stands, but for the installation, which the tests have done, for a browser of its own, and for the snow."""
    first = re.search("```\n(.*?)\n```", README, re.DOTALL)
    assert first is not None
    venv, install, new, mark = first.group(1).split(" && ")
    assert (venv, install) == ("python3 -m venv .venv", ".venv/bin/pip install .")
    begin, page = ([sys.executable, "-m", "carvegen", *shlex.split(each)[1:]] for each in (new, mark))
    assert {shlex.split(one)[0] for one in (new, mark)} == {".venv/bin/carvegen"}
    assert run_apart(tmp_path, *begin[3:]).code == 0
    if not MANY:  # it grows for many seconds
        (sample,) = tmp_path.glob("*/print.toml")
        sample.write_text(sample.read_text(encoding="utf-8").partition("[[motifs]]")[0], encoding="utf-8")
    how = {"cwd": tmp_path, "stdout": subprocess.PIPE, "text": True, "env": {**os.environ, "PYTHONUNBUFFERED": "1"}}
    with subprocess.Popen([*page, "--no-browser"], **how) as program:
        try:
            address = program.stdout.readline().split()[1]
            with httpx.Client(base_url=address, timeout=60) as client:
                assert "<title>carvegen" in client.get("").text
                report = client.get("print").json()
        finally:
            program.terminate()
    assert (report["file"], len(report["blocks"])) == ("print.toml", 3)


def test_the_first_print_in_ten_minutes_shows_the_page_and_names_what_is_on_it():
    page = README_FILE.parent / "gallery" / "marking-page.md"
    text = " ".join(page.read_text(encoding="utf-8").split())
    pictures = re.findall(r"!\[[^]]+]\(([^)]+)\)", text)
    assert len(pictures) == 3
    for name in pictures:
        with Image.open(page.parent / name) as picture:
            assert picture.size == (1280, 800)
        assert (page.parent / name).stat().st_size < 250_000
    client = README_FILE.parent / "carvegen" / "interfaces" / "page"
    shown = " ".join(" ".join(path.read_text(encoding="utf-8") for path in client.rglob("*") if path.is_file() and
                              path.suffix in (".js", ".html", ".py")).split()).lower()  # fmt: skip
    for words in re.findall(r"(?<![*\w])\*([^*]+)\*(?!\*)", text):
        assert words.lower() in shown, words
