"""README's reference of the print file is what the schema says; its commands are there."""

from __future__ import annotations

import re
from pathlib import Path

from carvegen.cli import _COMMANDS
from carvegen.prints.file.reference import reference

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def test_the_print_files_reference_is_the_schemas():
    """Mend it by pasting what ``carvegen new --keys`` prints between the two marks."""
    between = README.split("<!-- print file: begin -->\n")[1].split("<!-- print file: end -->")[0]
    assert between.strip() == reference().strip()


def test_every_command_is_told_of_and_no_other():
    told = set(re.findall(r"`(?:\.venv/bin/)?carvegen ([a-z]+)", README))
    assert told == set(_COMMANDS)
