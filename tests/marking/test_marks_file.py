"""Marks drawn in an SVG: groups by their meaning, ids as keys, opacity as strength, true size; what is wrong."""

from __future__ import annotations

import pytest
import shapely

from carvegen.base.errors import InputError
from carvegen.marking.marks import HoleMeaning, Meaning
from carvegen.marking.marks_file import Names, read_marks

NAMES = Names(motifs={"snowfall": ("near flakes", "far"), "near flakes": ("near flakes",), "far": ("far",)},
              blocks=("sky", "key"))  # fmt: skip
SIZE = (60.0, 45.0)


def marks(folder, inner: str, *, head: str = 'width="60mm" height="45mm" viewBox="0 0 60 45"'):
    path = folder / "marks.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:x="urn:x" {head}>{inner}</svg>', encoding="utf-8")
    return read_marks(path, NAMES, SIZE)


@pytest.mark.parametrize(
    ("group", "meaning", "attempt"),
    [
        ('id="comes out"', Meaning.COMES_OUT, 1),
        ('id="comes_out_2_"', Meaning.COMES_OUT, 2),
        ('id="STAYS"', Meaning.STAYS, 1),
        ('id="layer1" x:label="Carver decides"', Meaning.CARVER_DECIDES, 1),
        ('id="more"', Meaning.MORE, 1),
        ('id="less-3"', Meaning.LESS, 3),
        ('id="grow-again"', Meaning.GROW_AGAIN, 1),
        ('id="Grow again 3"', Meaning.GROW_AGAIN, 3),
    ],
)
def test_a_group_is_called_by_its_meaning(tmp_path, group, meaning, attempt) -> None:
    (mark,) = marks(tmp_path, f'<g {group}><rect id="r" x="10" y="5" width="4" height="3"/></g>').marks
    assert (mark.meaning, mark.attempt, mark.key) == (meaning, attempt, "r")
    assert mark.shape.bounds == (10, 37, 14, 40)
    assert (mark.motifs, mark.blocks, mark.strength) == ((), (), 1)


def test_groups_inside_or_around_name_motifs_and_blocks(tmp_path) -> None:
    rect = '<rect x="1" y="1" width="2" height="2"/>'
    result = marks(tmp_path, f'<g id="stays"><g id="near_flakes">{rect}</g><g id="snowfall">{rect}</g></g>'
                  f'<g id="key"><g id="more">{rect}</g></g>').marks  # fmt: skip
    assert [each.motifs for each in result] == [("near flakes",), ("near flakes", "far"), ()]
    assert [one.blocks for one in result] == [(), (), ("key",)]


def test_groups_that_say_what_holes_are_are_no_marks_of_what_has_grown(tmp_path) -> None:
    rect = '<rect x="1" y="1" width="2" height="2"/>'
    result = marks(tmp_path, f'<g id="Open air">{rect}</g><g id="far"><g id="only_drawn">{rect}</g></g>')
    assert result.marks == ()
    assert result.notes == ()
    assert [(hole.meaning, hole.meaning.gaps, hole.motifs) for hole in result.holes] == [
        (HoleMeaning.OPEN_AIR, "open", ()), (HoleMeaning.ONLY_DRAWN, "marks", ("far",)),
    ]  # fmt: skip
    assert result.holes[0].shape.bounds == (1, 42, 3, 44)


def test_strength_is_what_covers(tmp_path) -> None:
    rect = '<rect x="1" y="1" width="2" height="2" {}/>'
    inner = "".join(map(rect.format, ('fill-opacity="0.5"', 'opacity="50%"', 'style="fill:none;stroke:#000;'
                    'stroke-opacity:.25"', "")))  # fmt: skip
    result = marks(tmp_path, f'<g id="more" opacity="0.8">{inner}</g>')
    assert [round(mark.strength, 6) for mark in result.marks] == [0.4, 0.4, 0.2, 0.8]
    assert not any("see-through" in note for note in result.notes)


def test_units_and_transforms_and_lines(tmp_path) -> None:
    line = '<path id="l" d="M10 10H30" fill="none" stroke="#a00" stroke-width="4" transform="translate(5 0)"/>'
    (mark,) = marks(tmp_path, f'<g id="stays" transform="scale(2)">{line}</g>',
                    head='width="60mm" height="45mm" viewBox="0 0 600 450"').marks  # fmt: skip
    assert mark.shape.bounds == pytest.approx((3, 42.6, 7, 43.4))


def test_a_mark_without_an_id_keeps_its_key_whatever_else_is_drawn(tmp_path) -> None:
    own = '<circle cx="30" cy="20" r="4"/>'
    (alone,) = marks(tmp_path, f'<g id="less">{own}</g>').marks
    *_, among = marks(tmp_path, f'<g id="stays"><rect width="3" height="3"/></g><g id="less"><rect x="9" width="1" '
                      f'height="2"/>{own}</g>').marks  # fmt: skip
    assert among.key == alone.key
    assert shapely.equals(among.shape, alone.shape)


def test_other_groups_are_left_out_and_told(tmp_path) -> None:
    rect = '<rect width="3" height="3"/>'
    result = marks(tmp_path, f'<g id="drawing">{rect}</g><g id="stays">{rect}</g>')
    assert len(result.marks) == 1
    assert any("'drawing' has no meaning" in note for note in result.notes)


@pytest.mark.parametrize(
    ("inner", "head", "said"),
    [
        ('<g id="come-out"><rect width="3" height="3"/></g>', "", "did you mean comes out?"),
        ("", "", "holds no mark"),
        ('<g id="stays"><rect width="3" height="3"/></g>', 'width="61mm" height="45mm"', "as large as the print"),
        ('<g id="comes out"><g id="far"><rect width="3" height="3"/></g></g>', "", "is for a motif"),
    ],
)
def test_what_is_no_file_of_marks_is_refused_in_words(tmp_path, inner, head, said) -> None:
    with pytest.raises(InputError) as raised:
        marks(tmp_path, inner, head=head or 'width="60mm" height="45mm" viewBox="0 0 60 45"')
    assert said in f"{raised.value} {raised.value.hint}"
    assert "marks.svg" in str(raised.value)


def test_a_picture_or_half_a_file_is_refused(tmp_path) -> None:
    path = tmp_path / "marks.svg"
    for data in (
        "<svg xmlns='http://www.w3.org/2000/svg' width='60mm'",
        "0\nSECTION\n2\nENTITIES\n0\nENDSEC\n0\nEOF\n",
    ):
        path.write_text(data, encoding="utf-8")
        with pytest.raises(InputError):
            read_marks(path, NAMES, SIZE)


def test_a_misspelt_group_round_a_mark_is_told(tmp_path) -> None:
    inner = '<g id="keyy"><g id="layer1"><g id="stays"><rect x="1" y="1" width="9" height="9"/></g></g></g>'
    report = marks(tmp_path, inner)
    assert [note for note in report.notes if "keyy" in note] == [
        "the group 'keyy' names no motif or block: its marks are for all. did you mean key?"
    ]
    assert not any("layer1" in note for note in report.notes)


def test_no_number_of_a_try_is_too_long(tmp_path) -> None:
    with pytest.raises(InputError, match="holds no mark"):
        marks(tmp_path, f'<g id="grow again {"9" * 5000}"><rect x="1" y="1" width="9" height="9"/></g>')
