"""Exit codes and streams, as the group's help promises them; run as a program, outside the checkout."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cases import layer, small_print
from tests.cli.running import (
    SMALL,
    TINY,
    Forked,
    Ran,
    command,
    needs_fork,
    run,
    run_afresh,
    run_apart,
    small,
    start,
    tree,
)
from tests.strategies import MANY, few, takes_long

NARROW = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">
<rect x="5" y="5" width="10" height="20"/><rect x="15.2" y="5" width="10" height="20"/></svg>"""
SOUND = NARROW.replace('x="15.2"', 'x="20"')
CHECK = ("check", "landing.svg", "--material", "cherry", "--cutter", "laser-fine")


def test_0_and_1_without_and_with_a_broken_limit(own_folder, capsys):
    (own_folder / "landing.svg").write_text(SOUND)
    assert run(capsys, *CHECK).code == 0
    (own_folder / "landing.svg").write_text(NARROW)
    broken = run_apart(own_folder, *CHECK)
    assert broken.code == 1
    assert "Land too narrow at x" in broken.out


def test_1_for_whichever_machine_a_limit_breaks(own_folder, capsys):
    """A V-tool of 60 degrees leaned by 40 undercuts: the hand's files break, the laser's come first."""
    ran = run(capsys, *small(size="20x15mm"), "--no-paths", "--out", "sky", "--lean", "40", "--json")
    broken = {kind: report["breaks"] > 0 for kind, report in json.loads(ran.out)["reports"].items()}
    assert not next(iter(broken.values()))
    assert broken["hand"]
    assert ran.code == 1


@pytest.mark.parametrize(
    "words",
    [
        ("snowfal",),
        ("snowfall",),
        ("--weather", "flurry"),
        ("check", "none.svg", *CHECK[2:]),
        ("profiles", "show", "x"),
    ],
)
def test_2_for_what_cannot_be_used(own_folder, capsys, words):
    failed = run_afresh(own_folder, *words) if words == ("snowfal",) else run(capsys, *words)
    assert failed.code == 2
    assert failed.err
    assert "Traceback" not in failed.err
    assert tree(own_folder) == {}


def test_3_for_what_is_refused(own_folder, capsys):
    refused = run(capsys, *small(material="vinyl-soft"), "--out", "sky")
    assert refused.code == 3
    assert tree(own_folder) == {}


@pytest.mark.parametrize(
    "error", few([RuntimeError("a\nb\x1b[31m" + 9000 * "c"), KeyError("x"), OSError(5, "x"), RecursionError()], 1)
)
def test_4_for_a_fault_of_ours_in_one_line_and_nothing_is_changed(own_folder, capsys, monkeypatch, made, error):
    shutil.copytree(made("sky", *TINY), own_folder / "sky")
    before = tree(own_folder)

    def broken(*_args: object, **_named: object) -> None:
        raise error

    monkeypatch.setattr("carvegen.delivery.block_folder.proof_svg", broken)
    failed = run(capsys, *TINY, "--seed", "4", "--out", "sky")
    if isinstance(error, OSError):  # while a folder is written it is the folder's
        assert failed.code == 2
        return
    report = [line for line in failed.err.splitlines() if not line.startswith(("… ", "note: "))]
    assert failed.code == 4
    assert len(report) == 2
    assert report[0].startswith(f"carvegen: a fault of its own, not yours: {type(error).__name__}")
    assert "block_folder.py:" in report[0]
    assert len(report[0]) < 1000
    assert "send us" in report[1]
    assert tree(own_folder) == before
    assert json.loads(run(capsys, *TINY, "--seed", "4", "--out", "sky", "--json").out)["error"]["exit_code"] == 4


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize(
    "words", few([("profiles", "list"), ("profiles", "list", "--json"), ("--help",), ("new", "--keys")], 2)
)
@pytest.mark.parametrize("unbuffered", ["", "1"] if MANY else [""])
def test_a_full_output_is_told(own_folder, words, unbuffered):
    """/dev/full: every write fails with ENOSPC (full(4) of the Linux manual)."""
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        failed = subprocess.run(
            command(*words), stdout=full, stderr=subprocess.PIPE, text=True, check=False, cwd=own_folder,
            env=os.environ | {"PYTHONUNBUFFERED": unbuffered},
        )  # fmt: skip
    assert failed.returncode == 2
    assert failed.stderr.startswith(f"carvegen: the output: can't be written ({os.strerror(errno.ENOSPC)})")
    assert "Traceback" not in failed.stderr
    assert "Exception" not in failed.stderr


@needs_fork
def test_nobody_reads_the_output_or_the_errors(own_folder):
    """A reader that has gone is no finding (1), and an error stream that is full stops no work."""
    read, write = os.pipe()
    os.close(read)
    how = {"stdout": write, "stderr": subprocess.PIPE, "text": True, "cwd": own_folder}
    gone = subprocess.run(command("profiles", "list"), check=False, **how)
    os.close(write)
    assert (gone.returncode, gone.stderr) == (2, "")

    def full() -> None:
        os.dup2(os.open("/dev/full", os.O_WRONLY), 2)

    done = run_apart(own_folder, *TINY, "--out", "sky", first=full)
    assert (done.code, done.err) == (0, "")
    assert "Written to sky" in done.out


def test_the_help_and_the_readme_tell_the_same_exit_codes(capsys):
    report = " ".join(run(capsys, "--help").out.split())
    readme = " ".join((Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").split())
    for words in ("3 refused for safety", "4 a fault of carvegen itself", "130 stopped"):
        assert words in report
        assert words in readme


@needs_fork
@pytest.mark.parametrize(
    ("stage", "where"),
    [
        ("letting it snow", "carvegen.blocks.from_motif.grown_block"),
        ("writing for the hand", "carvegen.delivery.block_folder._write_job"),
        ("drawing the proof", "carvegen.delivery.block_folder.proof_svg"),
    ],
)
def test_130_for_ctrl_c_and_nothing_is_changed(own_folder, made, monkeypatch, stage, where):
    """While it does what here takes until Ctrl-C comes."""
    shutil.copytree(made("sky", *TINY), own_folder / "sky")
    before = tree(own_folder)
    monkeypatch.setattr(where, lambda *_, **__: time.sleep(60))
    words = (*small(size="20x15mm", cutter="v-60"), "--for", "hand") if "hand" in stage else TINY
    drawing = Forked(own_folder, *words, "--seed", "4", "--out", "sky")
    assert any(stage in line for line in drawing.stderr)
    os.kill(drawing.pid, signal.SIGINT)
    said = drawing.ended()
    assert said.code == 130
    assert "nothing was changed" in said.err
    assert "Traceback" not in said.err
    assert tree(own_folder) == before


@takes_long  # above, in a copy that begins where all is imported
@pytest.mark.parametrize("stage", ["letting it snow", "writing for the hand", "drawing the proof"])
def test_130_for_ctrl_c_as_she_runs_it_at_each_stage(own_folder, made, stage):
    shutil.copytree(made("sky", *TINY), own_folder / "sky")
    before = tree(own_folder)
    big = start(own_folder, *small(size="60x45", seed="4"), "--out", "sky")
    assert any(stage in line for line in big.stderr)
    big.send_signal(signal.SIGINT)
    said = big.communicate(timeout=60)
    assert big.returncode in (130, -signal.SIGINT), said  # Python may end by the signal: shells call that 130 too
    assert "nothing was changed" in said[1]
    assert "Traceback" not in said[1]
    assert tree(own_folder) == before


@pytest.mark.skipif(sys.platform != "linux", reason="its processes are looked up in /proc")
def test_130_for_ctrl_c_in_a_build_and_no_process_is_left(own_folder):
    """While blocks are built side by side."""
    drawn = [layer("POST", "box 12 0 10 30"), layer("LIT", "box 18 2 2 24")]
    blocks = {"sky": ["*"], "tone": ["LIT", "POST"], "key": ["POST"]}
    (own_folder / "print.toml").write_text(small_print(*drawn, blocks=blocks, machine="router"), encoding="utf-8")
    before = tree(own_folder)
    build = Forked(own_folder, "build", "print.toml", "--out", "built", "--jobs", "2")
    for line in build.stderr:
        if "making the files" in line:
            break
    children = children_of(build.pid)
    os.kill(build.pid, signal.SIGINT)
    said = build.ended()
    assert said.code == 130
    assert "nothing was changed" in said.err
    assert "Traceback" not in said.err
    assert tree(own_folder) == before
    assert children
    end = time.monotonic() + 5  # what was killed is there until the system has cleared it away
    while any(left := [child for child in children if Path(f"/proc/{child}").exists()]) and time.monotonic() < end:
        time.sleep(0.05)
    assert not left


def children_of(process):
    result = []
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):  # it has ended meanwhile
            if (folder / "stat").read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()[1] == str(
                process
            ):
                result.append(int(folder.name))
    return result


@takes_long  # in a process that knows of our modules' libraries alone: test_fresh.py
def test_the_same_command_in_another_process_gives_the_same_bytes(own_folder, made):
    assert run_afresh(own_folder, *TINY, "--out", "sky").code in (0, 1)
    assert tree(own_folder / "sky") == tree(made("sky", *TINY))


@needs_fork
def test_two_at_once_leave_the_whole_of_one(own_folder, made):
    """Two runs with different seeds into one folder: what is there at the end is one run's, not a mixture."""
    hers = {seed: (*TINY, "--seed", seed) for seed in ("3", "4")}
    whole = {seed: tree(made("sky", *words)) for seed, words in hers.items()}
    assert whole["3"] != whole["4"]
    both = [Forked(own_folder, *words, "--out", "sky") for words in hers.values()]
    said = [one.ended() for one in both]
    assert [one.code for one in said] == [0, 0], said
    assert tree(own_folder / "sky") in whole.values()
    assert [path.name for path in own_folder.iterdir()] == ["sky"]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((*TINY, "--out", "sky"), 0),
        (CHECK, 1),
        (("profiles", "list"), 0),
        (("profiles", "check"), 0),
        (("profiles", "show", "linoleum"), 0),
        (("profiles", "show", "linolium"), 2),
        ((*small(size="nan"), "--out", "sky"), 2),
        ((*small(material="rubber-soft"), "--out", "sky"), 3),
        ((*SMALL, "--out", "sky", "--transfer", "glue"), 2),
    ],
)
def test_json_alone_on_the_output(own_folder, capsys, words, code):
    """Scripts read the output whatever happens; an error is an object with its exit code, and words on stderr."""
    (own_folder / "landing.svg").write_text(NARROW)
    ran = run(capsys, *words, "--json")
    report = json.loads(ran.out)
    assert ran.code == code
    if code > 1:
        assert report["error"]["exit_code"] == code
        assert report["error"]["message"] in ran.err.replace("\n", " ") or report["error"]["message"][:40] in ran.err
    else:
        assert ran.err == ""


def test_progress_goes_to_the_error_stream(capsys):
    ran = run(capsys, *TINY, "--out", "sky")
    assert "letting it snow" in ran.err
    assert "letting it snow" not in ran.out


def test_no_memory_is_told_in_words(capsys, monkeypatch):
    def none_left(*_args: object, **_named: object) -> None:
        raise MemoryError

    monkeypatch.setattr("carvegen.blocks.from_motif.grown_block", none_left)
    ran = run(capsys, *SMALL, "--out", "sky")
    assert ran == Ran(2, "", ran.err)
    assert "memory" in ran.err


def test_130_for_ctrl_c_while_a_class_is_made(capsys, monkeypatch, tmp_path):
    """As while a module loads: Python 3.11 wraps what a field raises there."""

    class Field:
        def __set_name__(self, owner, name):
            raise KeyboardInterrupt

    def loaded(*_, **__):
        try:
            type("Loaded", (), {"field": Field()})
        except RuntimeError:
            raise
        except KeyboardInterrupt as interrupted:  # since Python 3.12 it comes as it is
            raise RuntimeError("Error calling __set_name__") from interrupted

    monkeypatch.setattr("carvegen.blocks.from_motif.grown_block", loaded)
    said = run(capsys, *TINY, "--jobs", "1", "--out", tmp_path / "sky")
    assert said.code == 130
    assert "stopped" in said.err
    assert "fault" not in said.err
