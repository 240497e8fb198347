"""Twigs that mending takes: no bar of paler ink stays where they were, nor snow that lay on them; the rest stands."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
import shapely

from carvegen import geometry
from carvegen.blocks.block import Block
from carvegen.checks.mending import CutChange
from carvegen.prints import bare_paper
from carvegen.prints.bare_paper import _mended_again, cut_away, paper_findings
from carvegen.prints.bare_paper.torn_twigs import Torn, thinned, torn_from, without_ghosts
from carvegen.prints.cut_blocks import Cut, setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.marked.marked_whites import White
from tests.cases import SHELF, limits, setup, shapes
from tests.prints.whole_prints import cut_blocks, mended_print

FACE = shapely.box(0, 0, 30, 20)
POST = shapely.box(5, 0, 9, 20)
ROOT, GAP, END = shapely.box(9, 10, 12, 11), shapely.box(12, 10, 14, 11), shapely.box(14, 10, 18, 11)
ABOVE, BELOW = shapely.box(9, 11, 18, 13), shapely.box(9, 8, 18, 10)
SNOW = shapely.box(13, 11, 18, 12.5)  #: on what is gone
FAR = shapely.box(22, 2, 26, 5)
SETUPS = {"key": (SimpleNamespace(limits=limits(0.7)),)}
LIGHTS = {"sky": 80.0, "key": 20.0}
GONE = (CutChange(what="filled", at=(13.0, 10.5), white_mm2=2.0),)
TORN = Torn(owner="key", gone=shapes(GAP, END), land_mm=0.7)


def cut(name: str, land, white, picture, changes=()) -> Cut:
    white = shapely.union_all(white)
    block = Block(name=name, width_mm=30, height_mm=20, cuts=geometry.parts(shapely.difference(FACE, land)))
    return Cut(block=block, land=land, white=white, picture=picture, changes=changes)


def whole(*pieces):
    return shapely.union_all(pieces)


def key(*pieces, white=(ABOVE, BELOW), changes=GONE) -> Cut:
    return cut("key", whole(POST, *pieces), white, whole(POST, ROOT, GAP, END), changes)


def sky(white=(ABOVE, BELOW), less=()) -> Cut:
    return cut("sky", FACE.difference(whole(*white, *less)), white, FACE)


def picture(*snow, marks=()):
    lying = White(name="snowload", shapes=geometry.polygon_array(snow), leaves=frozenset(LIGHTS))
    return SimpleNamespace(whites=(lying,), marks=[SimpleNamespace(shape=mark) for mark in marks])


def snowed(snow, *others, **more):
    """The blocks without the ghosts of the twig on which so much snow lies, beside other white."""
    white = (snow, *others)
    cuts = {"sky": sky(white=white), "key": key(ROOT, white=white)}
    return without_ghosts(cuts, [TORN], picture(snow, **more), LIGHTS)


def closed(**blocks) -> dict:
    """The blocks without the ghosts of the twig: no snow lay on it."""
    return without_ghosts({"sky": sky(), "key": key(ROOT)} | blocks, [TORN], picture(), LIGHTS)


def stays_where_the_twig_was(done) -> bool:
    return bool(standing(done["sky"]).intersection(whole(GAP, END)).area > 5)


def standing(one: Cut):
    """What stands by the block's cuts; they and the land say the same."""
    land = FACE.difference(shapely.union_all(one.block.cuts))
    assert land.symmetric_difference(one.land).area < 0.01
    return land


# ── what is torn ─────────────────────────────────────────────────────────────────────────────────────────────────


def test_torn_is_what_mending_took_of_a_blocks_own_drawing():
    drawn = key(ROOT, GAP, END, ABOVE, changes=())  # what lies above is land, but of no drawing of this block
    [torn] = torn_from({"key": thinned(drawn, key(ROOT, END))}, SETUPS)
    assert (torn.owner, torn.land_mm) == ("key", 0.7)
    assert whole(*torn.gone).symmetric_difference(GAP).area < 0.01


def test_nothing_is_torn_where_land_is_widened_only_or_a_crumb_goes():
    before, crumb = key(ROOT, GAP, changes=()), shapely.box(13.97, 10, 14, 11)
    widened = (replace(GONE[0], what="widened"),)
    assert torn_from({"key": thinned(before, key(ROOT, changes=widened))}, SETUPS) == ()
    assert torn_from({"key": thinned(before, key(ROOT, GAP - crumb))}, SETUPS) == ()


# ── bars of paler ink ────────────────────────────────────────────────────────────────────────────────────────────


def test_a_bar_of_paler_ink_between_snow_goes_where_a_twig_is_gone():
    away = shapely.box(20, 2, 24, 2.5)
    cuts = {"sky": sky(), "key": key(ROOT)}
    done = without_ghosts(cuts, [replace(TORN, gone=shapes(GAP, END, away))], picture(), LIGHTS)
    assert standing(done["sky"]).intersection(whole(GAP, END)).area < 0.1
    assert standing(done["sky"]).covers(away), "the sky shows where a twig before it is gone"
    notes = done["key"].notes
    assert {(note.rule, note.kind) for note in notes} == {("mended-away", "twigs")}
    for piece, note in zip((GAP, END), notes, strict=True):  # each with its own place and area, and none elsewhere
        assert piece.covers(shapely.Point(note.at))
        assert note.measured == pytest.approx(piece.area)
        assert "the snow round it is closed" in note.why
    assert done["key"].given_up.covers(END), "it is told once, not as bare paper again"
    assert not done["key"].given_up.intersects(away)


@pytest.mark.parametrize(("start", "goes"), [(16.0, True), (14.0, False)])
def test_sky_that_is_open_on_more_than_a_third_of_its_outline_is_no_bar(start, goes):
    """Open above from `start` on: 4.98 of 16.9 mm of its outline meet more of it, or 6.98; by plane geometry."""
    above = shapely.box(9, 11, start, 13)
    done = closed(sky=sky(white=(above, BELOW)))
    assert stays_where_the_twig_was(done) is not goes


@pytest.mark.parametrize(("gap", "goes"), [(0.45, True), (0.55, False)])
def test_a_bar_is_no_wider_than_its_twig_and_seven_tenths_of_a_land_on_both_sides(gap, goes):
    """Half a millimetre, nearly: 0.7 of a land of 0.7 mm."""
    white = (shapely.box(9, 11 + gap, 18, 14), shapely.box(9, 7, 18, 10 - gap))
    assert stays_where_the_twig_was(closed(sky=sky(white=white))) is not goes


def test_what_a_mark_keeps_is_no_bar():
    kept = sky()
    kept = replace(kept, block=replace(kept.block, stays=shapes(shapely.box(15, 10, 16, 11))))
    done = closed(sky=kept)
    assert done["sky"] is kept
    assert done["key"].notes == ()


def test_ink_that_a_darker_one_covers_holds_no_bar():
    """Between snow and a beam that stands the twig is gone: a sliver of sky would print, however far it runs below."""
    beam = shapely.box(9, 8, 18, 10)
    done = closed(sky=sky(white=(ABOVE,)), key=key(ROOT, beam, white=(ABOVE,)))
    assert standing(done["sky"]).intersection(whole(GAP, END).buffer(-0.05)).area < 0.01


def test_a_strip_of_paler_ink_below_what_still_stands_is_no_bar():
    strip = shapely.box(8.6, 10, 9, 11)  # at the root, below the post
    under = sky(white=(FACE - strip,))
    cuts = {"sky": under, "key": key(white=())}
    done = without_ghosts(cuts, [replace(TORN, gone=shapes(ROOT))], picture(), LIGHTS)
    assert done["sky"] is under


@pytest.mark.parametrize(("left", "expected"), [(9.0, True), (15.2, True), (16.6, False), (18.0, False)])
def test_a_rail_drawn_in_paler_ink_stays_where_the_line_before_it_is_gone(left, expected):
    """Left of `left` the rail alone is drawn in it, on to the right all: of the bar's outline so much lies beside."""
    rail = shapely.box(5, 10, 22, 11)
    picture_ = whole(rail.buffer(-0.01), shapely.box(left, 0, 30, 20))
    done = closed(sky=replace(sky(), picture=picture_))
    assert stays_where_the_twig_was(done) is not expected


def test_a_strip_of_paler_ink_round_what_stands_again_is_no_bar():
    twig = shapely.box(12, 10.4, 18, 10.6)
    done = without_ghosts({"sky": sky(), "key": key(ROOT, twig)}, [replace(TORN, gone=shapes(twig))], picture(), LIGHTS)
    assert stays_where_the_twig_was(done)


def test_a_darker_ink_where_a_paler_twig_is_gone_is_no_bar():
    cuts = {"sky": sky(less=(GAP, END)), "key": key(ROOT, END)}
    done = without_ghosts(cuts, [replace(TORN, owner="sky")], picture(), LIGHTS)
    assert done["key"] is cuts["key"]


def test_no_note_says_any_more_that_another_ink_prints_where_none_does():
    there, elsewhere = (SimpleNamespace(rule="other-ink", kind="sky", at=at) for at in ((16.0, 10.5), (25.0, 4.0)))
    done = closed(key=replace(key(ROOT), notes=(there, elsewhere)))
    assert [note for note in done["key"].notes if note.rule == "other-ink"] == [elsewhere]


# ── snow ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def snow_goes(done) -> bool:
    """Whether the snow at the middle of the twig's end is no longer asked for, nor cut."""
    at = shapely.Point(15, 11.3)
    asked = {bool(one.white.intersects(at)) for one in done.values()}
    assert len(asked) == 1, "on all blocks, or on none"
    assert standing(done["sky"]).intersects(at) is not asked.copy().pop()
    return not asked.pop()


def test_snow_that_lay_on_what_is_gone_goes_and_the_sky_prints_there():
    done = snowed(SNOW)
    assert snow_goes(done)
    assert FACE.difference(standing(done["sky"])).area < 0.01
    assert all(one.white.area < 0.01 for one in done.values()), "nor need it be bare"
    assert ["so is snow on it alone" in note.why for note in done["key"].notes] == [True, True]


def test_other_white_beside_it_stays_bare():
    done = snowed(SNOW, BELOW)
    assert snow_goes(done)
    assert standing(done["sky"]).intersection(BELOW).area < 0.01
    assert done["key"].white.symmetric_difference(BELOW).area < 0.01


def test_an_ink_before_which_little_of_the_snow_lay_does_not_print_where_its_twig_was():
    little = replace(sky(white=(SNOW,), less=(GAP, END)), picture=shapely.box(17, 0, 30, 20))
    cuts = {"sky": little, "key": key(ROOT, white=(SNOW,))}
    done = without_ghosts(cuts, [TORN], picture(SNOW), LIGHTS)
    assert standing(done["sky"]).covers(shapely.box(17, 11, 18, 12.5))
    assert standing(done["sky"]).intersection(shapely.box(13.1, 10.1, 16.9, 12.4)).area < 0.01


@pytest.mark.parametrize(("right", "expected"), [(15.5, False), (16.5, True)])
def test_snow_goes_where_three_fifths_of_what_it_lies_on_are_gone(right, expected):
    """3.8 of 6.6 mm, or 4.8 of 7.6, of the outline 0.15 mm round it; by plane geometry."""
    assert snow_goes(snowed(shapely.box(9.5, 11, right, 12.5))) is expected


@pytest.mark.parametrize(("height", "expected"), [(2.9, True), (3.1, False)])
def test_broad_snow_stays(height, expected):
    assert snow_goes(snowed(shapely.box(13, 11, 18, 11 + height))) is expected


@pytest.mark.parametrize(("above", "expected"), [(0.1, True), (0.2, False)])
def test_snow_lies_on_what_is_no_further_off_than_it_rests(above, expected):
    assert snow_goes(snowed(shapely.box(13, 11 + above, 18, 12.5))) is expected


def test_snow_that_a_mark_touches_stays():
    assert not snow_goes(snowed(SNOW, marks=[shapely.box(17, 12, 20, 16)]))
    assert snow_goes(snowed(SNOW, marks=[FAR]))


def test_snow_that_is_one_with_other_snow_stays():
    assert not snow_goes(snowed(SNOW, shapely.box(17, 12, 20, 16)))


def test_snow_stays_where_a_darker_ink_may_bear_it():
    cuts = {"sky": sky(white=(SNOW,)), "key": key(ROOT, white=(SNOW,))}
    done = without_ghosts(cuts, [TORN], picture(SNOW), LIGHTS | {"ink": 5.0})
    assert not snow_goes(done)


# ── what mending leaves alone ────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("snow", [False, True])  # a bar goes, or land is laid where snow lay
def test_what_mending_left_alone_it_leaves_alone_again(snow):
    white = (SNOW, FAR) if snow else (ABOVE, BELOW, FAR)
    there = sky(white=white)
    cuts = sorted(there.block.cuts, key=lambda cut: cut.equals(FAR))  # it comes last
    fixed = frozenset([len(cuts) - 1])
    there = replace(there, block=replace(there.block, cuts=geometry.polygon_array(cuts), fixed=fixed))
    lying = picture(SNOW) if snow else picture()
    done = without_ghosts({"sky": there, "key": key(ROOT, white=white)}, [TORN], lying, LIGHTS)["sky"]
    assert done is not there
    assert [done.block.cuts[k].equals(FAR) for k in done.block.fixed] == [True]


def test_slivers_that_are_left_where_bars_went_are_mended():
    sliver = sky(white=(shapely.box(5, 5, 10, 10), shapely.box(10.1, 5, 15, 10)))
    done = _mended_again(replace(sliver, changes=GONE), (setup(),), lambda _: None)
    assert standing(done).intersection(shapely.box(10, 6, 10.1, 9)).area < 0.01
    assert done.changes[:1] == GONE
    assert len(done.changes) > 1


# ── whole prints ─────────────────────────────────────────────────────────────────────────────────────────────────

#: A twig of 0.12 mm before a strip of sky of 0.55 mm between highlights: neither it nor the sky below can stand.
TWIG = {"TWIG": "box 9 12 8 0.12"}
SIDES = ("box 9.5 12.35 8 3", "box 9.5 8.8 8 3")
#: A boat drawn as a line of 1.1 mm, twice as wide as its land must be, on a rope of 0.15 mm that can't stand.
BOAT = {
    "ROPE": "box 9 12 6 0.15", "KEEL": "box 15 6 16 1.1", "RAIL": "box 15 16.9 16 1.1", "BOW": "box 15 6 1.1 12",
    "STERN": "box 29.9 6 1.1 12",
}  # fmt: skip


#: A sky under all, a tone and a key, each with its own layer.
TONED = '[print]\nname = "twig"\nsize_mm = [36, 24]\nseed = 5\n[artwork]\nin_front = ["TWIG", "WATER"]\n' + "\n".join(
    f'[[blocks]]\nname = "{name}"\nrole = "{role}"\nink = "{ink}"\nlayers = ["{layers}"]\n'
    'material = "linoleum"\ncutter = "v-60"\nfor = ["hand"]\nmend = true'
    for name, role, ink, layers in (("sky", "ground", "#b9cfdc", "*"), ("tone", "tone", "#6f93b0", "WATER"),
                                    ("key", "key", "#1d2b3f", "TWIG"))
)  # fmt: skip


def made(folder, drawn: dict[str, str], lights=()):
    """A mended print of a sky and what is drawn on the key: its picture, the blocks before, and as they are."""
    lines = ['[print]\nname = "twig"\nsize_mm = [36, 24]\nseed = 5']
    lines += [f'[[layers]]\nname = "{name}"\nshape = "{shape}"' for name, shape in drawn.items()]
    keyed = ", ".join(f'"{name}"' for name in drawn)
    for name, role, ink, layers in (("sky", "background", "#a9bfcb", '"*"'), ("key", "key", "#1f2b3d", keyed)):
        lines.append(f'[[blocks]]\nname = "{name}"\nrole = "{role}"\nink = "{ink}"\nlayers = [{layers}]')
        lines.append('material = "linoleum"\ncutter = "v-60"\nfor = ["hand"]\nmend = true')
    lines += [f'[[highlights]]\nshape = "{shape}"' for shape in lights]
    (folder / "print.toml").write_text("\n".join(lines), encoding="utf-8")
    print_ = read_print(folder / "print.toml", SHELF)
    setups = setups_of(print_, SHELF)
    picture_, cuts = cut_blocks(print_, setups, say=lambda _: None)
    return picture_, cuts, mended_print(print_, picture_, cuts, setups, say=lambda _: None)


def test_a_print_with_a_twig_shows_no_ghost_of_it_and_says_so_once(tmp_path, monkeypatch):
    again = []
    monkeypatch.setattr(bare_paper, "_mended_again", lambda cut, *_: again.append(cut.block.name) or cut)
    picture_, cuts, done = made(tmp_path, {"POST": "box 4 0 5 24"} | TWIG, SIDES)
    strip = shapely.box(9.6, 11.81, 16.9, 12.34)
    assert cuts["sky"].land.covers(strip.difference(cuts["key"].land))
    assert all(strip.intersection(cut.land).area < 0.01 for cut in done.values())
    assert again == ["sky"], "of which a bar went"
    [note] = [*done["key"].notes, *cut_away(cuts["key"].land, done["key"])]
    assert (note.rule, note.kind) == ("mended-away", "twigs")
    assert note.measured == pytest.approx(8 * 0.12, rel=0.1), "its own area, not that of the snow round it"
    assert not any(paper_findings(picture_, done).values())


@pytest.mark.parametrize(("left", "goes_on"), [(0, True), (13.9, False)])
def test_where_a_twig_before_a_darker_ink_is_gone_that_ink_goes_on_and_no_paler_one_shows(tmp_path, left, goes_on):
    """A twig of 0.12 mm above snow: below it all is white, above it the water, or for the most part sky."""
    lines = [TONED, f'[[layers]]\nname = "WATER"\nshape = "box {left} 12 {36 - left} 12"']
    lines += ['[[layers]]\nname = "TWIG"\nshape = "box 9 12.12 8 0.12"', '[[highlights]]\nshape = "box 7 8 12 4.12"']
    (tmp_path / "print.toml").write_text("\n".join(lines), encoding="utf-8")
    print_ = read_print(tmp_path / "print.toml", SHELF)
    setups = setups_of(print_, SHELF)
    picture_, cuts = cut_blocks(print_, setups, say=lambda _: None)
    twig = shapely.box(10, 12.13, 16, 12.23)
    assert cuts["tone"].land.intersection(twig).area < 0.01
    done = mended_print(print_, picture_, cuts, setups, say=lambda _: None)
    assert done["key"].land.intersection(twig).area < 0.01
    there = done["tone"].land.intersection(twig)
    assert there.area > 0.8 * twig.area if goes_on else there.area < 0.01


def test_a_drawn_thing_that_holds_stands_though_its_rope_is_gone_and_the_rope_is_told(tmp_path):
    _, cuts, done = made(tmp_path, {"POST": "box 4 0 5 24"} | BOAT)
    key_ = done["key"]
    hull = shapely.box(15, 6, 31, 18) - shapely.box(16.1, 7.1, 29.9, 16.9)
    assert (hull - key_.land).area < 0.1
    assert key_.land.intersection(shapely.box(9.5, 12, 14.5, 12.15)).area < 0.01
    [note] = [*key_.notes, *cut_away(cuts["key"].land, key_)]
    assert (note.rule, note.kind) == ("mended-away", "")
    assert note.measured == pytest.approx(6 * 0.15, rel=0.2)
