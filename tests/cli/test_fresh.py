"""Commands begun where none of our modules that it needs is imported: what is imported late can be.

In the rest of the suite one process has imported them all, in whatever order, and its copies have, too.
"""

from __future__ import annotations

import json
import subprocess
import sys

from PIL import Image

from carvegen.cli import _COMMANDS
from tests.cli.running import TINY, needs_fork
from tests.robustness.renames import COMMANDS, sample_files
from tests.strategies import MANY

BY_HAND = ("--material", "linoleum", "--cutter", "v-60", "--for", "hand")
RUNS = [
    (*TINY, "--out", "sky"),
    ("snowload", "--size", "20x15", "--on", "box 5 0 6 8", *BY_HAND, "--out", "load"),
    ("motifs",),
    ("new", "winter"),
    ("build", "1.toml", "--out", "built"),
    ("sheet", "1.toml", "-o", "sheet.pdf"),
    *COMMANDS["undo"],  # keep, which lets grain and frost grow, and undo
    ("read", "a.svg", "-o", "clean.svg"),
    ("read", "scan.png", "--dpi", "100", "-o", "scan.svg"),
    ("check", "a.svg", *BY_HAND[:4]),
    ("mend", "a.svg", *BY_HAND, "--out", "mended"),
    ("compare", "a.svg", "clean.svg"),
    ("profiles", "list"),
    ("strip", *BY_HAND, "--out", "strip"),
    ("completion", "bash"),
]
#: Of more work, or written as snowfall is: tried where there is time for many.
LONGER = [COMMANDS["frost"][0], ("grain", "--size", "20x15", *BY_HAND, "--out", "grain"), ("tryout", "--out", "tried")]
#: One fresh interpreter, which has imported the large libraries alone, is forked for each command: it costs a tenth.
EACH_FORKED = """
import json, os, sys
import numpy, scipy, shapely
from carvegen.cli import main
ours = {its.partition('.')[2].partition('.')[0] for its in sys.modules if its.startswith('carvegen.')}
assert ours <= {'base', 'cli'}, ours
ends = []
for words in json.loads(sys.argv[1]):
    if os.fork() == 0:
        main(words)
    ends.append(os.waitstatus_to_exitcode(os.wait()[1]))
print(json.dumps(ends))
"""


@needs_fork
def test_commands_run_where_nothing_of_ours_is_imported(own_folder):
    """`mark` begins its page so in `test_readme.py`."""
    assert {words[0] for words in (*RUNS, *LONGER)} == _COMMANDS.keys() - {"mark"}
    runs = [*RUNS, *LONGER] if MANY else RUNS
    sample_files(own_folder)
    picture = Image.new("L", (80, 60), 255)
    picture.paste(0, (20, 15, 50, 45))
    picture.save(own_folder / "scan.png")
    done = subprocess.run(
        [sys.executable, "-c", EACH_FORKED, json.dumps(runs)],
        capture_output=True, text=True, encoding="utf-8", timeout=300, check=False, cwd=own_folder,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    ends = json.loads(done.stdout.splitlines()[-1])
    assert [words for words, end in zip(runs, ends, strict=True) if end not in (0, 1)] == [], done.stderr
