"""The wheel, built once, put into an empty environment of each Python given and used from there."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.cli.running import SMALL

ROOT = Path(__file__).parents[2]


def pythons() -> list[str]:
    """The oldest Python that the project allows, and the newest that is found on the path and answers."""
    oldest = re.search(r'requires-python = ">=3\.(\d+)"', (ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert oldest, "pyproject.toml says which Python it needs"
    names = [f"python3.{minor}" for minor in range(int(oldest[1]), 40)]
    there = [name for name in names if shutil.which(name) and _version(name)]
    return list(dict.fromkeys([there[0], there[-1]]))


def wheels(values: list[str]) -> int:
    """Install the wheel and let it try itself out and make a block, away from the checkout; how many Pythons failed."""
    bad = 0
    with tempfile.TemporaryDirectory() as where:
        subprocess.run(
            [sys.executable, "-m", "build", "--wheel", "--outdir", where, ROOT], check=True, capture_output=True
        )
        (wheel,) = Path(where).glob("*.whl")
        for python in values or pythons():
            wrong = _tried(python, wheel, Path(where) / Path(python).name)
            bad += bool(wrong)
            print(f"{wheel.name} on {_version(python) or python}: {wrong or 'installed, tried out, a block made'}")
    return bad


def _version(python: str) -> str:
    said = subprocess.run([python, "--version"], check=False, capture_output=True, text=True)
    return said.stdout.strip() if said.returncode == 0 else ""


def _tried(python: str, wheel: Path, folder: Path) -> str:
    """What went wrong, or nothing."""
    own = folder / "venv" / "bin"
    steps: list[list[str | Path]] = [
        [python, "-m", "venv", folder / "venv"],
        [own / "pip", "install", "-q", "--disable-pip-version-check", wheel],
        [own / "carvegen", "tryout", "--out", "tried"],
        [own / "carvegen", *SMALL, "--out", "sky"],
    ]
    folder.mkdir()
    for step in steps:
        done = subprocess.run(step, cwd=folder, check=False, capture_output=True, text=True)
        if done.returncode:
            return f"{' '.join(map(str, step))} ended with {done.returncode}: {done.stderr[-500:]}"
    missing = [name for name in ("proof.png", "report.json", "hand/guide.pdf") if not (folder / "sky" / name).is_file()]
    return f"missing: {', '.join(missing)}" if missing else ""
