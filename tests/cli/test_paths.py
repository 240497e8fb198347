"""Options about toolpaths reach the files; what is wrong with one is told."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import ezdxf
import pytest

from tests.cli.running import run
from tests.strategies import takes_long

MAKE = [
    "snowfall", "--size", "32x26", "--material", "birch-plywood", "--cutter", "laser-fine", "--for", "laser",
    "--opening", "circle 16 13 8", "--json",
]  # fmt: skip


def made(capsys, out: Path, *more: str, code: int = 0) -> dict:
    done = run(capsys, *MAKE, "--out", out, *more)
    assert done.code == code, done.err
    return json.loads(done.out)


def layers(text: str) -> list[str]:
    """The layers of a DXF in the order in which they first hold something."""
    return list(dict.fromkeys(entity.dxf.layer for entity in ezdxf.read(io.StringIO(text)).modelspace()))


@takes_long  # readers/test_plan_readers.py reads them; help's examples write them
def test_paths_are_handed_over_beside_the_shapes(capsys, tmp_path):
    report = made(capsys, tmp_path / "out")
    names = {"laser/paths.png", "laser/paths.svg", "laser/paths.dxf"}
    assert names <= set(report["files"])
    assert all((tmp_path / "out" / name).stat().st_size > 0 for name in names)
    note = (tmp_path / "out" / "laser" / "note.md").read_text()
    assert "### Paths, in working order" in note
    assert "CUT-OUT" in note


def test_without_paths_there_are_none_and_those_of_before_go(capsys, tmp_path):
    made(capsys, tmp_path / "out")
    report = made(capsys, tmp_path / "out", "--no-paths")
    assert not [name for name in report["files"] if "paths" in name]
    assert not list((tmp_path / "out" / "laser").glob("paths.*"))
    assert "Paths" not in (tmp_path / "out" / "laser" / "note.md").read_text()


def test_choices_reach_the_paths(capsys, tmp_path):
    made(capsys, tmp_path / "out", "--shoulder-steps", "1", "--cut-edge", "--no-tabs", "--lowered", "contours")
    text = (tmp_path / "out" / "laser" / "paths.dxf").read_text()
    assert [name for name in layers(text) if name != "NOTES"] == [
        "SCORE REGISTER", "LOWER FLOOR", "SHOULDER 1 OF 1", "CUT-OUT", "CUT-OUT BLOCK", "BLOCK EDGE",
    ]  # fmt: skip


ROUTED = ["snowfall", "--size", "24x18", "--snow", "0", "--material", "linoleum", "--opening", "circle 12 9 6",
          "--json"]  # fmt: skip


@pytest.mark.parametrize(("cutter", "more", "through"), [
    ("laser-fine", [], ["CUT THROUGH FLAT-3"]),  # no router's cutter is chosen: the machine's own straight one
    ("v-60", [], []),  # hers can't cut through: told
    ("v-60", ["--also-cutter", "flat-1"], ["CUT THROUGH FLAT-1"]),
])  # fmt: skip
def test_an_opening_is_routed_by_the_machine_s_straight_cutter_unless_she_chose_a_cutter(
    cutter, more, through, capsys, tmp_path
):
    done = run(
        capsys, *ROUTED, "--cutter", cutter, "--for", "router", *more, "--for", "laser", "--out", tmp_path / "out"
    )
    breaks = [
        finding["rule"]
        for finding in json.loads(done.out)["reports"]["router"]["findings"]
        if finding["severity"] == "breaks"
    ]
    text = (tmp_path / "out" / "router" / "paths.dxf").read_text()
    assert [name for name in layers(text) if name.startswith("CUT THROUGH")] == through
    assert (done.code, breaks) == ((0, []) if through else (1, ["not-cut"]))


def test_where_nothing_may_go_nothing_goes(capsys, tmp_path):
    report = made(capsys, tmp_path / "out", "--no-go", "box 6 3 20 20", code=1)  # over the opening
    assert {
        finding["rule"] for finding in report["reports"]["laser"]["findings"] if finding["severity"] == "breaks"
    } == {"not-cut"}
    text = (tmp_path / "out" / "laser" / "paths.dxf").read_text()
    assert "LOWER FLOOR" in layers(text)
    assert "CUT-OUT" not in layers(text)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--line-spacing", "9"], "--line-spacing"),
        (["--lead-in", "-1"], "--lead-in"),
        (["--also-cutter", "nothing"], "nothing"),
        (["--no-go", "ring 1 2"], "ring 1 2"),
    ],
)
def test_a_wrong_choice_is_told(words, said, capsys, tmp_path):
    done = run(capsys, *MAKE, "--out", tmp_path / "out", *words)
    assert done.code == 2
    assert said in done.out + done.err


def test_hands_are_given_a_time(capsys, tmp_path):
    made(capsys, tmp_path / "out", "--for", "hand")
    note = (tmp_path / "out" / "hand" / "note.md").read_text()
    assert re.search(
        r"By hand it takes about \d+ minutes if you are quick, [\d.]+ (minutes|hours?) if you are slow", note
    )
