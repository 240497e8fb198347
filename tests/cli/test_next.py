"""What is said beside findings: whose files they concern, what mending can clear, what was asked for in vain."""

from __future__ import annotations

import json

import pytest

from tests.cli.running import run

THICK = [
    "grain", "--size", "40x30", "--material", "cherry", "--cutter", "flat-3", "--also-cutter", "flat-1",
    "--opening", "circle 20 15 8", "--no-tabs",
]  # fmt: skip
HAND = ["grain", "--size", "30x20", "--material", "linoleum", "--cutter", "v-60", "--for", "hand"]


def test_what_only_the_laser_breaks_is_told_as_the_lasers(capsys, tmp_path):
    """19.1 mm cherry is beyond the laser's 6 mm; the router, whose cutter was chosen, cuts it."""
    done = run(capsys, *THICK, "--for", "router", "--for", "laser", "--out", tmp_path / "out")
    assert done.code == 1
    assert "What breaks concerns the files in laser/ alone; those in router/ hold." in done.out
    assert "--for router." in done.out
    assert "--mend" not in done.out  # nothing that mending could clear


def test_with_only_the_machine_that_holds_nothing_is_told(capsys, tmp_path):
    done = run(capsys, *THICK, "--for", "router", "--out", tmp_path / "out")
    assert (done.code, "concerns the files" in done.out) == (0, False), done.out


@pytest.mark.parametrize("width", [0.3, 0.6])
def test_mending_is_named_where_it_can_clear_something(capsys, tmp_path, width):
    drawing = tmp_path / "two.svg"
    drawing.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
        f'<rect x="5" y="5" width="10" height="20"/><rect x="{15 + width}" y="5" width="10" height="20"/></svg>'
    )
    values = ["check", drawing, "--material", "linoleum", "--cutter", "v-60", "--size", "40x30"]
    breaks = width < 0.5
    done = run(capsys, *values)
    assert (done.code, "carvegen mend FILE" in done.out) == (int(breaks), breaks)
    deep = run(capsys, *values, "--depth", "3.1")  # deeper than the floor allows: mending the cuts can't help
    assert deep.code == 1
    assert ("carvegen mend FILE" in deep.out) == breaks
    assert bool(json.loads(run(capsys, *values, "--depth", "3.1", "--json").out)["next"]) == breaks


def test_router_options_without_a_router_are_told(capsys, tmp_path):
    done = run(capsys, *HAND, "--program", "--also-cutter", "flat-1", "--out", tmp_path / "out")
    assert done.code == 0
    assert "WARNING: No router's files are written here, so nothing came of --program, --also-cutter flat-1" in done.out
    assert "nothing came of --program" in (tmp_path / "out" / "report.json").read_text()
    plain = run(capsys, *HAND, "--out", tmp_path / "out")
    assert "nothing came of" not in plain.out


def test_a_material_that_must_not_meet_a_router_gets_no_advice_to_add_one(capsys, tmp_path):
    values = ["grain", "--size", "30x20", "--material", "rubber-soft", "--cutter", "v-60", "--program"]
    done = run(capsys, *values, "--out", tmp_path / "out")
    assert "This material must not meet a router." in done.out


@pytest.mark.parametrize(
    "asked", [["--program"], ["--also-cutter", "flat-1"], ["--no-go", "box 1 1 2 2"], ["--cut-edge"], ["--simulated"]]
)
def test_what_paths_bring_is_refused_without_paths(capsys, tmp_path, asked):
    done = run(capsys, *HAND, "--no-paths", *asked, "--out", tmp_path / "out")
    assert done.code == 2
    assert f"{asked[0]} with --no-paths" in done.err
    assert not (tmp_path / "out").exists()
