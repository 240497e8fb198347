"""``carvegen --help`` answers at once: it imports nothing heavy."""

from __future__ import annotations

import resource
import subprocess
import sys

import pytest

from tests.cli.running import TINY, needs_fork, run

HEAVY = {"numpy", "scipy", "shapely", "ezdxf", "reportlab", "svgwrite", "PIL", "svgelements", "noise", "tomllib"}
LOOK = (
    "import sys\nfrom carvegen.interfaces.cli import main\n"
    "try:\n    main({words})\nfinally:\n    print(sorted(sys.modules))\n"
)


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["--version"],
        ["snowfall", "--help"],
        ["build", "--help"],
        ["check", "--help"],
    ],
)
def test_help_imports_nothing_heavy(words):
    done = subprocess.run(
        [sys.executable, "-c", LOOK.format(words=words)], capture_output=True, text=True, timeout=60, check=False
    )
    modules = set(done.stdout.rpartition("[")[2].replace("'", "").rstrip("]\n").split(", "))
    assert "click" in modules
    assert not HEAVY & modules


def test_a_warning_is_said_once(tmp_path, capsys, monkeypatch) -> None:
    """What lies past the edge is told as it is read, and not once more beneath what was made."""
    monkeypatch.chdir(tmp_path)
    ran = run(capsys, *TINY, "--keep-clear", "circle 0 0 4", "--out", "sky")
    assert f"{ran.out}{ran.err}".count("past the edge of the block") == 1
    assert "WARNING: " in (tmp_path / "sky" / "laser" / "note.md").read_text(encoding="utf-8")


def cpu_seconds(*words: str) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], capture_output=True, timeout=60, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime - before.ru_utime) + (after.ru_stime - before.ru_stime)


def test_help_costs_little_more_than_click_itself():
    """0.3 s, or three times what click takes there.

    A first run within 0.3 s is enough; else the best of three counts of each, so that a busy machine doesn't matter.
    """
    ours = cpu_seconds("-m", "carvegen", "--help")
    if ours < 0.3:
        return
    click_alone = min(cpu_seconds("-c", "import click") for _ in range(3))
    ours = min(ours, *(cpu_seconds("-m", "carvegen", "--help") for _ in range(2)))
    assert ours < max(0.3, 3 * click_alone), (ours, click_alone)


AT_FORK = """
import os
import sys
from carvegen.delivery import side_by_side
from carvegen.interfaces.cli import main
def told(task):
    print("loaded:", *sys.modules, flush=True)
    os._exit(0)
side_by_side._begun = told
main({words})
"""


@needs_fork
def test_what_writes_is_loaded_while_the_motif_grows(tmp_path):
    """Until its process begins one core stands idle: nothing is loaded there that growing has no use for."""
    words = [*TINY, "--jobs", "2", "--out", str(tmp_path / "sky")]
    done = subprocess.run(
        [sys.executable, "-c", AT_FORK.format(words=words)], capture_output=True, text=True, timeout=60, check=True
    )
    modules = next(line for line in done.stdout.splitlines() if line.startswith("loaded:")).split()
    assert {"shapely", "carvegen.blocks.from_motif"} <= set(modules)
    late = (
        "carvegen.writers.",
        "carvegen.artwork.svg.",
        "carvegen.checks.",
        "PIL",
        "scipy",
        "ezdxf",
    )
    assert [name for name in modules if name.startswith(late)] == ["carvegen.writers.file_names"]
