"""The examples in commands' help run as they stand; those that grow a motif on a large block, on a smaller one.

Not run here: the page, which ends with its window, and what reads a photograph (tests/page, tests/cli/test_read.py,
tests/prints). Those are only parsed, with all others, in tests/test_pages.py.
"""

from __future__ import annotations

import shlex
import shutil

import numpy as np
import pytest
from PIL import Image

from carvegen.interfaces.cli import _COMMANDS
from tests.cases import layer, small_print
from tests.cli.running import built_once, run
from tests.strategies import MANY
from tests.test_pages import examples

PRINT = small_print(
    layer("POST", "box 6 0 5 12"),
    blocks={"key": ["POST"]},
    size=(24, 16),
    after="\n".join(
        f'[[motifs]]\nmotif = "snowfall"\nkeep_clear = ["POST"]\nsettings = {{ snow = {share}, smallest_mm = 1.2 }}\n'
        for share in (0.04, 0.03)
    ),
    seed=3,
)
PHOTOGRAPHS = (".jpg", "carvegen mark", "carvegen build", "carvegen new")
DRAWING = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    '<rect x="5" y="5" width="10" height="20"/><circle cx="28" cy="15" r="6"/></svg>'
)
SMALLER = {
    "200x150": "30x22",
    "150x100": "30x22",
    "circle 150 110 18": "circle 22 15 4",
    "box 120 20 8 70": "box 19 0 4 12",
    "box 40 30 120 90": "box 6 5 18 12",
    "box 0 0 150 24": "box 0 0 30 8",
    "box 0 26 150 30": "box 0 10 30 12",
    "fir.svg width 60": "fir.svg at 2 0 width 12",
}
LINES = [line for name in _COMMANDS for line in examples(name) if not any(each in line for each in PHOTOGRAPHS)]


@pytest.fixture
def bench(own_folder):
    """What the examples take for granted: a print that is built, drawings, a scan in three tones."""
    shutil.copytree(built_once(PRINT), own_folder / "landing")
    for name in ("built", "built-monday", "built-today"):
        shutil.copytree(own_folder / "landing" / "built", own_folder / name)
    (own_folder / "sky" / "laser").mkdir(parents=True)
    for name in ("sky.svg", "fir.svg", "sky/laser/block.svg"):
        (own_folder / name).write_text(DRAWING, encoding="utf-8")
    tones = np.full((150, 200), 250, dtype=np.uint8)
    tones[20:130, 20:180], tones[40:110, 40:100], tones[50:100, 110:160] = 190, 110, 25
    Image.fromarray(tones).save(own_folder / "jetty.tif", dpi=(127, 127))
    return own_folder


ONE_EACH = list({line.split()[1]: line for line in LINES}.values())


@pytest.mark.parametrize("line", LINES if MANY else ONE_EACH)
def test_an_example_of_the_help_runs(bench, capsys, line):
    words = [SMALLER.get(word, word) for word in shlex.split(line)[1:]]
    if "mend" in words or "snow" in words[0]:
        shutil.rmtree(bench / "sky")  # of another origin: a result is written there
    if words[-1] == "--release" or words[0] == "undo":
        run(capsys, "keep", "landing/print.toml")
    kind = "laser" if "laser-fine" in words else "hand"
    ran = run(capsys, *words, *(["--for", kind] if "--size" in words else []))
    assert ran.code in (0, 1), ran.err


def test_most_examples_are_run():
    every = sum(len(examples(name)) for name in _COMMANDS)
    assert len(LINES) >= 0.6 * every
