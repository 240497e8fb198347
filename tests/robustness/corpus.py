"""The bytes of many runs, recorded before code moves and compared after: every command, motif, preset, kind of machine.

``python -m tests.robustness corpus before.json`` writes the record where there is none; called again, it names each
file that differs from it.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from carvegen.interfaces import cli
from carvegen.motifs import motif
from tests.cli.running import tree

_GALLERY = Path(__file__).parents[2] / "gallery"
_LINO = "--material linoleum --cutter v-60"
_POSTS = f"{_GALLERY}/ferry-landing/landing.svg width 60"
_MATERIALS = {"linoleum": "laser-fine", "cherry": "v-30", "maple-end-grain": "laser-fine", "mdf": "flat-1"}


def runs() -> Iterator[tuple[str, list[list[str]]]]:
    """Each run's name and its command lines; all write into the folder that they run in."""
    for name, more in {"snowfall": [], "frost": [], "grain": [], "snowload": ["--on", _POSTS]}.items():
        for preset in motif(name).PRESETS:
            style = {"snowfall": "--weather", "frost": "--look", "grain": "--board", "snowload": "--snow"}[name]
            for seed in (1, 7):
                words = f"{name} --size 60x40 {_LINO} {style} {preset} --seed {seed} --out out".split()
                yield f"{name} {preset} {seed}", [[*words, *more]]
    small = "snowfall --size 40x30 --seed 3 --out out"
    for material, cutter in _MATERIALS.items():
        yield f"material {material}", [f"{small} --material {material} --cutter {cutter}".split()]
    for words in (
        "--for laser", "--for router --program --simulated", "--for hand --paper Letter", "--mend --width-map",
        "--opening 'circle 20 15 5'", "--margin 3", "--dxf R12", "--transfer glued --pale-guide", "--prints",
        "--lowered contours", "--cleared lines", "--json --quiet",
    ):  # fmt: skip
        yield f"options {words}", [[*f"{small} {_LINO}".split(), *words.replace("'circle 20 15 5'", "%").split(" ")]]
    yield "strip", [f"strip {_LINO} --out out".split(), f"strip {_LINO} --for laser --out laser".split()]
    yield "tryout", [["tryout", "--out", "out"]]
    yield "profiles", [["profiles", "list"], ["profiles", "show", "linoleum"], ["profiles", "check"]]
    yield "motifs", [["motifs"], ["motifs", "--json"]]
    yield "keys", [["new", "--keys"], ["new", "--schema"]]
    yield "read", [["read", f"{_GALLERY}/ferry-landing/landing.svg", "-o", "clean.svg"]]
    yield (
        "check and mend",
        [
            [*f"{small} {_LINO}".split()],
            ["check", "out/laser/block.dxf", "--view", "block", *_LINO.split(), "--json"],
            ["mend", "out/laser/block.svg", "--view", "block", *_LINO.split(), "--out", "mended"],
            ["compare", "out/laser/block.svg", "mended/laser/block.svg", "--view", "block"],
        ],
    )
    for name in ("lamplight", "frosted-window", "jetty-boards"):
        yield f"build {name}", [["build", f"{_GALLERY}/{name}/print.toml", "--out", "out"]]
    for name in ("print",):
        yield f"build landing {name}", [["new", "landing"], ["build", f"landing/{name}.toml", "--out", "out"]]
    for words in ("--help", "build --help", "check --help", "snowload --help", "read --help", "strip --help"):
        yield f"help {words}", [words.split()]


def record(run: tuple[str, list[list[str]]]) -> tuple[str, dict[str, str]]:
    """The hash of every file that the run writes and of what it says, by name."""
    name, lines = run
    hashes = {}
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        os.environ["XDG_CONFIG_HOME"] = folder
        for number, line in enumerate(lines):
            words = ["circle 20 15 5" if word == "%" else word for word in line]
            said = io.StringIO()
            with contextlib.redirect_stdout(said), contextlib.suppress(SystemExit):
                cli.main(words)
            hashes[f"output {number}"] = said.getvalue().replace(folder, "")
        hashes |= {str(path): content for path, content in tree(Path(folder)).items()}
    digest = {
        key: hashlib.sha256(value if isinstance(value, bytes) else value.encode()) for key, value in hashes.items()
    }
    return name, {key: value.hexdigest()[:16] for key, value in sorted(digest.items())}


def corpus(file: Path) -> list[str]:
    """The runs' files that differ from the record; with none there, the record is written."""
    with ProcessPoolExecutor() as workers:
        now = dict(workers.map(record, runs()))
    if not file.exists():
        file.write_text(json.dumps(now, indent=1), encoding="utf-8")
        return []
    before = json.loads(file.read_text(encoding="utf-8"))
    return [
        f"{run}: {name}"
        for run in sorted(before.keys() | now.keys())
        for name in sorted(before.get(run, {}).keys() | now.get(run, {}).keys())
        if before.get(run, {}).get(name) != now.get(run, {}).get(name)
    ]
