"""``carvegen tryout``, how much is told, and completion in a shell."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
from contextlib import redirect_stdout

import pytest

from carvegen.base.errors import CarvegenError
from carvegen.interfaces.cli import main
from carvegen.interfaces.cli.setup import tryout
from tests.cli.running import TINY, run, small
from tests.strategies import few


@pytest.fixture(scope="module")
def tried(tmp_path_factory):
    """A folder in which all was tried, the exit code and what was said."""
    folder, said = tmp_path_factory.mktemp("tried"), io.StringIO()
    with pytest.MonkeyPatch.context() as here, redirect_stdout(said), pytest.raises(SystemExit) as end:
        here.chdir(folder)
        main(["tryout", "--out", "sample"])
    return folder, end.value.code, said.getvalue()


def test_it_says_that_all_works_and_leaves_a_sample(tried):
    folder, code, said = tried
    assert not code
    assert [line[:6] for line in said.splitlines()[:4]] == ["ok    "] * 4
    assert said.rstrip().splitlines()[-1] == "Look first: sample/proof.png"
    assert (folder / "sample" / "proof.png").read_bytes().startswith(b"\x89PNG")


def test_what_fails_is_named(own_folder, capsys, monkeypatch):
    def broken() -> str:
        raise CarvegenError("a profile is missing")

    monkeypatch.setattr(tryout, "_profiles", broken)
    done = run(capsys, "tryout", "--json")
    assert done.code == 2
    assert {step["step"]: step["fault"] for step in json.loads(done.out)["steps"]}["profiles"] == "a profile is missing"


def test_a_fault_nobody_thought_of_is_named_and_nothing_older_is_read_back(own_folder, tried, capsys, monkeypatch):
    shutil.copytree(tried[0] / "sample", own_folder / "sample")

    def broken(_out: object) -> str:
        raise IndexError("out of bounds")

    monkeypatch.setattr(tryout, "_sample", broken)
    done = run(capsys, "tryout", "--out", "sample")
    assert done.code == 2
    assert "FAILED  a sample: IndexError: out of bounds" in done.out
    assert "read back" not in done.out


@pytest.mark.parametrize("flag", few(["--quiet", "-q"], 1))
def test_quiet_tells_only_what_needs_a_hand(own_folder, capsys, flag):
    words = (*small(size="20x15mm"), "--out", "sky")
    done = run(capsys, *words, flag)
    assert done.err == ""
    assert [line[:9] for line in done.out.splitlines() if line] == ["ASK FIRST", "ASK FIRST"]
    assert run(capsys, *TINY, "--out", "sky").out.count("Written to sky") == 1


def test_verbose_tells_when_each_stage_began(own_folder, capsys):
    done = run(capsys, *TINY, "--out", "sky", "--verbose")
    times = [float(line.split()[1]) for line in done.err.splitlines() if line.startswith("… ")]
    assert len(times) >= 4
    assert times == sorted(times)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_for_each_shell_names_the_program(own_folder, capsys, shell):
    assert "_CARVEGEN_COMPLETE" in run(capsys, "completion", shell).out


@pytest.mark.parametrize(("typed", "meant"), [("snowf", "snowfall"), ("tryo", "tryout")])
def test_commands_are_completed(own_folder, typed, meant):
    """As bash asks for it (click's shell completion)."""
    asked = {"_CARVEGEN_COMPLETE": "bash_complete", "COMP_WORDS": f"carvegen {typed}", "COMP_CWORD": "1"}
    code = "from carvegen.interfaces.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | asked, capture_output=True, text=True, check=False
    )
    assert meant in done.stdout
