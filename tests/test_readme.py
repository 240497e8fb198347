"""README's reference of the print file is what the schema says; its commands are there."""

from __future__ import annotations

import re
from pathlib import Path

from carvegen.cli import _COMMANDS
from carvegen.prints.file.reference import reference

README_FILE = Path(__file__).parent.parent / "README.md"
README = README_FILE.read_text(encoding="utf-8")


def test_the_print_files_page_is_the_schemas():
    """Mend it by ``python gallery/build.py print-file``."""
    page = (README_FILE.parent / "gallery" / "print-file.md").read_text(encoding="utf-8")
    assert page == f"# What a print file may hold\n\n{reference()}"


def test_every_command_is_told_of_and_no_other():
    told = set(re.findall(r"`(?:\.venv/bin/)?carvegen ([a-z]+)", README))
    assert told == set(_COMMANDS)
