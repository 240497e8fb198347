"""The interface for scripts: README's example runs, every name is there, and importing it is light."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import carvegen
from tests.strategies import takes_long

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def test_the_readme_s_example_runs_and_writes_what_the_command_writes(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (code,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    assert len(code.strip().splitlines()) <= 10
    exec(compile(code, "README.md", "exec"), {})
    assert (tmp_path / "sky" / "laser" / "block.dxf").is_file()
    assert (tmp_path / "sky" / "proof.png").is_file()


def test_every_name_is_there_and_others_are_not():
    assert set(carvegen.__all__) <= set(dir(carvegen))
    for name in carvegen.__all__:
        assert getattr(carvegen, name).__doc__, name
    with pytest.raises(AttributeError, match="has no attribute 'cut'"):
        _ = carvegen.cut


def test_the_import_alone_is_light():
    code = "import sys, carvegen; print(sorted({'numpy', 'shapely', 'scipy', 'click'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.fixture(scope="module")
def setups():
    return carvegen.setups("linoleum", "v-60", kinds=["hand"])


@takes_long  # cli/test_picture_first.py
def test_what_is_written_is_drawn_again(setups, tmp_path):
    grown = carvegen.grow("snowfall", (24, 18), setups, seed=3, keep_clear=["circle 12 9 3"])
    carvegen.write(grown, carvegen.setups("linoleum", "v-60"), tmp_path / "sky")
    drawn = carvegen.draw(tmp_path / "sky" / "router" / "block.svg")
    assert len(drawn.cuts) == len(grown.cuts)
    assert drawn.white_share == pytest.approx(grown.white_share, abs=1e-6)


def test_mending_clears_what_the_check_tells(setups, tmp_path):
    lines = "".join(f'<rect x="{x}" y="5" width="4" height="20"/>' for x in (5, 9.2))
    text = f'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">{lines}</svg>'
    (tmp_path / "bars.svg").write_text(text, encoding="utf-8")
    block = carvegen.draw(tmp_path / "bars.svg", (40, 30))
    assert carvegen.check(block, setups[0]).breaks > 0
    assert carvegen.check(carvegen.mend(block, setups), setups[0]).breaks == 0


@pytest.mark.parametrize(
    ("wrong", "where"),
    [({"preset": "flury"}, "preset"), ({"settings": {"bigest_mm": 3}}, "settings"), ({"openings": ["circle 1"]}, "")],
)
def test_what_cannot_be_used_is_told(setups, wrong, where):
    with pytest.raises(carvegen.InputError) as raised:
        carvegen.grow("snowfall", (40, 30), setups, **wrong)
    assert where in str(raised.value)
