"""A marked print: every block follows the marks, the keys are checked, and what is unmarked stays as it was."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.findings import Severity
from carvegen.blocks.free_edge import with_fringe
from carvegen.delivery.print_steps import cut_inputs, cuts_of
from carvegen.marking.applying import Bed, reach_mm
from carvegen.marking.marks import Mark, Meaning
from carvegen.motifs import motif, summaries
from carvegen.motifs.growth import Place
from carvegen.prints.cut_blocks import mended_cut, setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.marked.mark_findings import mark_findings, mended_beside
from carvegen.prints.marked.nearby import seen_mm
from tests.cases import SHELF, box, layer, limits, small_print
from tests.cases import block as block_of
from tests.prints.whole_prints import cut_blocks, mended_print
from tests.strategies import few

AFTER = """
[[highlights]]
shape = "circle 33 24 3"
[[motifs]]
motif = "snowload"
on = ["POST"]
[[motifs]]
motif = "snowfall"
settings = { snow = 0.1, largest_mm = 2.5 }
"""
STAYS = '[[marked]]\nmeaning = "stays"\nshape = "box 4 18 6 8"\n'
OUT = '[[marked]]\nmeaning = "comes out"\nshape = "box 8 4 10 8"\n'
ALSO = '[[marked]]\nmeaning = "stays"\nshape = "box 30 20 4 8"\n'
DECIDES = '[[marked]]\nmeaning = "carver decides"\nshape = "box 18 14 14 12"\nfor = ["snowfall"]\n'


def given(folder, more: str, after: str = AFTER):
    path = folder / "print.toml"
    blocks = {"sky": ["*"], "key": ["POST"]}
    text = small_print(more, layer("POST", "box 5 0 8 22"), blocks=blocks, after=after, size=(40, 30), seed=3)
    path.write_text(text, encoding="utf-8")
    return read_print(path, SHELF)


def cut(folder, more: str = ""):
    print_ = given(folder, more)
    setups = setups_of(print_, SHELF)
    return *cut_blocks(print_, setups, say=lambda _: None), setups


def test_marks_on_every_block(tmp_path) -> None:
    plain, lands, _ = cut(tmp_path)
    picture, cuts, setups = cut(tmp_path, STAYS + OUT + ALSO + DECIDES)
    for name, each in cuts.items():
        for stays in (box(4, 18, 6, 8), box(30, 20, 4, 8)):
            shown = shapely.intersection(each.picture, stays)
            assert shapely.area(shapely.difference(shown, each.land)) < 1e-4
            assert shapely.area(shapely.intersection(picture.white_for(name), stays)) < 1e-6
        assert shapely.area(shapely.intersection(each.land, box(8, 4, 10, 8))) < 1e-4
        mended = mended_cut(each, setups[name], say=lambda _: None)
        assert shapely.area(shapely.difference(shapely.intersection(each.land, box(4, 18, 6, 8)), mended.land)) < 1e-4
    decided = cuts["sky"].to_decide
    assert shapely.area(decided) > 0.5
    assert shapely.area(shapely.difference(decided, cuts["sky"].land)) < 1e-3  # machines leave it standing
    far = box(14, 0, 26, 2.0)
    assert shapely.equals(shapely.intersection(lands["sky"].land, far), shapely.intersection(cuts["sky"].land, far))
    assert len(plain.whites) + 1 == len(picture.whites)


def test_a_build_says_that_it_has_read_marks(tmp_path) -> None:
    for more, words in (("", []), (STAYS + ALSO, ["2 marks read: [[marked]]"])):
        print_, said = given(tmp_path, more, after=""), []
        cuts_of(cut_inputs(print_, setups_of(print_, SHELF), {}), say=said.append)
        assert [line for line in said if "mark" in line] == words


def test_a_mark_for_one_block_leaves_the_others(tmp_path) -> None:
    _, before, _ = cut(tmp_path)
    _, cuts, _ = cut(tmp_path, OUT + 'blocks = ["key"]\n')
    spot = box(8, 4, 10, 8)
    assert shapely.area(shapely.intersection(cuts["key"].land, spot)) < 1e-4
    assert shapely.area(shapely.intersection(before["sky"].land, spot)) == pytest.approx(
        shapely.area(shapely.intersection(cuts["sky"].land, spot)), rel=0.15)  # fmt: skip
    assert shapely.area(shapely.intersection(cuts["sky"].land, box(14, 4, 4, 8))) > 5


@pytest.mark.parametrize("meaning", few(["more", "grow again"], 1))
def test_how_much_falls_is_solved_once_whatever_is_marked(tmp_path, monkeypatch, meaning) -> None:
    levels, grow = [], motif("snowfall").grow
    monkeypatch.setattr(motif("snowfall"), "grow", lambda *one: levels.append(one[0].level) or grow(*one))
    plain, _, _ = cut(tmp_path)
    spot = f'[[marked]]\nmeaning = "{meaning}"\nshape = "box 18 4 18 18"\nfor = ["snowfall"]\n'
    picture, _, _ = cut(tmp_path, spot)
    assert levels[:2] == [0, 0]  # as it grows without a mark, and with one
    assert levels[2:]
    assert min(levels[2:]) > 0
    was, now = (_white(each, "snowfall 1", box(18, 4, 18, 18)) for each in (plain, picture))
    assert now > 1.1 * was if meaning == "more" else 0.6 * was < now < 1.4 * was


def _white(picture, name: str, spot) -> float:
    every = [white.shapes for white in picture.whites if white.name == name]
    return sum(float(shapely.area(shapely.intersection(shapes, spot)).sum()) for shapes in every)


def test_what_the_carver_decides_may_stand_alone(tmp_path) -> None:
    """Patches of a fringe stand beside a cut; those that a mark asks for need not."""
    block = block_of(box(3, 3, 4, 4))
    alone = box(20, 10, 3, 3)
    assert len(with_fringe(block, alone, limits()).free) == 0
    assert [each.bounds for each in with_fringe(block, shapely.Polygon(), limits(), to_decide=alone).free] == [
        (20, 10, 23, 13)
    ]
    thin = box(20, 10, 3, 0.2)
    assert len(with_fringe(block, shapely.Polygon(), limits(), to_decide=thin).free) == 0


def test_land_that_a_mark_leaves_too_narrow_is_told_with_the_mark(tmp_path) -> None:
    print_ = given(tmp_path, '[[marked]]\nmeaning = "comes out"\nshape = "box 18 0.2 8 5"\n')  # 0.2 mm from the edge
    setups = setups_of(print_, SHELF)
    picture, cuts = cut_blocks(print_, setups, say=lambda _: None)
    report = mark_findings(cuts["sky"].block, picture.marks, setups["sky"], white=cuts["sky"].white, back_mm=0.2)
    assert report
    assert all("the mark" in each.why for each in report)
    assert any(abs(one.measured - 0.2) < 0.01 and 17.9 < one.at[0] < 26.1 for one in report)
    far = mark_findings(cuts["sky"].block, picture.marks, setups["sky"], white=shapely.Polygon(), back_mm=0.2)
    assert {(one.kind, one.severity) for one in far} == {("drawn", Severity.RISK)}, "no white bounds it: it is drawn so"
    assert [one.at for one in far] == [one.at for one in report], "and told all the same"
    assert mark_findings(cuts["sky"].block, (), setups["sky"], white=shapely.Polygon(), back_mm=0.2) == ()


@pytest.mark.parametrize(("apart", "drawn"), [(0.15, False), (0.35, True)])
def test_land_bounds_white_from_which_it_may_be_cut_back(tmp_path, apart: float, drawn: bool) -> None:
    """As far as the print's register error goes: 0.2 mm."""
    mark = '[[marked]]\nmeaning = "stays"\nshape = "box 1 13 14 1.2"'
    light = f'[[highlights]]\nshape = "box 1 {14.45 + apart} 14 4"'
    text = small_print(
        mark, layer("POST", "box 2 14 12 0.45"), blocks={"key": ["POST"]}, after=light, register_error_mm=0.2
    )
    (tmp_path / "print.toml").write_text(text, encoding="utf-8")
    print_ = read_print(tmp_path / "print.toml", SHELF)
    _, cuts = cuts_of(cut_inputs(print_, setups_of(print_, SHELF), {}), say=lambda _: None)
    [note] = (note for note in cuts["key"].notes if note.rule == "marked-land")
    assert (note.kind == "drawn") == drawn


STRIPE = layer("POST", "box 2 14 56 0.45")  #: a hair narrower than what lasts


OUT_BESIDE = '[[marked]]\nmeaning = "comes out"\nshape = "box 50 14.2 2 4"\n'


def mended_stripe(folder, *marks: str):
    """What stood of the only block before it was mended, the block afterwards, and the marks."""
    path = folder / "stripe.toml"
    text = small_print(*marks, STRIPE, blocks={"key": ["POST"]}).replace("for = [", "mend = true\nfor = [")
    path.write_text(text, encoding="utf-8")
    print_ = read_print(path, SHELF)
    setups = setups_of(print_, SHELF)
    picture, cuts = cut_blocks(print_, setups, say=lambda _: None)
    block = mended_print(print_, picture, cuts, setups, say=lambda _: None)["key"].block
    return cuts["key"].land, block, picture.marks


def test_a_stripe_beside_what_comes_out_is_widened_on_its_other_side(tmp_path) -> None:
    """It would be widened, and can't be into what comes out: it used to go, 48 mm far."""
    before, block, marks = mended_stripe(tmp_path, OUT_BESIDE)
    assert block.land.area > before.area
    assert block.land.intersection(shapely.box(50, 14.2, 52, 18.2)).area < 0.001
    assert mended_beside(before, block, marks) == ()


@pytest.mark.parametrize(("apart", "notes"), [(3.9, 1), (4.1, 0)])
def test_what_goes_away_from_all_marks_is_no_marks_doing(apart: float, notes: int) -> None:
    gone, mark = block_of(box(10, 5, 20, 5)), Mark(meaning=Meaning.STAYS, shape=box(10 - apart - 2, 5, 2, 5), key="one")
    assert len(mended_beside(gone.face, gone, [mark])) == notes


@pytest.mark.parametrize(("far", "notes"), [(3.9, 0), (4.1, 1)])
def test_what_mending_takes_near_a_mark_is_what_it_asked_for(far: float, notes: int) -> None:
    gone, mark = block_of(box(10, 5, far, 5)), Mark(meaning=Meaning.STAYS, shape=box(8, 0, 2, 15), key="one")
    assert len(mended_beside(gone.face, gone, [mark])) == notes


@pytest.mark.parametrize(("area", "notes"), [(0.95, 0), (1.05, 1)])
def test_crumbs_that_mending_takes_are_not_told(area: float, notes: int) -> None:
    gone, mark = block_of(box(10, 5, 5, area / 5)), Mark(meaning=Meaning.STAYS, shape=box(8, 0, 2, 15), key="one")
    assert len(mended_beside(gone.face, gone, [mark])) == notes


def test_what_mending_takes_far_from_a_mark_is_told_with_the_mark(tmp_path) -> None:
    """All of a stripe that a mark touches, 48 mm far; nothing is told where it stays."""
    before, block, marks = mended_stripe(tmp_path, OUT_BESIDE)
    gone = replace(block, cuts=geometry.polygon_array([block.face]))
    [report] = mended_beside(before, gone, marks)
    assert "the mark" in report.why
    assert "up to 48 mm" in report.why
    assert "stays" in report.remedy
    assert report.at == pytest.approx((50, 14.3), abs=0.2)
    assert report.measured == pytest.approx(before.area, rel=0.01)
    assert mended_beside(before, replace(gone, name="sky"), [replace(mark, blocks=("key",)) for mark in marks]) == ()
    before, block, marks = mended_stripe(tmp_path, '[[marked]]\nmeaning = "stays"\nshape = "box 50 14.2 2 4"\n')
    assert block.land.area > before.area
    assert mended_beside(before, block, marks) == ()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            STAYS + 'for = ["snow fall"]\n[[marked]]\nmeaning = "less"\nshape = "box 0 0 3 3"\nfor = ["sleet"]\n',
            "sleet",
        ),
        (STAYS + 'blocks = ["sea"]\n', "must be a block of this print"),
        (OUT + 'for = ["snowfall"]\n', "has no meaning here"),
        (
            '[[marked]]\nmeaning = "open air"\nshape = "box 8 4 1 1"\nblocks = ["sky", "key"]\n',
            "has no meaning here, got 'sky, key'",
        ),
        ('[[marked]]\nmeaning = "goes"\nshape = "box 0 0 3 3"\n', "must be a known word"),
        (OUT + '[[marked]]\nmeaning = "stays"\nshape = "box 10 6 2 2"\n', "contradict one another"),
        ('[[openings]]\nshape = "circle 7 20 1"\n' + STAYS, "lies over an opening"),
        ('[marks]\nfiles = ["none.svg"]\n', "none.svg"),
    ],
)
def test_bad_marks_are_told(tmp_path, more, said) -> None:
    with pytest.raises(InputError) as raised:
        cut(tmp_path, more)
    assert said in f"{raised.value} {raised.value.hint}"
    assert "print.toml" in str(raised.value)


@pytest.mark.parametrize("name", sorted(summaries()))
def test_as_far_is_seen_round_a_mark_as_what_it_changes_has_neighbours(name):
    """What it changes lies within its reach, and what that must keep clear of within as much again."""
    small = limits(0.1, 0.1)
    for preset in motif(name).PRESETS.values():
        settings = motif(name).Settings(**preset)
        bed = Bed(motif=name, name=name, settings=settings, place=Place(area=box(0, 0, 9, 9)), limits=small, seed=1)
        assert 2 * reach_mm(name, settings, small) <= seen_mm(bed) <= 2 * reach_mm(name, settings, small) + 5  # in time
