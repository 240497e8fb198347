"""What is said of a drawing: its view, where it lies, what is likely a mistake; in every place where it counts."""

from __future__ import annotations

import json

import ezdxf
import pytest
import shapely
from click.testing import CliRunner

from carvegen import geometry
from carvegen.artwork import read
from carvegen.artwork.drawing import labels_in
from carvegen.artwork.place import place
from carvegen.base.errors import InputError
from carvegen.base.units import length_mm, size_mm
from carvegen.blocks.from_drawing import drawn_block
from carvegen.blocks.views import View
from carvegen.interfaces.cli import _group
from carvegen.writers.block.clean_artwork import artwork_dxf, artwork_svg

LEFT = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40"><title>{}</title>'
    '<rect x="5" y="10" width="8" height="20"/></svg>'
)


def drawing(folder, title="", name="post.svg"):
    (folder / name).write_text(LEFT.format(title))
    return folder / name


def run(*arguments):
    return CliRunner().invoke(_group, [str(argument) for argument in arguments], standalone_mode=False)


@pytest.mark.parametrize(
    ("texts", "said"),
    [
        (["BLOCK VIEW: mirrored"], "block"), (["Artwork, print view"], "print"), (["a view of the block"], ""),
        (["print view", "block view"], ""), ([], ""), (["sky, block view", "BLOCK VIEW: mirrored"], "block"),
    ],
)  # fmt: skip
def test_the_view_is_taken_from_words_that_say_it_alone(texts, said):
    assert labels_in(texts) == (said, False)


@pytest.mark.parametrize(
    ("texts", "only"),
    [
        (["second state: new cuts only"], False), (["new cuts only", "the key"], False),
        (["sky: BLOCK VIEW", "NEW CUTS ONLY: the block is cut already; what was cut"], True),
        (["NEW CUTS ONLY: the block", "   is cut already; what was cut is"], True),
    ],
)  # fmt: skip
def test_a_file_of_new_cuts_is_told_by_its_whole_words_however_they_are_wrapped(texts, only):
    assert labels_in(texts)[1] == only


def test_her_own_title_does_not_make_a_drawing_a_machine_file(tmp_path):
    drawn = drawn_block(drawing(tmp_path, "second state: new cuts only"))
    assert shapely.total_bounds(drawn.block.cuts)[0] == 5


@pytest.mark.parametrize("title", ["", "sky, block view"])
def test_a_file_that_says_its_view_is_read_so(tmp_path, title):
    drawn = drawn_block(drawing(tmp_path, title))
    assert shapely.total_bounds(drawn.block.cuts)[0] == (47 if title else 5)
    assert any("says that it is in block view" in note for note in drawn.notes) == bool(title)


def test_a_view_that_is_asked_for_counts_and_is_warned_of(tmp_path):
    drawn = drawn_block(drawing(tmp_path, "sky, block view"), view=View.PRINT)
    assert shapely.total_bounds(drawn.block.cuts)[0] == 5
    assert any(note.startswith("WARNING") and "block view" in note for note in drawn.notes)


def test_written_artwork_says_its_view_in_both_formats(tmp_path):
    """The DXF's words are read by ezdxf."""
    layers = {"KEY": geometry.polygon_array([shapely.box(5, 10, 13, 30)])}
    (tmp_path / "a.svg").write_text(artwork_svg(layers, (60, 40)))
    (tmp_path / "a.dxf").write_text(artwork_dxf(layers, (60, 40)))
    texts = ezdxf.readfile(tmp_path / "a.dxf").modelspace().query("TEXT")
    assert any("PRINT VIEW" in text.dxf.text for text in texts)
    for name in ("a.svg", "a.dxf"):
        artwork = read(tmp_path / name)
        assert artwork.says_view == "print"
        assert list(artwork.layers) == ["KEY"]
        assert not artwork.notes


@pytest.mark.parametrize("known_mm", [0.0, 0.3, 0.0847])
def test_written_artwork_says_how_finely_a_picture_told_it(tmp_path, known_mm):
    layers = {"KEY": geometry.polygon_array([shapely.box(5, 10, 13, 30)])}
    (tmp_path / "a.svg").write_text(artwork_svg(layers, (60, 40), "her proof.jpg", known_mm=known_mm))
    (tmp_path / "a.dxf").write_text(artwork_dxf(layers, (60, 40), known_mm=known_mm))
    for name in ("a.svg", "a.dxf"):
        artwork = read(tmp_path / name)
        assert artwork.known_mm == pytest.approx(known_mm, abs=5e-4)
        assert artwork.says_view == "print"
        assert list(artwork.layers) == ["KEY"]


def test_words_make_no_outline_known_less_finely_than_a_millimetre(tmp_path):
    """Any text in a drawing could say 9999 mm, and a block that is cut then differed by nothing."""
    layers = {"KEY": geometry.polygon_array([shapely.box(5, 10, 13, 30)])}
    (tmp_path / "a.svg").write_text(artwork_svg(layers, (60, 40), known_mm=9999.0))
    (tmp_path / "a.dxf").write_text(artwork_dxf(layers, (60, 40), known_mm=9999.0))
    for name in ("a.svg", "a.dxf"):
        assert "known within 9999 mm" in (tmp_path / name).read_text()
        assert read(tmp_path / name).known_mm == 1.0


def test_our_own_machine_files_need_no_view(tmp_path):
    """The block comes back as it was made, whichever file is read."""
    out = tmp_path / "out"
    how = ("--size", "60x40", "--material", "maple-end-grain", "--cutter", "v-60", "--for", "router", "--no-paths")
    made = run("snowfall", *how, "--name", "sky", "--out", out)
    assert (out / "router/block.svg").exists(), made
    flat = drawn_block(out / "router/block.svg", view=View.BLOCK)
    assert not any("WARNING" in note for note in flat.notes)
    truth = shapely.union_all(flat.block.cuts)
    for name in ("block.svg", "block.dxf"):
        result = drawn_block(out / "router" / name)
        assert any("block view" in note for note in result.notes)
        off = shapely.symmetric_difference(shapely.union_all(result.block.cuts), truth)
        assert shapely.area(off) < 0.001 * shapely.area(truth)


def test_letters_by_their_codes(tmp_path):
    r"""The published DXF reference writes letters outside ASCII as \\U+XXXX; spelt by hand here."""
    rows = ["0", "SECTION", "2", "HEADER", "9", "$INSUNITS", "70", "4", "0", "ENDSEC", "0", "SECTION", "2", "ENTITIES"]
    rows += ["0", "CIRCLE", "8", "\\U+00C9TAGE \\U+0417", "10", "20", "20", "20", "40", "5", "0", "ENDSEC", "0", "EOF"]
    path = tmp_path / "a.dxf"
    path.write_text("\n".join(rows) + "\n")
    assert list(read(path).layers) == ["ÉTAGE З"]


@pytest.mark.parametrize("text", ["10MM", "1Cm", "10 mm", "0.39370078740157 IN"])
def test_units_in_any_case(text):
    assert length_mm(text) == pytest.approx(10)
    assert size_mm(f"{text} x {text}") == pytest.approx((10, 10))


def test_where_a_drawing_lies_is_told(tmp_path):
    result = place(f"{drawing(tmp_path)} at 10 5 width 16", width_mm=100, height_mm=80)
    assert any("16.0 x 40.0 mm and lies from 10.0, 5.0 to 26.0, 45.0" in note for note in result.notes)
    assert any("0.01 mm off" in note for note in result.notes)
    assert not result.warnings


def test_a_page_of_another_size_than_the_block_is_a_warning(tmp_path):
    path = drawing(tmp_path)
    assert not place(str(path), width_mm=60, height_mm=40).warnings
    assert any("its page is 60 x 40 mm" in warning for warning in place(str(path), width_mm=100, height_mm=80).warnings)


def test_what_reaches_past_the_edge_is_a_warning(tmp_path):
    result = place(f"{drawing(tmp_path)} at 50 5", width_mm=54, height_mm=80)
    assert any("50.0% of it lies past the edge" in warning for warning in result.warnings)


@pytest.mark.parametrize("behind", ["size 60", "60", "width60", "wide 60 at 3 4"])
def test_words_that_are_not_understood_get_the_list(tmp_path, behind):
    with pytest.raises(InputError, match="not understood") as caught:
        place(f"{drawing(tmp_path)} {behind}", width_mm=60, height_mm=40)
    assert "width W" in caught.value.hint


def test_notes_reach_the_note_the_report_the_summary_and_json(tmp_path):
    path, out = drawing(tmp_path), tmp_path / "out"
    how = ("snowload", "--size", "54x80", "--material", "linoleum", "--cutter", "v-60", "--on", f"{path} at 50 5")
    said = run(*how, "--for", "hand", "--out", out)
    assert said.exit_code in (0, None, 1), said.output
    assert "WARNING" in said.output
    note = (out / "hand" / "note.md").read_text()
    assert "## Drawings that were read" in note
    assert "lies past the edge" in note
    report = json.loads((out / "report.json").read_text())
    assert any(line.startswith("WARNING") for line in report["notes"])
    done = run(*how, "--for", "hand", "--out", out, "--json")
    assert json.loads(done.stdout)["notes"] == report["notes"]


@pytest.mark.parametrize("text", ["x" * 5000, "box" + "\ufffd" * 300, "a\0b", "x" * 300 + " at 3 4", "#" * 400])
def test_a_name_that_can_be_none_is_not_there(text):
    """Found by fuzzing: a name too long for the file system raised OSError."""
    with pytest.raises(InputError):
        place(text, width_mm=60, height_mm=40)
