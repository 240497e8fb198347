"""The picture of a print: which motif draws from which stream, and which flakes fit it."""

from __future__ import annotations

import itertools
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.limits import Limits
from carvegen.base.progress import followed
from carvegen.delivery import side_by_side as side_by_side_module
from carvegen.geometry.narrow import narrow_places
from carvegen.geometry.necks import necks
from carvegen.motifs.growth import Growth
from carvegen.motifs.snowfall import Settings
from carvegen.motifs.snowfall.readable import Figure, uncut, with_lines
from carvegen.prints.cut_blocks import Setups, plates_of, setups_of, unmarked_of
from carvegen.prints.cut_blocks import picture_of as pictured
from carvegen.prints.file.print_file import Print, read_print
from carvegen.prints.flake_fit import settled
from carvegen.prints.layers import LayeredDrawing, drawing_of, runs_across
from carvegen.prints.picture import Picture, _once, growing
from carvegen.prints.picture.fitting import _before_bars, _beside_white, _left_out
from carvegen.prints.picture.growing_room import GrowingRooms
from carvegen.prints.picture.known import Known
from carvegen.prints.picture.readable_bars import ReadableBars
from carvegen.prints.separation import Layer
from carvegen.prints.tasks import in_turn
from tests.cases import SHELF, box, disc, layer, limits, shapes, small_print
from tests.cli.running import needs_fork
from tests.strategies import MANY, takes_long

BLOCK = """
[[blocks]]
name = "sky"
role = "background"
ink = "#a9bfcb"
layers = ["*"]
material = "linoleum"
cutter = "v-60"
for = ["hand"]
"""
SNOW = '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.06, largest_mm = 2.5 }\nregion = "box 8 6 20 18"\n'


def read_in(folder, motifs: str) -> tuple[Print, Setups]:
    path = folder / "print.toml"
    path.write_text(f'[print]\nname = "post"\nsize_mm = [36, 30]\nseed = 4\n{BLOCK}{motifs}', encoding="utf-8")
    print_ = read_print(path, SHELF)
    return print_, setups_of(print_, SHELF)


def picture_of(folder, motifs: str) -> Picture:
    return pictured(*read_in(folder, motifs), say=lambda _: None)


def snow_of(folder, motifs: str) -> list[list[shapely.Polygon]]:
    """The flakes of each motif."""
    return [list(white.shapes) for white in picture_of(folder, motifs).whites]


def test_two_motifs_of_one_kind_draw_from_streams_of_their_own(tmp_path) -> None:
    """The second keeps clear of the first's flakes: were they the same, none of its own would be left."""
    one, two = snow_of(tmp_path, 2 * SNOW)
    assert len(one) > 3
    assert len(two) > 2
    (alone,) = snow_of(tmp_path, SNOW)
    assert [each.wkb for each in alone] == [item.wkb for item in one]


def test_snow_on_a_sign_and_on_the_hill_behind_it_is_one_heap(tmp_path) -> None:
    """No line of land as narrow as a land may be lies between them, as a closing with a disc would fill it."""
    drawn = "".join(
        f'[[layers]]\nname = "{name}"\nshape = "{shape}"\n[[motifs]]\nmotif = "snowload"\non = ["{name}"]\n'
        for name, shape in {"HILL": "box 0 0 36 14", "SIGN": "box 12 4 12 11"}.items()
    )
    hill, sign = (geometry.union(white.shapes) for white in picture_of(tmp_path, drawn).whites)
    both = shapely.union(hill, sign)
    filled = shapely.difference(shapely.buffer(shapely.buffer(both, 0.4), -0.4), both)
    assert shapely.difference(sign, hill).area > 10
    assert sign.area < 30, "what lies on the hill as well is the hill's, but for a rim"
    assert len(geometry.parts(both)) == 1
    assert shapely.area(shapely.buffer(filled, -0.05)) < 0.1


def test_ripples_in_the_key_bear_no_snow_and_it_is_told(tmp_path) -> None:
    """Three lines before water; the post between them bears."""
    lines = "M2 24h8v1h-8z M6 21.5h8v1h-8z M3 19h8v1h-8z"
    drawn = f'<g id="KEY"><path d="M20 4h3v22h-3z {lines}"/></g><g id="WATER"><path d="M0 16h26v12h-26z"/></g>'
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="26mm" height="28mm" viewBox="0 0 26 28">'
    (tmp_path / "a.svg").write_text(f"{head}{drawn}</svg>", encoding="utf-8")
    files = '[artwork]\nfiles = ["a.svg"]\nin_front = ["KEY", "WATER"]'
    lying = '[[motifs]]\nmotif = "snowload"\npreset = "deep"\non = ["KEY"]'
    done = small_picture(tmp_path, files, blocks={"sky": ["*"], "key": ["KEY"]}, after=lying, size=(26, 28))
    assert done.bare.area > 3 and done.bare.intersects(box(20, 20, 3, 8))
    assert done.bare.intersection(box(0, 0, 18, 12)).area == 0
    assert "no snow lies on 3 thin level lines drawn on WATER" in " ".join(done.notes)


@pytest.mark.parametrize(("twig", "closes"), [("box 5 10.5 5.5 0.5", False), ("box 30 10 2 2", True)])
def test_no_snow_closes_over_what_the_darkest_ink_shows(tmp_path, monkeypatch, twig: str, closes: bool) -> None:
    gap, lobes = box(5, 10, 5.5, 1.4), (box(0, 10.5, 20, 10), box(0, 0, 20, 11))
    grown = [Growth(cuts=shapes(lobe - gap)) for lobe in lobes]
    monkeypatch.setattr(growing, "_sprouted", lambda _, entry, *__: grown[entry.nth])
    named = {"POST": "box 0 0 20 9", "TWIG": twig, "HILL": "box 0 0 40 10"}
    drawn = ['[artwork]\nin_front = ["POST", "TWIG", "HILL"]', *itertools.starmap(layer, named.items())]
    lying = "".join(f'[[motifs]]\nmotif = "snowload"\non = ["{name}"]\n' for name in ("HILL", "POST"))
    done = small_picture(tmp_path, *drawn, blocks={"sky": ["*"], "key": ["TWIG"]}, after=lying, size=(40, 30))
    assert done.bare.covers(gap) == closes


def test_a_flake_over_an_edge_on_bare_paper_goes_and_one_over_two_inks_or_a_gap_stays(tmp_path, monkeypatch) -> None:
    """Of it only a bite out of the post would be seen; and no mass comes near such an edge, however broad the thing."""
    bite, inked, inside, gap = disc(5, 10, 1.2), disc(11, 20, 1.2), disc(8, 6, 0.9), disc(26.5, 8, 1.3)
    bars: list[shapely.Geometry] = []

    def sprouted(_seed, _entry, place, _limits):
        bars.append(place.bars)
        return Growth(cuts=shapes(bite, inked, inside, gap))

    monkeypatch.setattr(growing, "_sprouted", sprouted)
    named = {"POST": "box 5 2 6 24", "BOARD": "box 16 2 10 11", "NEXT": "box 27 2 12 11", "SKY": "box 0 15 40 15"}
    snow = '[[motifs]]\nmotif = "snowfall"\nsettings = { smallest_mm = 0.7, largest_mm = 2.7 }'
    for sky, left in {"SKY": [inside, inked, gap], "*": [bite, inside, inked, gap]}.items():
        drawn = [layer(name, shape) for name, shape in named.items() if name != "SKY" or sky == "SKY"]
        blocks = {"sky" if sky == "*" else "tone": [sky], "key": ["POST", "BOARD", "NEXT"]}
        done = small_picture(tmp_path, *drawn, blocks=blocks, after=snow, size=(40, 30))
        assert sorted(shapely.area(done.whites[0].shapes)) == pytest.approx(
            sorted(each.area for each in left), rel=0.01
        )
        assert all(shapely.intersects(done.bare, each) for each in left)
    foot = shapely.LineString([(33, 1), (33, 6)])
    assert [shapely.length(shapely.intersection(each, foot)) for each in bars] == pytest.approx([0.3, 0], abs=0.01)


@pytest.mark.parametrize(("other", "shares"), [("frost", [0.4, 0.8, 1]), ("snowload", [0.64, 0.72, 0.8, 1])])
def test_what_grows_side_by_side_takes_a_share_of_the_time_only_where_several_do(
    tmp_path, monkeypatch, other: str, shares: list[float]
) -> None:
    monkeypatch.setattr(growing, "_sprouted", lambda *_: Growth(cuts=shapes(box(5, 5, 4, 3))))
    said: list[float] = []
    both = "".join(f'[[motifs]]\nmotif = "{name}"\non = ["POST"]\n' for name in ("snowload", other))
    with followed(said.append):
        small_picture(tmp_path, layer("POST", "box 4 2 6 3"), blocks={"sky": ["*"]}, after=both, size=(20, 15))
    assert sorted({round(share, 9) for share in said}) == shares


def small_picture(folder, *before: str, **more) -> Picture:
    """The picture of a small print."""
    (folder / "print.toml").write_text(small_print(*before, **more), encoding="utf-8")
    print_ = read_print(folder / "print.toml", SHELF)
    return pictured(print_, setups_of(print_, SHELF), say=lambda _: None)


def hill_and_twig(folder, hill: str, twig: str, *on: str) -> list[shapely.Geometry]:
    """The deep snow of each motif, where land must be 0.5 mm broad."""
    drawn = f'[[layers]]\nname = "HILL"\nshape = "{hill}"\n[[layers]]\nname = "TWIG"\nshape = "{twig}"\n'
    drawn += '[artwork]\nin_front = ["TWIG", "HILL"]\n'
    drawn += "".join(f'[[motifs]]\nmotif = "snowload"\npreset = "deep"\non = ["{name}"]\n' for name in on)
    return [geometry.union(white.shapes) for white in picture_of(folder, drawn).whites]


def test_snow_behind_a_twig_leaves_it_the_land_that_it_needs_and_no_halo(tmp_path) -> None:
    """0.3 mm broad, upright before a white hill: what is left beside more than 0.5 would print in a paler ink."""
    (white,) = hill_and_twig(tmp_path, "box 0 0 36 14", "box 17.8 8 0.3 16", "HILL")
    assert white.area > 300
    for y in np.arange(11.5, 18.0, 0.5):
        left, right = shapely.get_parts(shapely.intersection(shapely.LineString([(0, y), (36, y)]), white))
        assert 0.5 < right.bounds[0] - left.bounds[2] < 0.62


def test_snow_on_a_twig_before_a_white_hill_leaves_the_twig_whole(tmp_path) -> None:
    """It leans over a hill, so that the snow of both would be one heap across it."""
    hill, own = hill_and_twig(tmp_path, "box 10 0 16 14", "box 4 15.6 28 0.3", "HILL", "TWIG")
    assert hill.area > 90 and shapely.difference(own, hill).area > 5
    land = shapely.difference(box(4, 15, 28, 1.5), shapely.union(hill, own))
    whole = shapely.buffer(land, -0.24)
    assert shapely.bounds(max(shapely.get_parts(whole), key=shapely.area))[[0, 2]] == pytest.approx([4.24, 31.76])


@pytest.mark.parametrize(("drawn", "lowest"), [(True, 10.38), (False, 10.0)])
def test_snow_that_leans_over_a_twig_leaves_land_of_it_before_snow_behind(drawn, lowest) -> None:
    """That behind ends at 9.8; 0.5 of land and a little are left of the twig, and none where no twig is drawn."""
    twig = box(0, 9.75, 30, 0.5) if drawn else shapely.Polygon()
    own = box(4, 10, 20, 2)
    left = shapely.difference(own, _before_bars(twig, own, box(0, 0, 30, 9.8), limits(0.5)))
    assert left.bounds == pytest.approx((4, lowest, 24, 12), abs=0.01)


@pytest.mark.parametrize(
    "twigs",
    [
        ([(13.7, 7.1), (22.7, 17.5)], [(10.5, 19.2), (17.9, 11.8)]),
        ([(18.9084, 12.7692), (22.5701, 19.9933)], [(18.2785, 14.09), (30.2523, 10.9569)]),
    ],
)
def test_snow_on_crossing_twigs_before_a_white_hill_leaves_no_land_of_them_too_thin(tmp_path, twigs) -> None:
    """Deep snow of both, 0.3 mm: else five places are; of the second pair seven, below slivers of snow."""
    outlines = [shapely.LineString(ends).buffer(0.15, cap_style="flat").exterior.coords for ends in twigs]
    lines = "".join(f'<polygon points="{" ".join(f"{x:.2f},{y:.2f}" for x, y in outline)}"/>' for outline in outlines)
    drawn = f'<g id="TWIG">{lines}</g><g id="HILL"><path d="M0 16H36V30H0Z"/></g>'
    page = f'<svg xmlns="http://www.w3.org/2000/svg" width="36mm" height="30mm" viewBox="0 0 36 30">{drawn}</svg>'
    (tmp_path / "a.svg").write_text(page)
    motifs = "".join(f'[[motifs]]\nmotif = "snowload"\npreset = "deep"\non = ["{on}"]\n' for on in ("HILL", "TWIG"))
    file = '[artwork]\nfiles = ["a.svg"]\nin_front = ["TWIG", "HILL"]\n'
    picture = picture_of(tmp_path, file + motifs)
    assert len(picture.whites[0].shapes) > 0
    land = shapely.difference(box(0, 0, 36, 30), picture.white_for("sky"))
    assert narrow_places(geometry.rings(geometry.parts(land)), 0.45).width.tolist() == []


def test_no_slit_of_land_is_left_round_a_twig_that_snow_buries(tmp_path) -> None:
    hill, own = hill_and_twig(tmp_path, "box 0 0 36 14", "box 8 13.5 20 0.3", "HILL", "TWIG")
    both = shapely.union(hill, own)
    slits = shapely.difference(shapely.buffer(shapely.buffer(both, 0.2), -0.2), shapely.buffer(both, 0.01))
    assert slits.area < 0.1


def test_a_cap_hides_a_wave_behind_its_post_though_the_wave_lies_before_a_fir(tmp_path) -> None:
    """The wave crosses the cap above the post, which it does not touch; the fir's own snow it hides as before."""
    layers = {"POST": "box 10 0 5 16", "WAVE": "box 4 16.8 28 0.8", "FIR": "box 24 4 6 13"}
    drawn = (
        "[artwork]\nin_front = "
        + str([*layers]).replace("'", '"')
        + "\n"
        + "".join(f'[[layers]]\nname = "{name}"\nshape = "{shape}"\n' for name, shape in layers.items())
    )
    (snow,) = picture_of(tmp_path, f'{drawn}[[motifs]]\nmotif = "snowload"\non = ["FIR", "POST"]\n').whites
    wave, white = box(4, 16.8, 28, 0.8), geometry.union(snow.shapes)
    assert shapely.intersection(white, shapely.intersection(wave, box(10.5, 0, 4, 30))).area > 2.5, "before the post"
    assert shapely.intersection(white, shapely.intersection(wave, box(22, 0, 14, 30))).area < 0.01


def test_much_snow_that_is_left_out_beside_other_white_is_told(tmp_path) -> None:
    thick = SNOW.replace("0.06", "0.15")
    picture = picture_of(tmp_path, thick + thick)
    assert [note for note in picture.notes if "is left out" in note and note.startswith("falling snow 2")] != []
    assert [note for note in picture.notes if "is left out" in note and note.startswith("falling snow 1")] == []


@takes_long  # motifs/snowfall/test_layers.py; layers that are named: test_rules_of_files.py
def test_far_flakes_of_one_motif_fall_behind_the_drawing_and_near_ones_before_it(tmp_path) -> None:
    """By layer of the drawing: what is not named hides none."""
    post = '[[layers]]\nname = "POST"\nshape = "box 10 0 16 30"\n'
    snow = '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.15, largest_mm = 4.0, level = 4 }\n'
    on_post = []
    for behind in ("", 'far_behind = ["POST"]\n', 'far_behind = ["*"]\nmiddle_behind = ["POST"]\n'):
        (flakes,) = snow_of(tmp_path, post + snow + behind)
        on_post.append([flake.area for flake in flakes if flake.intersection(box(10, 0, 16, 30)).area > 1e-3])
    assert len(on_post[0]) > len(on_post[1]) > len(on_post[2]) > 0
    assert min(on_post[2]) > 2 * min(on_post[0])


def test_only_falling_snow_has_far_flakes(tmp_path) -> None:
    with pytest.raises(InputError, match="falling snow alone"):
        snow_of(tmp_path, '[[motifs]]\nmotif = "frost"\nfar_behind = ["*"]\n')
    with pytest.raises(InputError, match="must be a layer"):
        snow_of(tmp_path, SNOW + 'far_behind = ["PIER"]\n')


def test_a_print_tells_where_other_white_came_than_asked(tmp_path) -> None:
    """Snow that is kept off half the face can't be as much of it as was asked."""
    path = tmp_path / "print.toml"
    snow = (
        '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.1, largest_mm = 2.5 }\nkeep_clear = ["box 0 0 18 30"]\n'
    )
    path.write_text(f'[print]\nname = "post"\nsize_mm = [36, 30]\nseed = 4\n{BLOCK}{snow}', encoding="utf-8")
    print_ = read_print(path, SHELF)
    picture = pictured(print_, setups_of(print_, SHELF), say=lambda _: None)
    assert any("asked for 10% white" in note and "kept clear" in note for note in picture.notes)


def test_a_note_says_which_snow_in_plain_words_and_which_setting_brings_more(tmp_path) -> None:
    """No key stands for a thing where a person reads; a name of her own does."""
    inputs = read_in(tmp_path, BESIDE)
    assert [entry.called for entry in inputs[0].motifs] == ["lying snow 1", "falling snow 1"]
    (note,) = (note for note in unmarked_of(*inputs, say=lambda _: None).notes if REMARK in note)
    assert note.startswith("falling snow 1: asked for 10% white (snow = 0.1 in its settings), ")
    named = read_in(tmp_path, BESIDE + 'name = "flurry"\n')
    assert named[0].motifs[1].called == "flurry"


def test_what_two_lying_snows_say_of_one_hill_is_told_once(tmp_path) -> None:
    """A motif of another name that says as much is another thing; a note that says more too stays whole."""
    hill, water = "what ends at y 51 mm is taken for a hill far behind", "a thin streak counts as water; draw it"
    notes = [f"lying snow 1: {hill}", f"lying snow 2: {hill}; {water}", f"lying snow 3: {hill}", f"flakes: {hill}"]
    assert list(_once(notes, {f"lying snow {nth}" for nth in (1, 2, 3)})) == [notes[0], notes[1], notes[3]]


@pytest.mark.parametrize(
    ("lost", "crowded", "said"),
    [
        (0.03, 0.03, "too near to other white (raise snow, and more falls elsewhere)"),
        (0.03, 0.001, "at outlines (let flakes be smaller, or raise snow)"),
        (
            0.03,
            0.01,
            "1% too near to other white (raise snow, and more falls elsewhere) and 2% at outlines",
        ),
    ],
)
def test_of_snow_that_is_left_out_it_is_told_why_with_what_helps(lost, crowded, said) -> None:
    assert _left_out(lost, crowded).startswith(said)


def test_what_is_left_out_beside_other_white_is_known_from_what_is_at_outlines() -> None:
    cuts = geometry.polygon_array([geometry.box(2, 2), shapely.box(10, 0, 13, 3), shapely.box(20, 0, 22, 2)])
    limits = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.5)
    beside = _beside_white(cuts, cuts[:1], shapely.box(13.3, 0, 15, 9), limits)
    assert beside == pytest.approx(9), "not the other flake, which is clear of it"


POSTS = '[[layers]]\nname = "POST"\nshape = "box 26 0 6 16"\n'
LOAD = '[[motifs]]\nmotif = "snowload"\non = ["POST"]\n'
KEPT_OFF = 'keep_clear = ["box 0 0 18 30"]\n'
FALL = f'[[motifs]]\nmotif = "snowfall"\nsettings = {{ snow = 0.1, largest_mm = 2.5 }}\n{KEPT_OFF}'
BESIDE = POSTS + LOAD + FALL  #: two motifs of new snow; much of what falls is kept off, and that is remarked
NTH = ("first", "second", "third")
FAULTY = ("snowload", "snowfall")
REMARK = "asked for 10% white"


def by_two(tasks, say):
    return side_by_side_module.side_by_side(tasks, jobs=2, say=say)


@pytest.mark.parametrize("begin", [pytest.param("fork", marks=needs_fork), pytest.param("spawn", marks=takes_long)])
def test_snow_that_two_processes_grow_is_the_same_as_in_turn(tmp_path, monkeypatch, begin) -> None:
    """Each is sent and comes back, though `say` can't be sent; what fails in a child would be done once more here."""
    heard, hear, said = list[str](), side_by_side_module._heard, list[str]()

    def overheard(pipe):
        report = hear(pipe)
        heard.append(report[0])
        return report

    monkeypatch.setattr(side_by_side_module, "_BEGIN", begin)
    monkeypatch.setattr(side_by_side_module, "_heard", overheard)
    inputs = read_in(tmp_path, BESIDE)
    roomed, room = [], GrowingRooms.room

    def by_two(tasks, say):
        assert roomed == [], "a room is looked for when its motif's turn comes: others grow meanwhile"
        return side_by_side_module.side_by_side(tasks, jobs=2, say=say)

    with monkeypatch.context() as patch:
        patch.setattr(GrowingRooms, "room", lambda *args: roomed.append(args[1].motif) or room(*args))
        both = pictured(*inputs, say=lambda stage: said.append(stage), run=by_two)  # noqa: PLW0108 - it can't be sent
    assert roomed == ["snowload", "snowfall"]
    assert heard.count("returns") == 2
    assert "fails" not in heard
    stages = {"letting snow lie, 1 of 2", "letting snow fall, 2 of 2"}
    assert sorted(stages) == sorted(each for each in said if each.startswith("letting"))
    turn = unmarked_of(*inputs, say=lambda _: None)  # it begins none before its turn
    assert len(turn.whites[0].shapes) > 0
    assert len(turn.whites[1].shapes) > 3
    for one, other in zip(both.whites, turn.whites, strict=True):
        assert shapely.to_wkb(one.shapes).tolist() == shapely.to_wkb(other.shapes).tolist()
        assert shapely.to_wkb(one.free).tolist() == shapely.to_wkb(other.free).tolist()
    assert both.notes == turn.notes


@pytest.mark.parametrize("alone", [False, True])
def test_what_came_otherwise_than_asked_is_told_once(tmp_path, alone) -> None:
    """Of snow that grows beside other, and of a single motif, which grows in its turn."""
    motifs = BESIDE.replace(LOAD, "") if alone else BESIDE
    report = [note for note in picture_of(tmp_path, motifs).notes if REMARK in note]
    assert len(report) == 1
    assert report[0].startswith("falling snow 1: ")


@pytest.mark.parametrize("k", [0, 1, 2])
def test_what_leaves_no_room_is_told_with_its_key_before_any_snow_grows(tmp_path, k) -> None:
    """Of the first motif in order, though another comes after it; of grain, too."""
    tables = [LOAD, FALL, '[[motifs]]\nmotif = "grain"\n']
    full = f'region = "box 2 2 5 5"\n{KEPT_OFF}'
    tables[k:] = [table.replace(KEPT_OFF, "") + full for table in tables[k:]]
    ran = list[str]()

    def run(tasks, say):
        ran.extend(tasks)
        return in_turn(tasks, say)

    with pytest.raises(InputError, match="finds no room") as raised:
        pictured(*read_in(tmp_path, POSTS + "".join(tables)), say=ran.append, run=run)
    assert f"the {NTH[k]} motif" in raised.value.where
    assert ran == []


@pytest.mark.parametrize("k", [0, 1])
def test_that_all_is_hidden_where_snow_would_fall_is_told_with_its_key_before_any_grows(tmp_path, k) -> None:
    tables = [LOAD, LOAD]
    tables[k] = '[[motifs]]\nmotif = "snowfall"\nbehind = ["0", "18"]\n'
    halves = "".join(f'[[layers]]\nname = "{at}"\nshape = "box {at} 0 18 30"\n' for at in (0, 18))
    said = list[str]()
    with pytest.raises(InputError, match="leaves no room for snow") as raised:
        pictured(*read_in(tmp_path, POSTS + halves + "".join(tables)), say=said.append)
    assert f"the {NTH[k]} motif" in raised.value.where
    assert said == []


@pytest.mark.parametrize("run", [in_turn, pytest.param(by_two, marks=needs_fork)])
@pytest.mark.parametrize("k", [0, 1])
def test_a_fault_of_growing_snow_is_told_with_its_key_and_it_grows_once(tmp_path, monkeypatch, run, k) -> None:
    """Each process writes down what it grows."""
    grew = tmp_path / "grew"

    def sprouted(seed, entry, place, limits):
        with grew.open("a", encoding="utf-8") as file:
            file.write(f"{entry.motif}\n")
        if entry.motif == FAULTY[k]:
            raise InputError("grows not")
        return Growth(cuts=geometry.empty())

    monkeypatch.setattr(growing, "_sprouted", sprouted)
    monkeypatch.setattr(side_by_side_module, "_BEGIN", "fork")
    with pytest.raises(InputError, match="grows not") as raised:
        pictured(*read_in(tmp_path, BESIDE), say=lambda _: None, run=run)
    assert f"the {NTH[k]} motif" in raised.value.where
    assert grew.read_text(encoding="utf-8").splitlines().count(FAULTY[k]) == 1


LIMITS = limits(0.5, 0.4)
POST, NOTHING = box(10, 0, 10, 30), shapely.Polygon()


def fitting(flakes, *, picture=POST, white=NOTHING, mass_mm2=20.0):
    return settled(
        flakes, white, [picture], LIMITS, area=geometry.box(30, 30), frame=geometry.box(30, 30), mass_mm2=mass_mm2
    )


@pytest.mark.parametrize(
    ("flake", "fits"),
    [
        (disc(15, 15, 1), True),  # on the post, clear of its outline
        (disc(5, 15, 1), True),  # beside it
        (disc(10, 15, 1), True),  # well across
        (disc(11.52, 15, 1), True),  # a land's width inside the outline, and a little
        (disc(11.4, 15, 1), False),  # leaves a sliver of the post
        (disc(9.1, 15, 1), False),  # takes too little of the post to be cut
        (disc(18.6, 15, 1), False),  # a sliver on the right
    ],
)
def test_a_flake_stays_clear_of_an_outline_or_lies_well_across(flake, fits) -> None:
    assert len(fitting(shapes(flake))) == fits


def test_flakes_are_chosen_one_by_one_and_none_is_lost_where_nothing_is_drawn() -> None:
    flakes = shapes(disc(15, 5, 1), disc(11.4, 15, 1), disc(10, 25, 1))
    assert list(fitting(flakes)) == [flakes[0], flakes[2]]
    assert len(fitting(flakes, picture=NOTHING)) == 3


@pytest.mark.parametrize("mass_mm2", [20.0, 1000.0])
def test_of_a_mass_what_comes_too_near_to_other_white_is_cut_off_and_a_flake_goes_whole(mass_mm2) -> None:
    mass, white = disc(15, 12, 6), shapely.box(18, 5, 28, 20)
    left = fitting(shapes(mass), picture=NOTHING, white=white, mass_mm2=mass_mm2)
    if mass_mm2 > mass.area:
        assert len(left) == 0
        return
    assert shapely.distance(left, white).min() >= LIMITS.land_mm
    free = shapely.difference(mass, shapely.buffer(white, LIMITS.land_mm))
    assert shapely.area(left).sum() == pytest.approx(free.area, rel=0.05)


def test_a_mass_that_leaves_a_sliver_of_a_post_is_taken_back_from_it() -> None:
    mass = shapely.box(2, 5, 19.9, 20)
    assert len(fitting(shapes(mass), mass_mm2=1000.0)) == 0
    left = fitting(shapes(mass), mass_mm2=20.0)
    assert shapely.area(left).sum() > 0.85 * mass.area
    assert (
        len(necks(geometry.rings(geometry.parts(shapely.difference(POST, geometry.union(left)))), LIMITS.land_mm)) == 0
    )


def test_a_mass_takes_no_sliver_where_no_snow_may_lie() -> None:
    """It is cut back instead."""
    mass, area = shapely.box(2, 5, 19.9, 20), shapely.box(0, 0, 19.95, 30)
    left = settled(shapes(mass), NOTHING, [POST], LIMITS, area=area, frame=geometry.box(30, 30), mass_mm2=20.0)
    assert shapely.area(left).sum() > 0.6 * mass.area
    assert shapely.area(shapely.difference(left, area)).sum() < 1e-6


def test_a_mass_takes_no_sliver_of_a_bar_before_it() -> None:
    """What the sky block prints under a twig at a mass's rim is one; the twig goes on, and the mass is cut back."""
    mass, twig, frame = shapely.box(2, 5, 19.9, 20), box(19.5, 0, 0.7, 30), geometry.box(30, 30)
    left, eaten = (
        settled(shapes(mass), NOTHING, [POST], LIMITS, area=frame, frame=frame, mass_mm2=20.0, bars=bars)
        for bars in (twig, None)
    )
    rim = shapely.box(19.95, 0, 20.2, 30)
    assert shapely.area(shapely.intersection(eaten, rim)).sum() > 0.5
    assert shapely.area(shapely.intersection(left, rim)).sum() < 1e-6
    assert shapely.area(left).sum() > 0.6 * mass.area


@pytest.mark.parametrize(("wide", "long", "parted"), [(0.35, 12, True), (0.7, 12, True), (0.7, 1.5, False)])
def test_no_flake_cuts_a_twig_through_though_it_is_drawn_narrower_than_land(wide, long, parted) -> None:
    flake, twig = box(0, 0, 4, 3), box(2, 1.5 - long / 2, wide, long)
    left = uncut(shapes(flake), Figure(seen=with_lines(twig, LIMITS), settings=Settings(largest_mm=6.0), limits=LIMITS))
    assert (len(left) == 0 or not shapely.intersects(left, twig).any()) == parted


@pytest.mark.parametrize(("long", "goes"), [(1.6, False), (1.7, True)])
def test_what_sticks_out_of_a_post_is_a_twig_if_it_is_longer_than_four_lands(long, goes) -> None:
    """Half its outline, length and width, is held against 2 mm; beyond flake and margin, 1.35 mm, its end is left."""
    twig, flake = box(20, 15, long, 0.35), box(19.7, 14.5, 0.4, 1.35)
    figure = Figure(
        seen=with_lines(shapely.union(POST, twig), LIMITS), settings=Settings(largest_mm=6.0), limits=LIMITS
    )
    left = uncut(shapes(flake), figure)
    assert (len(left) == 0) == goes


def test_a_mass_beside_other_white_runs_out_in_no_horn() -> None:
    """The white's edge leaves a wedge of 22° of it; by an opening with a plain buffer its end is round."""
    white = shapely.Polygon([(0, 4), (30, 16), (30, 0), (0, 0)])
    mass, frame = box(2, 2, 20, 8), geometry.box(30, 30)
    left = settled(shapes(mass), white, [POST], LIMITS, area=frame, frame=frame, mass_mm2=20.0)
    assert shapely.area(left).sum() > 0.7 * shapely.area(shapely.difference(mass, shapely.buffer(white, 0.5)))
    wide = shapely.buffer(shapely.buffer(left, -0.6), 0.65)
    assert shapely.area(geometry.parts(shapely.difference(left, wide))).max(initial=0) < 0.3


def test_what_is_painted_on_a_dark_post_lies_before_masses_as_the_post_does(tmp_path) -> None:
    """A pale band in a hole of the post; masses fall over it where the post stands elsewhere."""
    pale = BLOCK.replace("sky", "pale").replace("#a9bfcb", "#d8c080").replace("background", "tone")
    on_band = []
    for left in (26, 2) if MANY else (26,):  # beside the post masses fall over it: what is tried can be
        post = f"M{left} 0h7v30h-7z M{left + 1} 4v22h5v-22z"
        (tmp_path / "post.svg").write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="36mm" height="30mm" viewBox="0 0 36 30">'
            f'<g id="POST"><path d="{post}"/></g><g id="BAND"><path d="M27 4h5v22h-5z"/></g></svg>', encoding="utf-8"
        )  # fmt: skip
        drawn = '[artwork]\nfiles = ["post.svg"]\n'
        two = KEY.replace('"*"', '"POST"') + pale.replace('"*"', '"BAND"')
        ((*flakes,),) = snow_of(tmp_path, two + drawn + HEAVY)
        on_band.append(shapely.area(shapely.intersection(flakes, box(27, 4, 5, 22))).max())
    assert on_band[0] < 3.2
    assert not MANY or on_band[1] > 6


KEY = BLOCK.replace("sky", "key").replace("background", "key").replace("#a9bfcb", "#1f2b3d")
#: So much that masses fall, at a level: sought anew for every picture, it costs more than all else.
HEAVY = (
    '[[motifs]]\nmotif = "snowfall"\npreset = "heavy"\n'
    "settings = { snow = 0.4, gathered = 0.75, middle = 0.46, near = 0.22, torn = 0.2, largest_mm = 2, level = 200 }\n"
)


@pytest.mark.parametrize(("layer", "shape", "bars"), [("POST", "box 26 0 7 30", 1), ("NIGHT", "box 0 0 36 29", 0)])
def test_masses_lie_behind_dark_posts_and_before_a_dark_ground_though_trunks_part_it(
    tmp_path, monkeypatch, layer, shape, bars
) -> None:
    """Pale trunks stand before all; without bars masses lie over the dark thing, too."""
    drawn = f'[[layers]]\nname = "{layer}"\nshape = "{shape}"\n[[layers]]\nname = "TRUNK"\nshape = "box 7 0 2 30"\n'
    thing = shapely.difference(shapely.box(26, 0, 33, 30) if bars else shapely.box(0, 0, 36, 29), box(7, 0, 2, 30))
    two = KEY.replace('"*"', f'"{layer}"') + BLOCK.replace("sky", "pale").replace("#a9bfcb", "#d8dde0").replace(
        "background", "tone"
    ).replace('"*"', '"TRUNK"')
    on_it, readable = [], ReadableBars.bars_and_figures
    for barred in (True, False):
        if not barred:
            monkeypatch.setattr(ReadableBars, "bars_and_figures", lambda *each: (NOTHING, readable(*each)[1]))
        ((*flakes,),) = snow_of(tmp_path, two + drawn + HEAVY)
        on_it.append(shapely.area(shapely.intersection(flakes, thing)))
    assert on_it[1].max() > 15, "else nothing is tried here"
    assert (on_it[0].max() < 3.2) == bars
    assert (on_it[0].sum() > 0.95 * on_it[1].sum()) != bars


@takes_long  # behind posts, and before a dark ground: below
def test_masses_lie_behind_boards_of_a_paler_ink_but_not_behind_its_lines(tmp_path, monkeypatch) -> None:
    """A board 5 mm wide is a bar, a wave of 1 mm is none; the block of the lightest ink is what lies behind all."""
    names, boxes = ("POST", "BOARD", "WAVE"), ("34 0 2 4", "20 0 5 30", "4 14 14 1")
    drawn = "".join(f'[[layers]]\nname = "{each}"\nshape = "box {at}"\n' for each, at in zip(names, boxes, strict=True))
    pale = BLOCK.replace("sky", "boards").replace("#a9bfcb", "#8a7a50").replace("background", "tone")
    three = KEY.replace('"*"', '"POST"') + pale.replace('"*"', '"BOARD", "WAVE"')
    on_board, on_wave = [], []
    for barred in (True, False):
        if not barred:
            monkeypatch.setattr(ReadableBars, "_pale_bars", lambda *_: geometry.empty())
        ((*flakes,),) = snow_of(tmp_path, three + drawn + HEAVY)
        on_board.append(shapely.area(shapely.intersection(flakes, box(20, 0, 5, 30))).max())
        on_wave.append(shapely.area(shapely.intersection(flakes, box(4, 14, 14, 1))).sum())
    assert on_board[0] < 3.2
    assert on_board[1] > 6
    assert on_wave[0] == pytest.approx(on_wave[1], rel=0.1)


MOTIF = SimpleNamespace(settings=Settings(smallest_mm=0.6, largest_mm=4.0))


def plate_of(name: str, **own) -> SimpleNamespace:
    return SimpleNamespace(name=name, under_all=False, layers=frozenset(), **{"ground": False, **own})


def bars_of(*plates, drawn=NOTHING, **pictures) -> ReadableBars:
    """Of a face 120 mm wide."""
    drawing = SimpleNamespace(
        union=lambda names: drawn if names != [] else NOTHING, in_front_of=lambda _: (),
        print_=SimpleNamespace(width_mm=120.0),
    )  # fmt: skip
    return ReadableBars(drawing=drawing, plates=plates, pictures=pictures)


@pytest.mark.parametrize(
    ("ink", "bare"),
    [
        (box(0, 0, 20, 90), [(70, 45), (20.1, 45)]),
        (box(0, 0, 119, 90), [(119.5, 45)]),  # a strip along the face's edge: beside it the sheet goes on
        (shapely.difference(box(0, 0, 120, 90), box(60, 0, 2.0, 90)), []),  # a gap, narrower than five lands
        (shapely.difference(box(0, 0, 120, 90), box(60, 0, 2.6, 90)), [(61, 45)]),
        (box(0, 0, 120, 90), []),
    ],
)
def test_bare_paper_is_what_nothing_inks_and_no_gap(ink, bare) -> None:
    readable = bars_of(key=ink)
    readable.drawing.print_.height_mm, readable.drawing.print_.blocks = 90.0, ()
    paper = readable.paper(LIMITS)
    assert shapely.is_empty(paper) == (not bare)
    assert all(shapely.intersects_xy(paper, *at) for at in bare)


def test_a_line_that_is_thick_in_places_is_no_bar_there() -> None:
    """Half a bar would leave beads of it where a mass falls over the rest."""
    wave = geometry.union(shapes(box(0, 2, 30, 1), box(10, 1.8, 4, 1.4)))
    readable = bars_of(tone=geometry.union(shapes(box(0, 10, 30, 5)), wave, box(0, 40, 90, 60)))
    (bar,) = readable._pale_bars(plate_of("tone"), MOTIF)
    assert shapely.equals(bar, box(0, 10, 30, 5))


STREAK, STRIP, POLE = box(10, 20, 30, 1.8), box(50, 38.2, 40, 1.8), box(44, 0, 3, 90)  #: on water, under a deck


@pytest.mark.parametrize(("largest", "hides"), [(6.2, False), (4.0, True)])
def test_a_streak_thinner_than_a_third_of_the_largest_flakes_ends_none_straight(largest, hides) -> None:
    """But a post does, and a strip along a dark deck, which is a part of it."""
    deck = box(50, 40, 40, 4)
    drawn = {"tone": geometry.union(shapes(STREAK, STRIP, POLE)), "key": deck}
    plates = [plate_of(name, lightness=light) for name, light in (("key", 20.0), ("tone", 50.0), ("sky", 80.0))]
    plates[0].layers = frozenset({"key"})
    readable = bars_of(*plates, sky=box(0, 0, 120, 90), **drawn)
    readable.drawing.union = lambda names: geometry.union(shapes(*(drawn[name] for name in sorted(names))))
    motif, leaves = SimpleNamespace(settings=Settings(smallest_mm=0.8, largest_mm=largest)), frozenset(drawn)
    bars, hiding = readable.bars_and_figures(motif, leaves)[0], readable.hiding(motif, list(drawn), leaves)
    for what in (bars, hiding):
        assert shapely.intersects(what, STREAK) == hides
        assert all(shapely.contains(shapely.buffer(what, 0.01), one) for one in (STRIP, POLE, deck))


def test_a_hill_from_side_to_side_is_no_bar_though_a_post_parts_it_but_a_board_is() -> None:
    """Masses that lay behind it would end straight at its foot."""
    post, hill, island = box(60, 0, 5, 90), box(3, 40, 114, 10), box(80, 20, 30, 10)
    board = box(0, 70, 120, 6)
    drawn = geometry.union(shapes(hill, island, board))
    readable = bars_of(drawn=drawn, tone=shapely.difference(drawn, post))
    bars = geometry.union(readable._pale_bars(plate_of("tone"), MOTIF))
    assert shapely.equals(bars, geometry.union(shapes(island, shapely.difference(board, post))))


@pytest.mark.parametrize(
    ("pieces", "before", "across"),
    [
        ([(0, 40, 55, 20), (60, 40, 60, 20)], box(50, 0, 15, 90), [True, True]),  # a post
        ([(0, 40, 40, 20), (75, 40, 45, 12)], box(35, 30, 45, 40), [True, True]),  # a tree's crown, or a boat
        ([(0, 40, 55, 20), (66, 40, 54, 20)], NOTHING, [False, False]),  # a gap is seen
        ([(0, 40, 20, 20), (100, 40, 20, 20)], box(15, 0, 90, 90), [False, False]),  # most of it is not
        ([(0, 40, 120, 20), (30, 80, 20, 5)], NOTHING, [True, False]),  # whole; a cloud above it
        (
            [(0, 40, 55, 1), (60, 40, 60, 1), (30, 80.3, 5, 0.5)],
            box(50, 0, 15, 90),
            [True, True, False],
        ),  # thin; a speck
        ([(0, 40, 66, 6)], box(64, 30, 56, 30), [False]),  # a jetty with a boat at its end
    ],
)
def test_ground_runs_across_though_what_stands_before_it_parts_it(pieces, before, across) -> None:
    assert runs_across(shapes(*(box(*piece) for piece in pieces)), 120.0, before).tolist() == across


def test_a_dark_hill_is_no_bar_though_a_pale_post_parts_it_but_a_dark_board_is() -> None:
    """The hill is less wide than four of the largest flakes, wider than two."""
    post, hill, board = box(60, 0, 5, 90), box(0, 40, 120, 12), box(20, 70, 60, 6)
    drawn = geometry.union(shapes(hill, board))
    plates = [plate_of("key", lightness=20.0), plate_of("sky", lightness=80.0)]
    readable = bars_of(*plates, drawn=drawn, key=shapely.difference(drawn, post), sky=box(0, 0, 120, 30))
    bars = readable.bars_and_figures(MOTIF, frozenset({"key"}))[0]
    assert shapely.area(shapely.intersection(bars, hill)) == pytest.approx(0, abs=1)
    assert shapely.area(shapely.intersection(bars, board)) == pytest.approx(55 * 6)


def test_of_inks_the_darkest_and_those_between_are_bars_but_not_the_palest_nor_a_ground() -> None:
    names = ("post", "board", "ground", "sky")
    pictures = {name: box(0, 10 * k, 30, 5) for k, name in enumerate(names)}
    plates = [
        plate_of(name, lightness=light, ground=name == "ground")
        for name, light in zip(names, (20.0, 50.0, 60.0, 80.0), strict=True)
    ]
    bars = bars_of(*plates, **pictures).bars_and_figures(MOTIF, frozenset(names))[0]
    assert shapely.equals(bars, geometry.union(shapes(pictures["post"], pictures["board"])))


def test_flakes_in_the_middle_fall_behind_a_whole_jetty_and_not_its_lines_alone(tmp_path) -> None:
    """A flat of one layer with boards drawn on it by another: one thing; a field with one line through it is none."""
    layers = [
        ("LINES", "0 20 40 20.6; 10 0 10.6 14; 25.4 0 26 14; 10 13.4 26 14; 10 8 26 8.6; 10 3 26 3.6"),
        ("FLAT", "10 0 26 14"), ("FIELD", "30 15 35 25"),
    ]  # fmt: skip
    shapes_of = {name: [shapely.box(*map(float, one.split())) for one in words.split(";")] for name, words in layers}
    paths = "".join(
        f'<g id="{name}">' + "".join(_rect(one) for one in shapes_of[name]) + "</g>"
        for name in ("FIELD", "FLAT", "LINES")
    )
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="36mm" height="30mm" viewBox="0 0 36 30">{paths}</svg>'
    (tmp_path / "jetty.svg").write_text(svg, encoding="utf-8")
    middle = "snow = 0.3, far = 0.0, middle = 1.0, near = 0.0, largest_mm = 2.5, level = 391.5"
    snow = f'[[motifs]]\nmotif = "snowfall"\nsettings = {{ {middle} }}\n'  # as `snow_middle = 0.3` solves them
    print_, _ = read_in(tmp_path, '[artwork]\nfiles = ["jetty.svg"]\n' + snow + 'middle_behind = ["LINES"]\n')
    drawing = drawing_of(print_)
    flat, field = (geometry.union(drawing.named([name])[0].shape) for name in ("FLAT", "FIELD"))
    result = geometry.union(drawing.outlined(["LINES"]))
    assert result.symmetric_difference(flat).area < 1e-6
    assert len(drawing.outlined(["FIELD"])) == len(drawing.outlined([])) == 0
    (white,) = pictured(print_, setups_of(print_, SHELF), say=lambda _: None).whites
    snowy = geometry.union(white.shapes)
    assert snowy.intersection(field).area > 1
    assert snowy.intersection(flat).area < 0.01


def _rect(one: shapely.Polygon) -> str:
    left, low, right, top = one.bounds
    return f'<rect x="{left}" y="{30 - top}" width="{right - left}" height="{top - low}" fill="#1d2a38"/>'


#: Dark posts, pale boards and waves of several widths: any other setting shows in what hides, or in bars.
DRAWN = (
    Layer("POST", geometry.union(shapes(box(25, 3, 2, 22), box(31, 0, 1.2, 9), box(30.8, 20, 0.3, 8)))),
    Layer("BOARD", geometry.union(shapes(
        *(box(2 + 4 * k, 2, wide, 26) for k, wide in enumerate((0.7, 1.5, 1.9, 9))), box(27, 4, 1, 20),
    ))),
)  # fmt: skip
INKED = "".join(
    f'[[blocks]]\nname = "{name}"\nrole = "{role}"\nink = "{ink}"\nlayers = ["{of}"]\nmaterial = "linoleum"\n'
    'cutter = "v-60"\nfor = ["hand"]\n'
    for name, role, ink, of in (
        ("key", "key", "#22354a", "POST"), ("tone", "tone", "#6d8fa8", "BOARD"), ("sky", "background", "#c3d6e0", "*"),
    )
)  # fmt: skip
TWO_SIZES = """
[[motifs]]
motif = "snowfall"
settings = { snow = 0.1, smallest_mm = 0.7, largest_mm = 3.0 }
far_behind = ["BOARD"]
"""
BOTH = ("POST", "BOARD")
FLAT = Layer("FLAT", box(5, 5, 8, 6))
LINE = Layer("LINE", shapely.buffer(shapely.boundary(FLAT.shape), 0.2))


def changed(**own):
    return lambda motif: replace(motif, **own)


def set_to(**own):
    return lambda motif: replace(motif, settings=replace(motif.settings, **own))


@pytest.fixture(name="drawn_rooms")
def _drawn_rooms(tmp_path):
    """Rooms on a drawing as often as they are asked for, and the motif that grows there."""
    drawn = "".join(f'[[layers]]\nname = "{layer.name}"\nshape = "box 2 2 5 5"\n' for layer in DRAWN)
    path = tmp_path / "print.toml"
    path.write_text(f'[print]\nname = "post"\nsize_mm = [36, 30]\n{INKED}{drawn}{TWO_SIZES}', encoding="utf-8")
    print_ = read_print(path, SHELF)
    plates = plates_of(print_, setups_of(print_, SHELF))

    def made(layers=DRAWN) -> GrowingRooms:
        return GrowingRooms.on(LayeredDrawing(print_, layers, ()), plates, geometry.empty())

    return made, print_.motifs[0]


def test_lying_snow_is_told_what_layers_further_back_draw(drawn_rooms) -> None:
    made, motif = drawn_rooms
    rooms = made()
    for on, behind in ((DRAWN[0].name, DRAWN[1:]), (DRAWN[-1].name, ())):
        layers = rooms.place(replace(motif, on=(on,)), rooms.face).further_back
        assert [*map(shapely.area, layers)] == [layer.shape.area for layer in behind]


def room_in(rooms: GrowingRooms, motif, by=LIMITS) -> list[bytes]:
    """All of a room that flakes are held against."""
    leaves = frozenset(name for name in rooms.pictures if motif.leaves(name))
    room = rooms.room(motif, rooms.face, by, leaves)
    seen = [each for figure in room.figures for each in (figure.seen, figure.windows, figure.paper)]
    return [*map(shapely.to_wkb, [room.area, room.bars, *room.hides, *seen])]


@pytest.mark.parametrize(
    ("other", "by"),
    [
        (set_to(largest_mm=4.9), LIMITS), (set_to(smallest_mm=1.1), LIMITS), (set_to(cut_at_edge=False), LIMITS),
        (changed(behind=BOTH), LIMITS), (changed(far_behind=BOTH), LIMITS), (changed(middle_behind=BOTH), LIMITS),
        (changed(blocks=("tone", "sky")), LIMITS), (changed(front=False), LIMITS), (changed(), limits(1.1, 0.6)),
    ],
)  # fmt: skip
def test_what_is_known_of_a_room_is_never_out_of_date(drawn_rooms, other, by) -> None:
    """Asked for after another, and after that again, each is what it would be by itself."""
    made, motif = drawn_rooms
    rooms, alone = made(), room_in(made(), other(motif), by)
    usual = room_in(rooms, motif)
    assert alone != usual, "else nothing is tried here"
    assert room_in(rooms, other(motif), by) == alone
    assert room_in(rooms, motif) == usual


def test_a_room_is_looked_at_once_and_anew_on_another_drawing(drawn_rooms, monkeypatch) -> None:
    made, motif = drawn_rooms
    looked: list[object] = []
    for kind, name in ((LayeredDrawing, "outlined"), (ReadableBars, "hiding"), (ReadableBars, "bars_and_figures")):
        own = getattr(kind, name)
        monkeypatch.setattr(kind, name, lambda *each, name=name, own=own: looked.append(name) or own(*each))
    rooms, wider = made(), made((Layer("POST", box(25, 3, 4, 22)), DRAWN[1]))
    first = room_in(rooms, motif)
    once = len(looked)
    assert room_in(rooms, motif) == first
    assert room_in(rooms, set_to(snow=0.3)(motif)) == first, "how much falls changes no room"
    assert len(looked) == once > 0
    assert room_in(wider, motif) != first
    assert len(looked) == 2 * once
    lined = made((LINE, FLAT))
    assert [len(lined._outlined([name])) for name in ("LINE", "FLAT", "LINE")] == [1, 0, 1]


def test_no_more_is_known_than_some_dozen_things() -> None:
    known, made = Known(), []
    for k in [*range(100), 60, *range(100, 140), 60, 70]:
        assert known.once(("room", k), lambda k=k: made.append(k) or -k) == -k
    assert made == [*range(140), 70], "what was asked for meanwhile is still there, what was not is gone"
    assert len(known._made) < 60
