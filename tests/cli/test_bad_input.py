"""Bad input through the commands: a clear word, exit code 2, no traceback, nothing half-written."""

from __future__ import annotations

import errno
import itertools
import json
import os
import shutil
import sys
from pathlib import Path

import pytest

from carvegen.base import files
from tests.cli.running import SMALL, TINY, run, run_apart, small, tree
from tests.strategies import few

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">{}</svg>'
BOMB = (
    '<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefghi", "bcdefghij", strict=True))
    + ']><svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm"><title>&j;</title></svg>'
)


def dxf(entities: str, header: str = "") -> str:
    head = f"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n{header}0\nENDSEC\n" if header is not None else ""
    return f"{head}0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n"


LINES = "".join(
    f"0\nLINE\n8\nCUT AREA\n10\n{a}\n20\n{b}\n11\n{c}\n21\n{d}\n"
    for a, b, c, d in [(5, 5, 20, 5), (20, 5, 20, 20), (20, 20, 5, 20)]
)
CIRCLE = "0\nCIRCLE\n8\nCUT AREA\n10\n10\n20\n10\n40\n5\n"

#: name, content, and words that the message has.
FILES = {
    "empty": ("a.svg", b"", "is empty"),
    "blank": ("a.svg", b" \n ", "is empty"),
    "junk": ("a.svg", bytes(range(256)) * 40, "neither an SVG nor a DXF"),
    "photo": ("a.svg", b"\x89PNG\r\n\x1a\n" + bytes(100), "dots"),
    "cut short": ("a.svg", SVG.format('<rect width="9"').encode()[:90], "line"),
    "bomb": ("a.svg", BOMB.encode(), "entit"),
    "no shape": ("a.svg", SVG.format("").encode(), "no shape"),
    "text": ("a.svg", SVG.format('<text x="2" y="9">ferry</text>').encode(), "text"),
    "nan": ("a.svg", SVG.format('<path d="M NaN 1 L 5 5 L 1 9 Z"/>').encode(), "path"),
    "far": ("a.svg", SVG.format('<rect width="1e300" height="1e300"/>').encode(), "kilometres away"),
    "open": ("a.dxf", dxf(LINES, "9\n$INSUNITS\n70\n4\n").encode(), "don't close"),
    "no units": ("a.dxf", dxf(CIRCLE, "9\n$EXTMIN\n10\n0\n20\n0\n").encode(), "no units"),
    "cut short dxf": ("a.dxf", dxf(CIRCLE, "9\n$INSUNITS\n70\n4\n").encode()[:70], "DXF"),
}  # fmt: skip


@pytest.fixture
def earlier(own_folder, made):
    """An earlier run's output, and a check that it is as it was, with nothing beside it."""
    shutil.copytree(made("sky", *small(seed="9")), own_folder / "sky")
    before = tree(own_folder / "sky")
    names = {path.name for path in own_folder.iterdir()}

    def untouched(*more: str) -> bool:
        return tree(own_folder / "sky") == before and {path.name for path in own_folder.iterdir()} == names | {*more}

    return untouched


def assert_told(ran, code=2):
    assert ran.code == code, ran
    assert ran.err.startswith(("carvegen: ", "… ", "Usage", "note: ", "WARNING: "))
    assert "Traceback" not in ran.err
    assert ran.out == ""


@pytest.mark.parametrize("case", few(FILES, 3))
def test_artwork_that_is_none(own_folder, capsys, earlier, case):
    name, data, words = FILES[case]
    (own_folder / name).write_bytes(data)
    ran = run(capsys, *SMALL, "--out", "sky", "--keep-clear", f"{name} at 5 5 width 20")
    assert_told(ran)
    assert name in ran.err
    assert words in ran.err
    assert earlier(name)
    checked = run(capsys, "check", name, "--material", "cherry", "--cutter", "laser-fine", "-o", "b.png")
    assert_told(checked)
    assert words in checked.err
    assert earlier(name)


def test_ten_million_coordinates(own_folder, capsys, earlier):
    (own_folder / "a.svg").write_text(SVG.format('<path d="M0 0' + "L1 2L3 1" * 2_500_000 + '"/>'))
    ran = run(capsys, *SMALL, "--out", "sky", "--keep-clear", "a.svg")
    assert_told(ran)
    assert "at most" in ran.err
    assert earlier("a.svg")


def test_a_missing_file_and_a_near_name(own_folder, capsys):
    (own_folder / "jetty.svg").write_text(SVG.format('<rect width="9" height="9"/>'))
    for words in ((*SMALL, "--out", "sky", "--keep-clear", "jety.svg"), ("check", "jety.svg", *SMALL[3:7])):
        ran = run(capsys, *words)
        assert_told(ran)
        assert "is not there" in ran.err
        assert "jetty.svg" in ran.err
    assert not (own_folder / "sky").exists()


def test_an_svg_without_size_needs_one(own_folder, capsys, earlier):
    (own_folder / "a.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg"><rect width="9" height="9"/></svg>')
    ran = run(capsys, *SMALL, "--out", "sky", "--keep-clear", "a.svg")
    assert_told(ran)
    assert "width 80" in ran.err
    checked = run(capsys, "check", "a.svg", *SMALL[3:7])
    assert_told(checked)
    assert "--units mm" in checked.err
    assert earlier("a.svg")


@pytest.mark.parametrize(
    ("words", "where"),
    [
        (("--keep-clear", "box 0 0 40 30"), "box 0 0 40 30"),
        (("--keep-clear", "box 1 1 38 28", "--clearance", "2"), "--keep-clear"),
        (("--keep-clear", "circle 200 200 5"), "circle 200 200 5"),
        (("--keep-clear", "circle 20 20"), "circle"),
        (("--keep-clear", "circle nan 20 4"), "circle"),
        (("--margin", "15"), "--margin"),
        (("--margin", "500"), "--margin"),
        (("--margin", "-5"), "--margin"),
        (("--margin", "nan"), "--margin"),
        (("--margin", "wide"), "--margin"),
        (("--clearance", "-1"), "--clearance"),
        (("--opening", "circle 38 15 5"), "--opening"),
        (("--opening", "circle 90 15 5"), "circle 90 15 5"),
        (("--depth", "0"), "--depth"),
        (("--depth", "99"), "--depth"),
        (("--depth", "inf"), "--depth"),
        (("--thickness", "1e9"), "--thickness"),
        (("--grain", "1e400"), "--grain"),
        (("--grain", "north"), "--grain"),
        (("--snow", "nan"), "--snow"),
        (("--snow", "2"), "--snow"),
        (("--smallest", "9", "--largest", "3"), "--smallest"),
        (("--seed", "-1"), "--seed"),
        (("--name", "ferry\x07"), "--name"),
        (("--name", "x" * 1000), "--name"),
        (("--declare", "cherry\nwood"), "--declare"),
        (("--machine", "laser-bet"), "laser-bed"),
        (("--profiles", "nowhere"), "nowhere"),
        (("--cutter", "v-60", "--for", "laser"), "--cutter"),
    ],
    ids=lambda value: " ".join(value)[:30] if isinstance(value, tuple) else "",
)
def test_options_that_cannot_be_used(capsys, earlier, words, where):
    ran = run(capsys, *SMALL, "--out", "sky", *words)
    assert_told(ran)
    assert where in ran.err
    assert earlier()


@pytest.mark.parametrize(
    "size",
    [
        "200",
        "x",
        "200x",
        "-5x40",
        "0x0",
        "nanxnan",
        "1e400x5",
        "4.9x30",
        "30x2001",
        "9e9x9e9",
        "200ftx3ft",
        "2x3x4",
        "",
    ],
)
def test_sizes_of_no_block(capsys, earlier, size):
    ran = run(capsys, *small(size=size), "--out", "sky")
    assert_told(ran)
    assert "--size" in ran.err
    assert earlier()


def test_a_block_smaller_than_its_land(own_folder, capsys):
    """The least that is allowed, in the softest block with the largest land: a word, or a block without flakes."""
    ran = run(capsys, *small(size="5x5mm", material="rubber-soft", cutter="u-4"), "--out", "sky", "--margin", "2.5")
    assert_told(ran)
    assert "nothing of the block is left" in ran.err
    assert tree(own_folder) == {}


_BY_HAND = (*small(size="20x15mm", cutter="v-60"), "--for", "hand")


def put_file(path, text="the captain's own"):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


@pytest.mark.parametrize(
    ("out", "in_the_way"),
    [("sky", "sky"), ("sky/deep", "sky"), ("sky", "sky/laser"), ("sky", "sky/hand"), ("sky", "sky/proof.svg/mine.txt")],
)
def test_something_in_the_way_of_the_folder(own_folder, capsys, out, in_the_way):
    """The tests may run as root, who may write anywhere: a file where a folder must be stops anyone."""
    put_file(own_folder / in_the_way)
    put_file(own_folder / "beside/proof.png")
    before = tree(own_folder)
    ran = run(capsys, *_BY_HAND if in_the_way == "sky/hand" else TINY, "--out", out)
    assert ran.code == 2
    assert "sky" in ran.err
    assert "--out" in ran.err
    assert "Traceback" not in ran.err
    assert tree(own_folder) == before


@pytest.mark.parametrize(
    "more", [("--marks", "none.svg"), ("--snow", "0.9"), ("--opening", "circle 900 900 5"), ("--kept", "none.svg")]
)
def test_a_folder_of_her_own_is_refused_before_anything_else_is_looked_at(own_folder, capsys, more):
    put_file(own_folder / "sky/proof.png")
    ran = run(capsys, *TINY, "--out", "sky", *more)
    assert ran.code == 2
    assert "--out" in ran.err
    assert "proof.png" in ran.err
    assert not any(word in ran.err for word in more)


def test_missing_parents_are_made_and_go_again_with_a_failure(own_folder, capsys, monkeypatch):
    assert run(capsys, *TINY, "--out", "winter/landing/sky").code in (0, 1)
    assert (own_folder / "winter/landing/sky/proof.png").is_file()
    monkeypatch.setattr(files, "_publish", full)
    assert run(capsys, *TINY, "--out", "summer/landing/sky").code == 2
    assert not (own_folder / "summer").exists()


def full(*_args: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_folder_that_may_not_be_written(own_folder, capsys, earlier, monkeypatch):
    monkeypatch.setattr(files.os, "access", lambda path, mode: mode == os.R_OK)
    ran = run(capsys, *SMALL, "--out", "sky")
    assert ran.code == 2
    assert "can't be written" in ran.err
    assert earlier()


def full_at(nth: int):
    """`Path.open` on a disk that is full at the nth file that is to be made."""
    made, real = itertools.count(1), Path.open

    def opened(path: Path, mode: str = "r", **more: object):
        file = real(path, mode, **more)
        if mode == "xb" and next(made) == nth:
            file.close()
            full()
        return file

    return opened


@pytest.mark.parametrize("nth", few([7, 1, 3, 12], 1))
def test_a_disk_that_fills_up(capsys, earlier, monkeypatch, nth):
    """A delivery of linoleum for the laser has twelve files; whichever fails, all stays as it was."""
    monkeypatch.setattr(Path, "open", full_at(nth))
    ran = run(capsys, *SMALL, "--out", "sky")
    monkeypatch.undo()
    assert ran.code == 2
    assert os.strerror(errno.ENOSPC) in ran.err
    assert "free some space" in ran.err
    assert earlier()


@pytest.mark.skipif(sys.platform != "linux", reason="needs a limit on the size of files")
def test_the_system_itself_refuses_more(own_folder, earlier):
    """A real limit of the system: no file may grow past 20 kB."""
    import resource

    ran = run_apart(
        own_folder, *TINY, "--out", "sky",
        first=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)),
    )  # fmt: skip
    assert ran.code == 2
    assert "can't be written" in ran.err
    assert "Traceback" not in ran.err
    assert earlier()


@pytest.mark.parametrize(
    ("picture", "words"),
    [("a.svg", "overwrite"), ("a.jpg", ".png or .svg"), ("b", ".png or .svg"), ("held.png", "can't be written")],
)
def test_a_picture_that_cannot_be_written(own_folder, capsys, picture, words):
    put_file(own_folder / "a.svg", SVG.format('<rect x="5" y="5" width="9" height="9"/>'))
    put_file(own_folder / "held.png/mine.txt")
    before = tree(own_folder)
    ran = run(capsys, "check", "a.svg", *SMALL[3:7], "-o", picture)
    assert_told(ran)
    assert words in ran.err
    assert tree(own_folder) == before


@pytest.mark.parametrize("words", few([("--name", b"ferry\xff"), ("--keep-clear", b"\xff.svg"), ("--out", b"\xff")], 1))
def test_names_in_no_known_alphabet(own_folder, words):
    """In a copy whose streams are strict."""
    ran = run_apart(own_folder, *TINY, "--out", "sky", *map(os.fsdecode, words))
    assert ran.code == (0 if words[0] == "--out" else 2)
    assert "Traceback" not in ran.err


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (("snowfal",), "snowfall"),
        ((*SMALL, "--material", "linolium"), "linoleum"),
        ((*SMALL, "--cutter", "laser-fin"), "laser-fine"),
        ((*SMALL, "--weather", "flury"), "flurry"),
        ((*SMALL, "--keep-clear", "pots.svg"), "post.svg"),
        (("build", "prnt.toml"), "print.toml"),
        (("build", "."), "print.toml"),
        ((*SMALL, "--snow", "30"), "30 % is 0.3"),
        (("build", "print.toml"), 'name = "landing"'),
    ],
)
def test_what_was_meant_is_named(own_folder, capsys, words, meant):
    (own_folder / "post.svg").write_text("", encoding="utf-8")
    (own_folder / "print.toml").write_text("[print]\nname = landing\n", encoding="utf-8")
    ran = run(capsys, *words, "--out", "sky")
    assert ran.code == 2
    assert meant in ran.err


def test_a_small_block_of_bare_numbers_is_asked_about(own_folder, capsys):
    done = run(capsys, *small(size="30x20", cutter="v-60"), "--for", "hand", "--out", "sky", "--json")
    assert any("30x20cm" in note for note in json.loads(done.out)["notes"])
    sure = run(capsys, *small(size="30x20mm", cutter="v-60"), "--for", "hand", "--out", "sky")
    assert "cm" not in sure.err


def test_what_becomes_of_an_earlier_result_is_told(own_folder, capsys):
    first = run(capsys, *small(size="20x15"), "--out", "sky")
    assert "Replaced" not in first.out
    again = run(capsys, *_BY_HAND, "--out", "sky")
    assert "Replaced: 7 files of an earlier result." in again.out
    assert "laser/ (6 files), router/ (6 files)" in again.out
    report = json.loads(run(capsys, *_BY_HAND, "--out", "sky", "--json").out)
    assert report["earlier"]["taken_away"] == []


def test_files_of_her_own_are_never_overwritten(own_folder, capsys):
    put_file(own_folder / "mine" / "proof.png")
    before = tree(own_folder)
    ran = run(capsys, *SMALL, "--out", "mine")
    assert ran.code == 2
    assert "proof.png" in ran.err
    assert tree(own_folder) == before
