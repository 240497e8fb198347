"""`[marks] scans`: a print's marks from photographs of its own sheet, and nobody else's."""

from __future__ import annotations

import dataclasses
import shutil

import pypdfium2
import pytest
import shapely

from carvegen.base.errors import InputError
from carvegen.delivery import print_build
from carvegen.delivery.print_steps import cut_inputs
from carvegen.facts.profiles import Library
from carvegen.marking.pencil.sheet_reading import read_sheets
from carvegen.prints.cut_blocks import setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.layers import drawing_of
from carvegen.prints.marked.marked_whites import marks_of
from tests.cases import small_print
from tests.cli.running import built_once, run
from tests.pencil_sheets import SMALL, USUAL, flat, read_once
from tests.strategies import takes_long

TOML = small_print('[marks]\nscans = ["sheet.png"]', name="trial", size=(90, 70), blocks={"sky": ["*"]})


@pytest.fixture(autouse=True, scope="module")
def pages_read_once():
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("carvegen.marking.pencil.sheet_reading.read_page", read_once)
        yield


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("scanned")
    flat(USUAL).save(where / "sheet.png")
    (where / "print.toml").write_text(TOML, encoding="utf-8")
    return where


@pytest.fixture(scope="module")
def alone(folder):
    """The marks of the sheet, read without a print."""
    return read_sheets([folder / "sheet.png"], SMALL).marks


def test_a_print_takes_its_marks_from_its_sheet_and_is_built_again_when_that_changes(folder, alone):
    shelf = Library()
    values = read_print(folder / "print.toml", shelf)
    inputs = cut_inputs(values, setups_of(values, shelf), {})
    assert "sheet.png" in inputs.contents
    each = inputs.print_
    marks = marks_of(each, drawing_of(each), shapely.Polygon()).marks
    assert [(mark.key, mark.meaning, mark.strength) for mark in marks] == [
        (mark.key, mark.meaning, mark.strength) for mark in alone
    ]
    assert all(one.shape.equals(two.shape) for one, two in zip(marks, alone, strict=True))
    other = dataclasses.replace(values, name="another")
    with pytest.raises(InputError, match=r"marks\.scans: .*sheet\.png: is the marking sheet of another print"):
        marks_of(other, drawing_of(other), shapely.Polygon())


def test_what_is_read_is_written_as_a_drawing_of_marks_that_gives_the_same_marks(folder, alone, tmp_path, capsys):
    """Read back by the reader of such drawings: meanings, keys, strengths, areas to 0.1 %."""
    ran = run(capsys, "sheet", folder / "print.toml", "--read", folder / "sheet.png", "-o", tmp_path / "marks.svg")
    assert ran.code == 0, ran.err
    assert (tmp_path / "marks.png").read_bytes().startswith(b"\x89PNG")
    text = TOML.replace('scans = ["sheet.png"]', 'files = ["marks.svg"]')
    (tmp_path / "print.toml").write_text(text, encoding="utf-8")
    values = read_print(tmp_path / "print.toml", Library())
    again = marks_of(values, drawing_of(values), shapely.Polygon()).marks
    one, other = (sorted((mark.key, mark.meaning, mark.strength) for mark in marks) for marks in (again, alone))
    assert one == other
    areas = {mark.key: mark.shape.area for mark in alone}
    assert {mark.key: mark.shape.area for mark in again} == pytest.approx(areas, rel=1e-3)


def test_the_sheet_is_printed_and_read_back_uncoloured_it_asks_for_pencils(folder, tmp_path, capsys):
    (tmp_path / "print.toml").write_text(TOML.replace('scans = ["sheet.png"]', ""), encoding="utf-8")
    ran = run(capsys, "sheet", tmp_path / "print.toml", "-o", tmp_path / "sheet.pdf", "--paper", "Letter")
    assert ran.code == 0, ran.err
    assert "1 page of Letter" in ran.out
    page = pypdfium2.PdfDocument(tmp_path / "sheet.pdf")[0]
    page.render(scale=150 / 72).to_pil().save(tmp_path / "sheet.png")
    ran = run(capsys, "sheet", tmp_path / "print.toml", "--read", tmp_path / "sheet.png", "-o", tmp_path / "marks.svg")
    assert ran.code == 2
    assert "has no pencil in any box" in ran.err
    assert not (tmp_path / "marks.svg").exists()


@takes_long  # page/test_behind.py draws the sheet as the command
def test_the_sheet_of_a_print_that_is_built_is_drawn_from_its_lands_and_the_same(tmp_path, capsys, monkeypatch):
    text = TOML.replace('scans = ["sheet.png"]', "")
    shutil.copytree(built_once(text), tmp_path / "trial")
    values, sheet = tmp_path / "trial" / "print.toml", tmp_path / "sheet.pdf"
    with monkeypatch.context() as patch:
        patch.setattr(print_build, "cuts_of", None)
        ran = run(capsys, "sheet", values, "-o", sheet)
        assert ran.code == 0, ran.err
    built = sheet.read_bytes()
    land = tmp_path / "trial" / "built" / "lands" / "sky.wkb"
    land.write_bytes(shapely.to_wkb(shapely.box(0, 0, 9, 9)))
    ran = run(capsys, "sheet", values, "-o", sheet)
    assert ran.code == 0, ran.err
    assert sheet.read_bytes() == built, "a land that was changed is not taken"
    values.write_text(text.replace("[90, 70]", "[90, 60]"), encoding="utf-8")
    ran = run(capsys, "sheet", values, "-o", sheet)
    assert ran.code == 0, ran.err
    assert sheet.read_bytes() != built


def test_wrong_endings_and_overwriting_are_refused(folder, capsys):
    for words in (("-o", "sheet.svg"), ("--read", folder / "sheet.png", "-o", "marks.pdf"),
                  ("--read", folder / "sheet.png", "-o", folder / "sheet.svg")):  # fmt: skip
        ran = run(capsys, "sheet", folder / "print.toml", *words)
        assert ran.code == 2
        assert "--out" in ran.err
