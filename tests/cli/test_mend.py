"""``carvegen mend``: a drawing goes in, its mended block comes out, and what was changed is told."""

from __future__ import annotations

import dataclasses
import json

import pytest
import shapely

from carvegen.blocks.from_drawing import drawn_block
from carvegen.blocks.views import View
from carvegen.writers.block.block_drawing import machine_svg
from tests import cases
from tests.cli.running import run

SETUP = ("--material", "linoleum", "--cutter", "v-60")


def drawing(folder, *cuts) -> str:
    path = folder / "block.svg"
    setup_ = cases.setup("linoleum", "laser-fine")
    path.write_text(machine_svg(dataclasses.replace(setup_.on(cases.block(*cuts)))))
    return path.name


FAULTY = (cases.box(5, 5, 10, 10), cases.box(15.3, 6, 10, 8), cases.disc(32, 20, 3))


def test_mended_files_hold_and_changes_are_told(own_folder, capsys):
    name = drawing(own_folder, *FAULTY)
    assert run(capsys, "check", name, *SETUP, "--view", "block").code == 1
    done = run(capsys, "mend", name, *SETUP, "--view", "block", "--out", "sky", "--width-map", "--json")
    assert done.code == 0, done.err
    report = json.loads(done.out)
    assert {change["what"] for change in report["changes"]} == {"widened"}
    told = run(capsys, "mend", name, *SETUP, "--view", "block", "--out", "sea").out
    land = cases.setup("linoleum", "laser-fine").limits.land_mm
    assert f"Mended: thin land widened to {land:.2g} mm: {len(report['changes'])};" in told
    assert {"changes.png", "land-width.png", "land-width.svg"} <= set(report["files"])
    assert all((own_folder / "sky" / file).is_file() for file in report["files"])
    assert json.loads((own_folder / "sky" / "report.json").read_text())["changes"] == report["changes"]


def test_a_twig_that_goes_whole_is_told_beside_the_changes_and_is_white_once(own_folder, capsys):
    """0.15 x 20 mm in white; its own area is a field of its own, a hundredth at most of it rounded."""
    name = drawing(own_folder, cases.box(4, 5, 30, 20) - cases.box(8, 14, 20, 0.15))
    done = run(capsys, "mend", name, *SETUP, "--view", "block", "--out", "sky")
    assert done.code == 0, done.err
    report = json.loads((own_folder / "sky" / "report.json").read_text())
    assert sum(change["white_mm2"] for change in report["changes"]) == pytest.approx(3, abs=0.1)
    [lost] = report["lost"]
    assert lost["area_mm2"] == 3.0
    words = f"; pieces of land gone whole: 1, the largest 3.0 mm² at x {lost['at'][0]:.1f}, y {lost['at'][1]:.1f} mm"
    assert f"+3.0 mm² of white; the largest at x {report['changes'][0]['at'][0]:.1f}" in done.out
    assert f"{words} (see changes.png)." in done.out
    assert f"{words}; report.json lists each change" in (own_folder / "sky" / "hand" / "note.md").read_text()


def test_a_sound_drawing_is_written_as_it_is(own_folder, capsys):
    sound = (cases.box(5, 5, 10, 10), cases.disc(32, 20, 3))
    name = drawing(own_folder, *sound)
    before = drawn_block(own_folder / name, view=View.BLOCK).block
    done = run(capsys, "mend", name, *SETUP, "--view", "block", "--out", "sky", "--json")
    assert done.code == 0, done.err
    report = json.loads(done.out)
    assert (report["changes"], report["lost"]) == ([], [])
    assert "changes.png" not in report["files"]
    assert shapely.area(before.cuts).sum() == pytest.approx(100 + sound[1].area, rel=1e-3)


def test_a_drawing_that_is_missing(own_folder, capsys):
    done = run(capsys, "mend", "none.svg", *SETUP, "--out", "sky")
    assert done.code == 2
    assert not (own_folder / "sky").exists()
