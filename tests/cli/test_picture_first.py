"""Every command that writes a picture ends by naming the one that shows its result, and the file is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.running import TINY, run

SETUP = ("--material", "linoleum", "--cutter", "v-60")
DRAWING = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30"><rect x="8" y="8" '


def drawn(folder: Path, name: str, width: float) -> str:
    (folder / name).write_text(f'{DRAWING}width="{width}" height="9"/></svg>', encoding="utf-8")
    return name


@pytest.mark.parametrize(
    "words",
    [
        lambda folder: [*TINY, "--out", "sky"],
        lambda folder: ["check", drawn(folder, "a.svg", 9), *SETUP, "--picture", "found.png"],
        lambda folder: ["mend", drawn(folder, "a.svg", 9), *SETUP, "--out", "mended"],
        lambda folder: ["compare", drawn(folder, "a.svg", 9), drawn(folder, "b.svg", 12), "--picture", "both.png"],
        lambda folder: ["read", drawn(folder, "a.svg", 9), "--out", "clean.svg", "--picture", "seen.png"],
        lambda folder: ["strip", "--material", "linoleum", "--cutter", "v-60", "--for", "hand", "--out", "strip"],
        lambda folder: ["new", "landing"],
    ],
    ids=["snowfall", "check", "mend", "compare", "read", "strip", "new"],
)  # fmt: skip
def test_the_last_line_names_the_picture(own_folder, capsys, words) -> None:
    ran = run(capsys, *words(own_folder))
    assert ran.code in (0, 1), ran.err
    last = ran.out.rstrip().splitlines()[-1]
    (path,) = re.fullmatch(r"Look first: (\S+\.(?:png|svg))", last).groups()
    assert (own_folder / path).is_file()


def test_quiet_and_json_name_none(own_folder, capsys) -> None:
    for how in ("--quiet", "--json"):
        assert "Look first" not in run(capsys, *TINY, "--out", "sky", how).out
