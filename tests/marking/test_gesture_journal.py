"""The journal of the page's gestures, read again as a page does that is opened anew."""

from __future__ import annotations

from carvegen.marking.gesture_journal import Change, GestureJournal
from carvegen.marking.marks import Meaning

DRAWN = Change(what="drawn", marks_new=[[0, {"meaning": "stays"}]], marks_file="print.marks.svg")


def test_what_was_done_and_undone_is_so_after_the_page_was_closed(tmp_path) -> None:
    """Which file had which hash before each change is needed to go on where a kill has left the files."""
    first = GestureJournal(tmp_path, "print.toml")
    first.add("a", DRAWN, {"print.marks.svg": "hash 1"})
    first.add("b", Change(what="rubbed out", marks_gone=[[0, {"meaning": "stays"}]]), {"print.marks.svg": "hash 2"})
    first.add("c", Change(what="of no file"))
    first.move("d", "undo")
    first.close()
    again = GestureJournal(tmp_path, "print.toml")
    assert (again.undo_count, again.redo_count) == (2, 1)
    assert [again.has(each) for each in "abcdx"] == [True, True, True, True, False]
    assert again.held == first.held == {"print.marks.svg": {"hash 1": 0, "hash 2": 1}}
    assert again.next("undo").change.what == "rubbed out"
    assert again.next("undo").change.marks_new == [[0, {"meaning": "stays"}]]
    assert again.next("redo").change.what == "of no file"
    assert len(again.unwritten) == len(first.unwritten) == 4
    again.close()


def test_the_strength_of_a_mark_counts_where_it_is_more_or_less() -> None:
    assert {each for each in Meaning if each.graded} == {Meaning.MORE, Meaning.LESS}
