"""Keep, release and undo from the command line, and what a build makes of a kept print."""

from __future__ import annotations

import json
import shutil

import pytest
from lxml import etree
from PIL import Image

from tests.cli.running import run, tree
from tests.strategies import few

PRINT = """
# Small, with a motif of each kind.
[print]
name = "post"
size_mm = [36, 26]
seed = 4

[artwork]
files = ["drawing.svg"]

[[blocks]]
name = "sky"
role = "background"
ink = "#a9bfcb"
layers = ["*"]
material = "linoleum"
cutter = "v-60"
for = ["hand"]

[[motifs]]
motif = "snowload"
on = ["POSTS"]    # what bears it

[[motifs]]        # not much
motif = "snowfall"
name = "Near flakes"
keep_clear = ["MOON"]
settings = { snow = 0.05, largest_mm = 2.0 }
region = "box 2 15 32 10"

[[motifs]]
motif = "grain"
on = ["JETTY"]
region = "JETTY"

[[motifs]]
motif = "frost"
region = "box 24 1 11 7"
"""
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="36mm" height="26mm" viewBox="0 0 36 26">
<g id="JETTY"><path d="M1 25V19H21V25Z"/></g>
<g id="POSTS"><path d="M3 19V13H6V19Z"/><path d="M13 19V12H17V19Z"/></g>
<g id="MOON"><path d="M29 2h4v4h-4z"/></g></svg>
"""
FILES = {
    "snowload 1": "kept/snowload-1.svg", "Near flakes": "kept/near-flakes.svg", "grain 1": "kept/grain-1.svg",
    "frost 1": "kept/frost-1.svg",
}  # fmt: skip


def write(folder) -> None:
    (folder / "print.toml").write_text(PRINT)
    (folder / "drawing.svg").write_text(DRAWING)


@pytest.fixture(scope="module")
def landing(tmp_path_factory):
    """A folder with the print, built as it grows; kept; and built once more."""
    return tmp_path_factory.mktemp("landing")


@pytest.fixture
def kept(landing, own_folder, capsys):
    """A copy of a folder in which all is kept, with `grown` and `built`: built before and after."""
    if not (landing / "built").exists():
        write(landing)
        assert run(capsys, "build", landing / "print.toml", "--out", landing / "grown", "--jobs", 1).code in (0, 1)
        assert run(capsys, "keep", landing / "print.toml").code == 0
        assert run(capsys, "build", landing / "print.toml", "--out", landing / "built", "--jobs", 1).code in (0, 1)
    shutil.copytree(landing, own_folder, dirs_exist_ok=True)
    return own_folder


def files(folder) -> dict[str, bytes]:
    """All but the record, which says what went in."""
    return {name: data for name, data in tree(folder).items() if name != "build.json"}


def change(folder, name: str, old: str, new: str) -> None:
    text = (folder / name).read_text()
    assert old in text
    (folder / name).write_text(text.replace(old, new))


def test_law_kept_and_unmarked_every_file_is_the_same(kept):
    grown, built = files(kept / "grown"), files(kept / "built")
    assert len(grown) > 10
    assert [name for name in grown.keys() | built.keys() if grown.get(name) != built.get(name)] == []


def test_the_print_file_names_them_and_nothing_else_in_it_changes(kept):
    lines = (kept / "print.toml").read_text().splitlines()
    named = [line for line in lines if line.startswith("kept = ")]
    assert named == [f'kept = "{file}"' for file in FILES.values()]
    assert [line for line in lines if line not in named] == PRINT.splitlines()
    assert sorted(path.name for path in (kept / "kept").iterdir()) == sorted(value[5:] for value in FILES.values())


def test_kept_again_nothing_changes_and_there_is_nothing_more_to_undo(kept, capsys):
    before = tree(kept)
    assert run(capsys, "keep", "print.toml").code == 0
    assert tree(kept) == before


def test_released_and_undone(kept, capsys):
    first = (kept / "print.toml").read_bytes()
    ran = run(capsys, "keep", "print.toml", "--release", "--motif", "near flakes")
    assert "Near flakes grows again; the file kept/near-flakes.svg stays" in ran.out
    assert (kept / "print.toml").read_bytes() == first.replace(b'kept = "kept/near-flakes.svg"\n', b"")
    assert run(capsys, "keep", "print.toml", "--release").code == 0
    assert (kept / "print.toml").read_text() == PRINT
    assert "none of its motifs is kept" in run(capsys, "keep", "print.toml", "--release").err
    for more in ("2 more can be undone", "1 more can be undone", "Nothing more can be undone"):
        assert more in run(capsys, "undo", "print.toml").out
    assert (kept / "print.toml").read_text() == PRINT
    assert not any((kept / "kept").iterdir())
    assert run(capsys, "undo", "print.toml").code == 2


def test_a_motif_that_is_not_there(kept, capsys):
    ran = run(capsys, "keep", "print.toml", "--motif", "near flake")
    assert (ran.code, "must be a motif of this print" in ran.err, "Near flakes" in ran.err) == (2, True, True)


def test_an_edit_changes_what_it_changes_and_breaks_are_told(kept, capsys):
    """One flake is taken away and one laid over the moon, which is to stay clear: no other land differs."""
    path = kept / "kept/near-flakes.svg"
    root = etree.parse(path).getroot()
    first, second, *_ = root.iter("{http://www.w3.org/2000/svg}path")
    first.getparent().remove(first)
    second.set("d", "M30 3H32V5H30Z")
    path.write_bytes(etree.tostring(root))
    ran = run(capsys, "build", "print.toml", "--out", "built", "--json", "--jobs", 1)
    findings = json.loads(ran.out)["report"]["findings"]
    report = [finding for finding in findings if finding["rule"] == "kept-shape"]
    assert [(each["at_mm"], each["severity"]) for each in report] == [([31.0, 22.0], "advice")]
    assert "Near flakes" in report[0]["why"]


def test_a_changed_drawing_is_told_and_drawn_and_built_again_is_built_afresh(kept, capsys):
    """The second post is sawn off lower; a cloud is drawn into the flakes' sky, and then taken away again."""
    grown = files(kept / "built")
    change(kept, "drawing.svg", "M13 19V12H17V19Z", "M13 19V14H17V19Z")
    change(kept, "drawing.svg", "M29 2h4v4h-4z", "M23 2h10v8h-10z")
    ran = run(capsys, "build", "print.toml", "--out", "built", "--jobs", 1)
    assert "lying snow 1: the drawing has changed under" in ran.err + ran.out
    assert "Near flakes: the drawing has changed under" in ran.err + ran.out
    with Image.open(kept / "built/changed.png") as picture:
        assert picture.width > 100
    assert "changed.png" in (kept / "built/proof.html").read_text()
    assert run(capsys, "build", "print.toml", "--out", "fresh", "--jobs", 1).code in (0, 1)
    assert tree(kept / "built") == tree(kept / "fresh")
    (kept / "built/changed.png").unlink()
    run(capsys, "build", "print.toml", "--out", "built", "--jobs", 1)
    assert tree(kept / "built") == tree(kept / "fresh")
    (kept / "drawing.svg").write_text(DRAWING)
    run(capsys, "build", "print.toml", "--out", "built", "--jobs", 1)
    assert files(kept / "built") == grown


def test_settings_that_change_nothing_while_kept_are_told(kept, capsys):
    land = (kept / "built/lands/sky.wkb").read_bytes()
    change(kept, "print.toml", "snow = 0.05", "snow = 0.2")
    ran = run(capsys, "build", "print.toml", "--out", "built", "--jobs", 1)
    assert "Near flakes is kept: snow differ" in ran.err + ran.out
    assert (kept / "built/lands/sky.wkb").read_bytes() == land


def test_a_kept_file_that_cannot_be_used_is_told_with_its_key_and_nothing_is_lost(kept, capsys):
    before = files(kept / "built")
    text = (kept / "kept/frost-1.svg").read_text()
    (kept / "kept/frost-1.svg").write_text(text[:500])
    ran = run(capsys, "build", "print.toml", "--out", "built", "--jobs", 1)
    assert ran.code == 2
    assert "the fourth motif's kept" in ran.err
    assert "is not whole, well-formed XML" in ran.err
    assert files(kept / "built") == before


ON = {"snowload": ("--on", "box 6 3 5 9"), "frost": ("--from", "box 4 4 12 9")}


@pytest.mark.parametrize("name", few(["frost", "snowfall", "grain", "snowload"], 1))
def test_a_single_block_kept_is_the_same_in_every_file(own_folder, capsys, name):
    words = [name, "--size", "24x18", "--material", "linoleum", "--cutter", "v-60", "--for", "hand", *ON.get(name, ())]
    assert run(capsys, *words, "--keep", "one.svg", "--out", "grown").code in (0, 1)
    assert run(capsys, *words, "--kept", "one.svg", "--out", "kept", "--seed", 5).code in (0, 1)
    grown, kept = tree(own_folder / "grown"), tree(own_folder / "kept")
    assert grown == kept
    if name == "grain":
        assert "is there already" in run(capsys, *words, "--keep", "one.svg", "--out", "grown").err
        assert "--kept: one.svg: is of another size" in run(
            capsys, *words, "--kept", "one.svg", "--out", "grown", "--size", "24x19"
        ).err  # fmt: skip
        assert "can't be given together" in run(
            capsys, *words, "--kept", "one.svg", "--keep", "two.svg", "--out", "grown"
        ).err  # fmt: skip


@pytest.mark.parametrize("name", few(["snowload", "snowfall", "grain", "frost"], 1))
def test_a_single_block_grown_or_kept_is_marked_alike(own_folder, capsys, name):
    """Marks are laid on what is taken from a kept file as on what grows: the same shapes, white and standing."""
    words = [name, "--size", "24x18", "--material", "linoleum", "--cutter", "v-60", "--for", "hand", *ON.get(name, ())]
    (own_folder / "marks.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="24mm" height="18mm" viewBox="0 0 24 18">'
        '<g id="comes-out"><rect x="15" y="3" width="5" height="4"/></g>'
        '<g id="stays"><rect x="4" y="2" width="5" height="9"/></g></svg>'
    )
    assert run(capsys, *words, "--keep", "one.svg", "--out", "plain").code in (0, 1)
    assert run(capsys, *words, "--marks", "marks.svg", "--out", "grown").code in (0, 1)
    assert run(capsys, *words, "--kept", "one.svg", "--marks", "marks.svg", "--out", "kept").code in (0, 1)
    assert tree(own_folder / "grown") == tree(own_folder / "kept") != tree(own_folder / "plain")
    with Image.open(own_folder / "kept" / "proof.png") as proof:
        scale, grey = proof.width / 24, proof.convert("L")
        out, stays = (grey.crop([round(scale * each) for each in at]).getextrema()
                      for at in ((15.2, 3.2, 19.8, 6.8), (4.2, 2.2, 8.8, 10.8)))  # fmt: skip
    assert out[0] > 200  # bare paper
    assert stays[1] < 200  # ink
    if name == "grain":
        ran = run(capsys, *words, "--marks", "none.svg", "--out", "kept")
        assert (ran.code, "--marks: none.svg" in ran.err) == (2, True)
        ran = run(capsys, *words, "--prints", "--marks", "marks.svg", "--out", "kept")
        assert (ran.code, "--marks: can't be used with --prints" in ran.err) == (2, True)


def test_no_kept_file_is_written_over_that_is_another_motifs_or_was_let_go(kept, capsys):
    mine = (kept / "kept/frost-1.svg").read_text() + "<!-- mine -->"
    (kept / "kept/frost-1.svg").write_text(mine)
    run(capsys, "keep", "print.toml", "--motif", "frost 1", "--release")
    assert run(capsys, "keep", "print.toml", "--motif", "frost 1").code == 0
    assert (kept / "kept/frost-1.svg").read_text() == mine
    assert 'kept = "kept/frost-1-2.svg"' in (kept / "print.toml").read_text()


def test_undo_of_a_print_file_that_is_not_there_changes_nothing(kept, capsys):
    before = files(kept)
    ran = run(capsys, "undo", "no-such.toml")
    assert (ran.code, files(kept)) == (2, before)
    assert "no-such.toml: is not there" in ran.err


def test_a_motif_without_a_name_is_called_one_way(kept, capsys):
    """As the notes call it; by its word of the print file it is understood, too."""
    for name in ("lying snow 1", "snowload 1"):
        ran = run(capsys, "keep", "print.toml", "--motif", name)
        assert "lying snow 1: " in ran.out
        assert "snowload 1:" not in ran.out
    assert "lying snow 1" in run(capsys, "keep", "print.toml", "--motif", "lying snow").err
