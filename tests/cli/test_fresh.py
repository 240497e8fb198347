"""Commands begun where none of our modules that it needs is imported: what is imported late can be.

Each alone: `python -m tests.robustness laws`. In the rest of the suite one process has imported them all, in whatever
order, and its copies have, too.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys

from PIL import Image

from carvegen.interfaces.cli import _COMMANDS
from tests.cli.running import TINY, needs_fork, tree
from tests.robustness.renames import COMMANDS, sample_files
from tests.strategies import MANY

BY_HAND = ("--material", "linoleum", "--cutter", "v-60", "--for", "hand")
#: Commands that are run one after another in one process, each of which imports what those before it do not.
RUNS = [
    [("motifs",), ("completion", "bash"), ("profiles", "list"), ("new", "winter"), ("check", "a.svg", *BY_HAND[:4]),
     ("mend", "a.svg", *BY_HAND, "--out", "mended"), ("strip", *BY_HAND, "--out", "strip")],
    [("compare", "a.svg", "b.svg"), ("read", "a.svg", "-o", "clean.svg"),
     ("read", "scan.png", "--dpi", "100", "-o", "scan.svg")],
    [("build", "1.toml", "--out", "built"), ("sheet", "1.toml", "-o", "sheet.pdf")],
    [("snowload", "--size", "20x15", "--on", "box 5 0 6 8", *BY_HAND, "--out", "load"), (*TINY, "--out", "sky")],
]  # fmt: skip
#: Of more work, or written as snowfall is: tried where there is time for many.
LONGER = [
    *COMMANDS["undo"],
    COMMANDS["frost"][0],
    ("grain", "--size", "20x15", *BY_HAND, "--out", "grain"),
    ("tryout", "--out", "tried"),
]
#: One fresh interpreter, which has imported the large libraries alone, is forked for each process: it costs a tenth.
EACH_FORKED = """
import json, multiprocessing, os, ssl, sys, tomllib
import contourpy, cssselect2, ezdxf, fontTools.ttLib, lxml.etree, numpy, PIL.Image, platformdirs
import reportlab.pdfgen.canvas, scipy.ndimage, scipy.spatial, shapely, svgwrite, tinycss2, tomlkit
from carvegen.interfaces.cli import main
ours = {its.partition('.')[2].partition('.')[0] for its in sys.modules if its.startswith('carvegen.')}
assert ours <= {'base', 'interfaces'}, ours
ends = []
for process in json.loads(sys.argv[1]):
    read, write = os.pipe()
    if os.fork() == 0:
        for words in process:
            try:
                main(words)
            except SystemExit as end:
                os.write(write, bytes([end.code or 0]))
        os._exit(0)
    os.wait()
    os.close(write)
    ends.append(list(os.read(read, 99)))
print(json.dumps(ends))
"""


@needs_fork
def test_commands_run_where_nothing_of_ours_is_imported(own_folder, made):
    """`mark` begins its page so in `test_readme.py`. What is written there has the same bytes as in this process."""
    every = [words for process in RUNS for words in process]
    assert {words[0] for words in (*every, *LONGER)} == _COMMANDS.keys() - {"mark"}
    runs = [[words] for words in (*every, *LONGER) if words[0] != "undo"] + [COMMANDS["undo"]] if MANY else RUNS
    sample_files(own_folder)
    shutil.copy(own_folder / "a.svg", own_folder / "b.svg")
    picture = Image.new("L", (80, 60), 255)
    picture.paste(0, (20, 15, 50, 45))
    picture.save(own_folder / "scan.png")
    done = subprocess.run(
        [sys.executable, "-c", EACH_FORKED, json.dumps(runs)],
        capture_output=True, text=True, encoding="utf-8", timeout=300, check=False, cwd=own_folder,
        env=os.environ | {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    ends = json.loads(done.stdout.splitlines()[-1])
    assert [len(end) for end in ends] == [len(run) for run in runs], done.stderr
    assert [words for words, each in zip(runs, ends, strict=True) if not {*each} <= {0, 1}] == [], done.stderr
    assert tree(own_folder / "sky") == tree(made("sky", *TINY))
