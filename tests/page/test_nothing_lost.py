"""What another program, a full disk or a fault of ours does to the print's files: nothing of either hand is lost."""

from __future__ import annotations

import errno
import re
import shutil
from pathlib import Path

import pytest

from carvegen.base.errors import CarvegenError, InputError
from carvegen.interfaces.page.table import kept_copy, saving
from carvegen.marking.gesture_journal import Change, GestureJournal
from carvegen.marking.journal import FOLDER
from carvegen.marking.kept_file import read_kept
from tests.page.page import Hand, print_file, stroke
from tests.strategies import few

SNOWFALL = '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.1, smallest_mm = 1.0, largest_mm = 2.0 }\n'
FLAKES = "snowfall 1"
COMES_OUT = {"meaning": "comes out", "breadth": 3}


@pytest.fixture
def path(tmp_path) -> Path:
    return print_file(tmp_path, after=SNOWFALL)


def as_a_drawing_program_saves(text: str) -> str:
    """Attributes on lines of their own, and something of hers."""
    text = re.sub(r'<path id="([^"]*)" d=', r'<path\n   id="\1"\n   d=', text)
    return text.replace("</svg>", '<g id="notes"><title>her guides</title></g></svg>')


def flakes_in(file: Path) -> int:
    return len(read_kept(file, motif="snowfall", size=(40.0, 30.0)).growth.cuts)


def kept(path: Path) -> Path:
    """The motif is kept, and the page closed again."""
    hand = Hand(path)
    hand.does("keep", motif=FLAKES)
    hand.close()
    return path.parent / "kept" / "snowfall-1.svg"


def as_killed(path: Path) -> Path:
    """A copy of the print as a kill at this moment leaves it."""
    folder = path.parent.with_name(f"{path.parent.name}-killed")
    shutil.copytree(path.parent, folder)
    return folder / path.name


def test_a_kept_file_that_another_program_saved_meanwhile_is_not_taken_for_done(path) -> None:
    file = kept(path)
    hand = Hand(path)
    ids = list(hand.snow(FLAKES))
    hand.does("take away", ids=ids[1:2])
    hand.written()
    before = flakes_in(file)
    file.write_text(hers := as_a_drawing_program_saves(file.read_text()))
    hand.does("take away", ids=ids[:1])
    with pytest.raises(InputError, match="another program"):
        hand.written()
    assert file.read_text() == hers
    with pytest.raises(InputError, match="another program"):
        hand.session.build()
    hand.close()
    hand = Hand(path)
    assert len(hand.snow(FLAKES)) == before - 1 == flakes_in(file)  # done all the same
    assert (file.parent / "snowfall-1.yours.svg").read_text() == hers
    assert any("snowfall-1.yours.svg" in note for note in hand.session.state()["notes"])
    hand.written()
    hand.close()
    again = Hand(path)
    assert len(again.snow(FLAKES)) == before - 1
    assert len(list(file.parent.iterdir())) == 2
    again.close()


def test_a_gesture_on_a_kept_file_that_was_changed_meanwhile_is_refused(path) -> None:
    file = kept(path)
    hand = Hand(path)
    file.write_text(hers := as_a_drawing_program_saves(file.read_text()))
    with pytest.raises(InputError, match="another program"):
        hand.does("take away", ids=list(hand.snow(FLAKES))[:1])
    assert file.read_text() == hers
    assert hand.session.state()["undo"] == 1
    hand.close()


def test_a_refused_gesture_leaves_her_kept_file_as_it_is_and_a_done_one_lays_it_beside(path) -> None:
    file = kept(path)
    file.write_text(hers := as_a_drawing_program_saves(file.read_text()))
    hand = Hand(path)
    flake = next(iter(hand.snow(FLAKES)))
    with pytest.raises(InputError, match="outside the print"):
        hand.does("move", ids=[flake], dx=4000, dy=0)
    assert file.read_text() == hers
    hand.does("take away", ids=[flake])
    hand.written()
    assert flakes_in(file) == len(hand.snow(FLAKES))
    assert (file.parent / "snowfall-1.yours.svg").read_text() == hers
    hand.does("undo")
    hand.written()
    assert flakes_in(file) == len(hand.snow(FLAKES))
    hand.close()


def test_a_refused_gesture_keeps_no_motif(path) -> None:
    hand = Hand(path)
    with pytest.raises(InputError, match="outside the print"):
        hand.does("move", ids=[next(iter(hand.snow(FLAKES)))], dx=4000, dy=0)
    assert not (path.parent / "kept").exists()
    hand.close()


@pytest.mark.parametrize("hers", [False, True])
def test_the_print_file_is_done_again_only_if_nobody_has_edited_it(path, monkeypatch, hers) -> None:
    before = path.read_bytes()
    hand = Hand(path)
    monkeypatch.setattr(GestureJournal, "written", lambda _: None)  # killed before the line that says so
    hand.does("keep", motif=FLAKES)
    hand.written()
    after = path.read_bytes()
    killed = as_killed(path)
    hand.close()
    monkeypatch.undo()
    edited = before.replace(b"seed = 4", b"seed = 5  # hers")
    killed.write_bytes(edited if hers else before)
    hand = Hand(killed)
    assert killed.read_bytes() == (edited if hers else after)
    notes = hand.session.state()["notes"]
    assert any("print.toml was changed by another program" in note for note in notes) == hers
    hand.close()


@pytest.mark.parametrize("sign", [True, False])
def test_marks_that_another_program_saved_are_joined_with_those_made_here(path, sign) -> None:
    hand = Hand(path)
    hand.does("stroke", **COMES_OUT, points=stroke(20, 10, 30, 10))
    hand.written()
    file = path.parent / "marks.svg"
    text = file.read_text() if sign else re.sub(r"<metadata>.*?</metadata>\n", "", file.read_text())
    file.write_text(hers := text.replace("</svg>", '<g><title>notes to Anna</title><path d="M1 1H3V3Z"/></g></svg>'))
    hand.does("stroke", **COMES_OUT, points=stroke(20, 22, 30, 22))
    with pytest.raises(InputError, match="another program"):
        hand.written()
    assert file.read_text() == hers
    hand.close()
    hand = Hand(path)
    assert [mark["fixed"] for mark in hand.session.state()["marks"]] == [False, False]
    assert (path.parent / "marks.yours.svg").read_text() == hers
    assert sorted(each.name for each in path.parent.glob("marks*")) == ["marks.svg", "marks.yours.svg"]
    hand.close()


def test_what_fails_after_the_line_of_the_journal_is_not_in_it(path, monkeypatch) -> None:
    hand = Hand(path)
    write = saving.save_file

    def full(file: Path, data: bytes) -> None:
        if file.name == "print.toml":
            raise InputError("can't be written (No space left on device)", where=str(file))
        write(file, data)

    for do in ({"do": "stroke", **COMES_OUT, "points": stroke(20, 10, 30, 10)}, {"do": "keep", "motif": FLAKES}):
        said = {"id": f"again-{do['do']}", **do}
        with monkeypatch.context() as disk:
            disk.setattr("carvegen.interfaces.page.table.desk.save_file", full)
            with pytest.raises(InputError, match="No space"):
                hand.sends(said)
        state = hand.session.state()
        assert (len(state["marks"]), state["undo"]) == (0, 0)
        with pytest.raises(InputError, match="nothing to undo"):
            hand.does("undo")
    hand.close()
    hand = Hand(path)
    assert (len(hand.session.state()["marks"]), hand.session.state()["undo"]) == (0, 0)
    hand.sends(said)  # the same can be sent again
    assert hand.session.state()["undo"] == 1
    hand.close()


def test_a_line_that_the_disk_takes_only_in_part_is_refused_and_leaves_nothing(tmp_path, monkeypatch) -> None:
    journal = GestureJournal(tmp_path, "print.toml")
    journal.add("a1", Change(what="x"))
    whole = journal._path.read_bytes()

    class Full:
        def __init__(self, file) -> None:
            self.file, self.left = file, 50

        def write(self, data: bytes) -> int:
            if not self.left:
                raise OSError(errno.ENOSPC, "No space left on device")
            count, self.left = self.file.write(data[: self.left]), 0
            return count

        def fileno(self) -> int:
            return self.file.fileno()

    file, journal._file = journal._file, Full(journal._file)
    with pytest.raises(InputError, match="No space"):
        journal.add("a2", Change(what="y" * 100))
    assert (journal.undo_count, journal.has("a2")) == (1, False)
    assert journal._path.read_bytes() == whole
    journal._file = file
    journal.add("a3", Change(what="z"))
    journal.close()
    torn = journal._path.read_bytes().splitlines(keepends=True)
    journal._path.write_bytes(torn[0] + torn[1][:40] + torn[1])  # as one before this left it
    journal = GestureJournal(tmp_path, "print.toml")
    assert (journal.undo_count, journal.has("a3")) == (2, True)
    journal.close()


def test_a_fault_of_the_saver_is_said_nobody_waits_and_it_is_done_the_next_time(path, monkeypatch) -> None:
    hand = Hand(path)
    with monkeypatch.context() as broken:
        broken.setattr(saving, "marks_text", lambda *_, **__: 1 / 0)
        hand.does("stroke", **COMES_OUT, points=stroke(20, 10, 30, 10))
        with pytest.raises(CarvegenError, match="a fault of its own"):
            hand.written()
        with pytest.raises(CarvegenError, match="a fault of its own"):
            hand.session.build()
        hand.session._check()
        assert any("a fault of its own" in one.get("say", "") for one in hand.heard)
        killed = as_killed(path)
    hand.does("stroke", **COMES_OUT, points=stroke(20, 22, 30, 22))
    hand.written()  # what was left is written with it
    hand.close()
    for each, marks in ((path, 2), (killed, 1)):
        hand = Hand(each)
        assert len(hand.session.state()["marks"]) == marks
        hand.close()


def test_no_copy_is_made_of_a_file_that_another_program_has_changed(path, monkeypatch) -> None:
    monkeypatch.setattr(kept_copy, "LARGE_BYTES", 1)
    file = kept(path)
    hand = Hand(path)
    ids = list(hand.snow(FLAKES))
    hand.does("take away", ids=ids[1:2])
    hand.written()
    lines = file.read_text().split("\n")
    at = [k for k, line in enumerate(lines) if line.startswith("<path")]
    del lines[at[10]]  # she deletes a flake
    file.write_text("\n".join(lines))
    hand.does("take away", ids=ids[:1])
    hand.close()
    hand = Hand(path)
    assert len(hand.snow(FLAKES)) == flakes_in(file) == len(ids) - 3
    hand.close()


def tree(folder: Path) -> dict[Path, bytes]:
    return {each.relative_to(folder): each.read_bytes() for each in folder.rglob("*") if each.is_file()}


def test_killed_at_any_moment_everything_is_there_once(path) -> None:
    """A copy of the folder whenever anything has been written is what a kill there leaves."""
    hand, left = Hand(path), list[tuple[int, int, Path]]()
    states: dict[int, tuple[int, int]] = {0: (len(hand.snow()), 0)}
    put = saving.save_file

    def copied(file: Path, data: bytes) -> None:
        for then in (lambda: None, lambda: put(file, data)):
            then()
            folder = path.parent.with_name(f"left-{len(left)}")
            shutil.copytree(path.parent, folder)
            left.append((len(hand.session._journal._path.read_bytes().split(b'"id"')) - 1, 0, folder))

    with pytest.MonkeyPatch.context() as patch:
        for where in (
            "carvegen.interfaces.page.table.desk.save_file",
            "carvegen.interfaces.page.table.saving.save_file",
        ):
            patch.setattr(where, lambda file, data: copied(file, data) if ".next" not in file.name else put(file, data))
        for count, does in enumerate((
            lambda: hand.does("stroke", **COMES_OUT, points=stroke(20, 8, 30, 12)),
            lambda: hand.does("take away", ids=list(hand.snow())[:2]),
            lambda: hand.does("move", ids=list(hand.snow())[:2], dx=0.3, dy=0.2),
            lambda: hand.does("undo"),
        ), 1):  # fmt: skip
            does()
            hand.written()
            states[count] = len(hand.snow()), len(hand.session.state()["marks"])
        hand.close()
    assert len(left) > 8
    assert len({count for count, _, _ in left}) == 4
    alike = {frozenset(tree(folder).items()): (count, folder) for count, _, folder in left}
    for count, folder in few(alike.values(), 4):
        for _ in range(2):  # what is done anew after a kill is not done again the next time
            again = Hand(folder / "print.toml")
            assert (len(again.snow()), len(again.session.state()["marks"])) == states[count], folder
            assert not list(folder.rglob("*.yours*"))
            again.close()
    assert (path.parent / FOLDER).is_dir()
