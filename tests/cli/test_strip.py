"""``carvegen strip`` and ``carvegen profiles measured``: from the strip to a profile of one's own."""

from __future__ import annotations

import itertools
import json
import tomllib

import ezdxf
import pyogrio.raw
import pytest
import shapely

from carvegen.blocks.job import setups_for
from carvegen.facts.profiles import Library
from tests.cli.running import run
from tests.strategies import few

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
    assert "### Findings" not in (out / "laser" / "note.md").read_text(encoding="utf-8")
    assert (out / "hand" / "guide.pdf").read_bytes().startswith(b"%PDF")


def test_a_pale_guide_is_paler_and_no_picture_of_widths_is_offered(capsys, tmp_path):
    words = ("strip", "--material", "cherry", "--cutter", "v-60", "--for", "hand")
    for folder, more in (("usual", ()), ("pale", ("--pale-guide",))):
        assert run(capsys, *words, *more, "--out", str(tmp_path / folder)).code == 0
    usual, pale = ((tmp_path / each / "hand" / "guide.svg").read_bytes() for each in ("usual", "pale"))
    assert usual != pale
    assert run(capsys, *words, "--width-map", "--out", str(tmp_path / "map")).code == 2


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


def test_measuring_again_tells_what_it_replaces(capsys, tmp_path):
    run(capsys, *CUTTER, "--cut", "0.3", "--out", tmp_path)
    same = run(capsys, *CUTTER, "--cut", "0.3", "--out", tmp_path)
    assert "REPLACES" not in same.out
    other = run(capsys, *CUTTER, "--cut", "0.35", "--out", tmp_path)
    assert "smallest_cut_mm = 0.55; REPLACES 0.5 (measured by the user, 2026-11-20)" in other.out
    report = json.loads(run(capsys, *CUTTER, "--cut", "0.4", "--out", tmp_path, "--json").out)
    assert report["replaced"] == {"smallest_cut_mm": "0.55 (measured by the user, 2026-11-20)"}


def test_measuring_again_keeps_what_was_measured_before(capsys, tmp_path):
    own = tmp_path / "own"
    assert run(capsys, *CUTTER, "--cut", "0.3", "--out", str(own)).code == 0
    later = [*CUTTER[:-1], "2026-11-22", "--bar-face", "9.7", "--out", str(own)]
    assert run(capsys, *later).code == 0
    values = tomllib.loads((own / "cutters" / "my-laser.toml").read_text(encoding="utf-8"))["values"]
    assert values["smallest_cut_mm"] == {"value": 0.5, "source": "measured by the user, 2026-11-20"}
    assert values["edge_loss_mm"] == {"value": 0.05, "source": "measured by the user, 2026-11-22"}


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (["--comb-face", "46"], "needs --comb-face, --comb-back and --thickness"),
        (["--comb-face", "52", "--comb-back", "47", "--thickness", "3"], "--comb-face"),
        ([], "nothing was measured"),
        (["--cut", "900"], "smallest_cut_mm"),
    ],
)
def test_what_can_not_be_is_refused_and_nothing_is_written(capsys, tmp_path, values, said):
    done = run(capsys, *CUTTER, *values, "--out", str(tmp_path / "own"))
    assert done.code == 2
    assert said in done.err
    assert not list((tmp_path / "own").rglob("*.toml"))


def test_a_day_is_asked_for_in_iso_8601(capsys, tmp_path):
    done = run(capsys, *CUTTER[:-1], "20 November", "--cut", "0.3", "--out", str(tmp_path / "own"))
    assert done.code == 2
    assert "year-month-day" in done.err


@pytest.mark.parametrize(
    ("like", "values", "said"),
    [
        ("flat-1", ["--bar-foot", "12", "--bar-face", "9.9"], "--bar-foot"),
        ("v-60", ["--comb-face", "46", "--cut", "0.5"], "--comb-face"),
        ("laser-fine", ["--depth", "2", "--cut", "0.5"], "--depth"),
        ("v-60", ["--bar-foot", "12", "--cut", "0.5"], "needs --depth"),
        ("v-60", ["--bar-face", "9.8", "--bar-foot", "12", "--floor-ends", "9", "--depth", "2"], "a second time"),
    ],
)
def test_a_reading_that_would_change_nothing_is_refused(capsys, tmp_path, like, values, said):
    command = ("profiles", "measured", "cutter", "--like", like, "--name", "my-own", "--date", "2026-11-20")
    done = run(capsys, *command, *values, "--out", str(tmp_path / "own"))
    assert done.code == 2
    assert said in done.err


@pytest.mark.parametrize("cutter", few(["laser-fine", "v-60", "flat-1"], 1))
def test_the_pages_own_command_runs(capsys, tmp_path, cutter):
    """With readings in the place of its dots."""
    out = str(tmp_path / "strip")
    assert run(capsys, "strip", "--material", "linoleum", "--cutter", cutter, "--out", out).code == 0
    kind = "laser" if cutter == "laser-fine" else "router" if cutter == "flat-1" else "hand"
    page = (tmp_path / "strip" / kind / "how-to-read.md").read_text(encoding="utf-8")
    words = next(line for line in page.splitlines() if "measured cutter" in line).split()[1:]
    read = {"--comb-face": "46", "--comb-back": "47", "--thickness": "3", "--bar-face": "9.8", "--bar-foot": "12",
            "--depth": "2", "--cut": "1.5"}  # fmt: skip
    words = [read[words[k - 1]] if word == "..." else word for k, word in enumerate(words)]
    words = [str(tmp_path / "own") if word == "my-profiles" else "2026-11-20" if word == "YYYY-MM-DD" else word
             for word in words]  # fmt: skip
    done = run(capsys, *words)
    assert done.code == 0, done.err


def test_a_profile_stays_what_it_was_started_from(capsys, tmp_path):
    """Else readings of a vinyl could be kept in a linoleum's profile, which a laser may be asked to cut."""
    command = ("profiles", "measured", "material", "--name", "my-stuff", "--cutter", "v-60", "--date", "2026-11-20")
    own = ("--dot", "1.6", "--out", str(tmp_path / "own"))
    assert run(capsys, *command, "--like", "linoleum", *own).code == 0
    before = (tmp_path / "own" / "materials" / "my-stuff.toml").read_bytes()
    done = run(capsys, *command, "--like", "vinyl-soft", *own)
    assert done.code == 2
    assert "--like" in done.err
    assert (tmp_path / "own" / "materials" / "my-stuff.toml").read_bytes() == before


def test_a_profile_of_ones_own_that_can_not_be_read_or_written_is_told(capsys, tmp_path):
    (tmp_path / "own" / "cutters").mkdir(parents=True)
    (tmp_path / "own" / "cutters" / "my-laser.toml").write_bytes(b"name = \xff")
    (tmp_path / "file").write_text("")
    for out, name in (("own", "my-laser"), ("file", "my-laser"), ("own", "a" * 300)):
        words = [name if word == "my-laser" else word for word in CUTTER]
        done = run(capsys, *words, "--cut", "0.3", "--out", str(tmp_path / out))
        assert done.code == 2, done.err


#: True of a made-up laser: kerf at face and back, what burns off each side besides, and the narrowest line that stands.
KERF, BURNT, STANDS = (0.26, 0.2), 0.05, 0.37


def as_cut(path, layer: str) -> list[shapely.Polygon]:
    """The openings that a beam of that kerf makes which follows a layer's outlines, as GDAL reads them."""
    result = pyogrio.raw.read(path, columns=["Layer"])
    rings = [each for each, name in zip(shapely.from_wkb(result[2]), result[3][0], strict=True) if name == layer]
    areas = [ring if ring.geom_type == "Polygon" else shapely.Polygon(ring.coords) for ring in rings]
    return [area.buffer(KERF[0] / 2 + BURNT, join_style="mitre") for area in areas]


def test_a_strip_that_a_laser_cut_gives_back_its_kerf_once(capsys, tmp_path):
    """The strip's own file is cut, in arithmetic, and measured; a block planned by what is kept stands as it did."""
    words = (
        "strip",
        "--material",
        "linoleum",
        "--cutter",
        "laser-fine",
        "--for",
        "laser",
        "--out",
        str(tmp_path / "s"),
    )
    assert run(capsys, *words).code == 0
    cuts = as_cut(tmp_path / "s" / "laser" / "block.dxf", "CUT AREA")
    bar = min(a.distance(b) for a in cuts for b in cuts if max(a.bounds[1], b.bounds[1]) < 0.1 and a is not b)
    comb = as_cut(tmp_path / "s" / "laser" / "block.dxf", "CUT-OUT")[0].buffer(-KERF[0] / 2 - BURNT, join_style="mitre")
    wide = comb.bounds[2] - comb.bounds[0]
    face, back = (8 * (wide - kerf) for kerf in KERF)
    own = str(tmp_path / "own")
    readings = ("--comb-face", f"{face:.4f}", "--comb-back", f"{back:.4f}", "--thickness", "3.2",
                "--bar-face", f"{bar:.4f}")  # fmt: skip
    assert run(capsys, *CUTTER, *readings, "--out", own).code == 0
    cutter = Library([tmp_path / "own"]).cutter("my-laser")
    assert cutter.values["kerf_top_mm"] == pytest.approx(KERF[0], abs=1e-3)
    assert cutter.edge_loss_mm == pytest.approx(BURNT, abs=1e-3)
    slots = sorted((cut for cut in cuts if abs(cut.bounds[3] - cut.bounds[1] - 10 - KERF[0] - 2 * BURNT) < 1e-6),
                   key=lambda each: each.bounds[0])  # fmt: skip
    lands = [b.bounds[0] - a.bounds[2] for a, b in itertools.pairwise(slots)]
    held = min(land for land in lands if STANDS <= land < 2)
    drawn = held + KERF[0] + 2 * BURNT
    assert run(capsys, *LINO, "--land-across", f"{drawn:.3f}", "--profiles", own, "--out", own).code == 0
    setup = setups_for(Library([tmp_path / "own"]), material="my-lino", cutter="my-laser")[0]
    assert setup.face_limits.land_mm - 2 * BURNT == pytest.approx(held, abs=2e-3)


@pytest.mark.parametrize(("option", "value"), [("--land-across", "0.1"), ("--dot", "0.1"), ("--cut", "9")])
def test_a_reading_that_is_no_rung_is_refused_with_the_rungs_there_are(capsys, tmp_path, option, value):
    words = ["laser-fine" if word == "my-laser" else word for word in LINO]
    done = run(capsys, *words, option, value, "--out", str(tmp_path / "own"))
    assert done.code == 2
    assert option in done.err and "must be a rung of the strip" in done.err
    assert not list((tmp_path / "own").rglob("*.toml"))
