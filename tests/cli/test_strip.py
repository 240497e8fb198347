"""``carvegen strip`` and ``carvegen profiles measured``: from the strip to a profile of one's own."""

from __future__ import annotations

import json
import tomllib

import ezdxf
import pytest

from carvegen.facts.profiles import Library
from tests.cli.running import run

CUTTER = ("profiles", "measured", "cutter", "--like", "laser-fine", "--name", "my-laser", "--date", "2026-11-20")
LINO = (
    "profiles", "measured", "material", "--like", "linoleum", "--name", "my-lino", "--cutter", "my-laser",
    "--date", "2026-11-20",
)  # fmt: skip


def test_it_writes_a_strip_for_each_and_says_how_to_read_it(capsys, tmp_path):
    out = tmp_path / "strip"
    assert run(capsys, "strip", "--material", "linoleum", "--cutter", "laser-fine", "--out", str(out)).code == 0
    assert (out / "strip.png").is_file()
    page = (out / "laser" / "how-to-read.md").read_text(encoding="utf-8")
    assert "| land | 0.3 |" in page
    assert "ALONG THEIR OUTLINES" in page
    layers = [entity.dxf.layer for entity in ezdxf.readfile(out / "laser" / "block.dxf").modelspace()]
    assert layers.count("CUT-OUT") == 8
    assert "## Findings" not in (out / "laser" / "note.md").read_text(encoding="utf-8")
    assert (out / "hand" / "guide.pdf").read_bytes().startswith(b"%PDF")


def test_a_material_that_must_not_meet_a_laser_gets_no_strip_for_it(capsys, tmp_path):
    done = run(capsys, "strip", "--material", "vinyl-soft", "--cutter", "laser-fine", "--out", str(tmp_path / "no"))
    assert done.code == 3
    assert not (tmp_path / "no").exists()


def test_what_was_measured_becomes_a_profile_with_its_day(capsys, tmp_path):
    own = tmp_path / "own"
    kerf = ("--comb-face", "46.4", "--comb-back", "47", "--thickness", "3.2", "--bar-face", "9.8", "--cut", "0.3")
    done = run(capsys, *CUTTER, *kerf, "--out", str(own), "--json")
    assert done.code == 0, done.err
    assert json.loads(done.out)["values"]["kerf_bottom_mm"] == 0.125
    cutter = Library([own]).cutter("my-laser")
    assert cutter.values["kerf_top_mm"] == pytest.approx(0.2)
    assert cutter.sources["kerf_top_mm"] == "measured by the user, 2026-11-20"
    assert cutter.sources["land_factor"] == "common practice, no source"
    rungs = ("--land-across", "0.6", "--dot", "1", "--profiles", str(own), "--out", str(own))
    assert run(capsys, *LINO, *rungs).code == 0
    lino = Library([own]).material("my-lino")
    assert lino.land_along_mm == lino.land_across_mm == pytest.approx(0.4)
    assert lino.permits == Library().material("linoleum").permits


def test_measuring_again_keeps_what_was_measured_before(capsys, tmp_path):
    own = tmp_path / "own"
    assert run(capsys, *CUTTER, "--cut", "0.3", "--out", str(own)).code == 0
    later = [*CUTTER[:-1], "2026-11-22", "--bar-face", "9.9", "--out", str(own)]
    assert run(capsys, *later).code == 0
    values = tomllib.loads((own / "cutters" / "my-laser.toml").read_text(encoding="utf-8"))["values"]
    assert values["smallest_cut_mm"] == {"value": 0.3, "source": "measured by the user, 2026-11-20"}
    assert values["edge_loss_mm"] == {"value": 0.05, "source": "measured by the user, 2026-11-22"}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--comb-face", "46"], "needs --comb-face, --comb-back and --thickness"),
        (["--comb-face", "52", "--comb-back", "47", "--thickness", "3"], "--comb-face"),
        ([], "nothing was measured"),
        (["--cut", "900"], "smallest_cut_mm"),
    ],
)
def test_what_can_not_be_is_refused_and_nothing_is_written(capsys, tmp_path, given, said):
    done = run(capsys, *CUTTER, *given, "--out", str(tmp_path / "own"))
    assert done.code == 2
    assert said in done.err
    assert not list((tmp_path / "own").rglob("*.toml"))


def test_a_day_is_asked_for_in_iso_8601(capsys, tmp_path):
    done = run(capsys, *CUTTER[:-1], "20 November", "--cut", "0.3", "--out", str(tmp_path / "own"))
    assert done.code == 2
    assert "year-month-day" in done.err
