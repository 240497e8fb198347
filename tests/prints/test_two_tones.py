"""A land of the darkest ink that lies over another ink in part is told with both places and colours."""

from __future__ import annotations

import pytest
import shapely

from carvegen.base.colour import Ink, rgb
from carvegen.delivery.print_steps import cut_inputs, cuts_of
from carvegen.prints.bare_paper.two_tones import two_tones
from carvegen.prints.cut_blocks import setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.writers.whole_print.new_print import _under
from tests.cases import SHELF, layer, small_print

PAPER = (255, 255, 255)
HILL, KEY = "#6f8d86", "#22303a"
POST = shapely.box(10, 0, 14, 30)


def told(hill, *, opacity=0.3, key=POST, trap_mm=0.5):
    inks = {name: Ink(colour=rgb(ink), opacity=opacity) for name, ink in (("hill", HILL), ("key", KEY))}
    return list(two_tones({"hill": (inks["hill"], hill), "key": (inks["key"], key)}, PAPER, trap_mm))


def test_a_post_half_over_the_hill_is_told_with_both_places_and_the_remedy() -> None:
    [(block, note)] = told(shapely.box(0, 15, 40, 30))
    assert block == "key"
    assert note.at == pytest.approx((12, 22.75), abs=0.1)
    assert note.measured == pytest.approx(4 * 14.45, rel=0.02)
    assert "not at x 12.0, y 7.5 mm" in note.why
    assert "layers of hill" in note.remedy


@pytest.mark.parametrize(
    ("hill", "changed"),
    [
        (shapely.box(0, 0, 40, 30), {}),  # under all of it
        (shapely.box(0, 15, 40, 30), {"opacity": 1.0}),  # hidden
        (shapely.box(0, 0, 40, 30).difference(shapely.box(10.5, 0, 13.5, 30)), {}),  # the rim that runs on under it
        (shapely.box(0, 0, 40, 15), {"key": shapely.union(shapely.box(10, 0, 14, 14), shapely.box(10, 16, 14, 30))}),
        (shapely.box(0, 0, 40, 1.2), {}),  # too little to be seen
    ],
    ids=["under all", "hidden", "a rim", "two things", "little"],
)
def test_what_prints_in_one_tone_is_not_told(hill, changed) -> None:
    assert told(hill, **changed) == []


@pytest.mark.parametrize(("opacity", "filled"), [(0.7, True), (0.0, False)], ids=["hides", "a glaze"])
def test_a_build_knows_whether_the_true_inks_hide_what_lies_below(tmp_path, opacity, filled) -> None:
    """It cuts by the order of inks alone, greys: taken for inks, these hide all, and a glaze's post was half filled."""
    text = small_print(layer("POST", "box 5 4 8 8"), blocks={"sky": ["*"], "key": ["POST"]}, size=(20, 15))
    (tmp_path / "print.toml").write_text(text.replace('role = "key"', f'role = "key"\nopacity = {opacity}'))
    print_ = read_print(tmp_path / "print.toml", SHELF)
    _, cuts = cuts_of(cut_inputs(print_, setups_of(print_, SHELF), {}), say=lambda _: None)
    assert cuts["sky"].land.contains(shapely.Point(9, 8)) == filled


@pytest.mark.parametrize(
    ("hill", "opacity", "said"),
    [
        (["HILL", "LAMP"], 0.3, "key prints over hill in LAMP, not in TREES: two tones."),
        (["HILL", "LAMP", "TREES"], 0.3, ""),
        (["HILL", "LAMP"], 1.0, ""),
    ],
)
def test_a_new_print_file_says_which_layers_of_the_key_lie_over_another_ink(hill, opacity, said) -> None:
    blocks = [
        {"name": "hill", "ink": HILL, "layers": hill},
        {"name": "key", "ink": KEY, "layers": ["LAMP", "TREES"], "opacity": opacity},
    ]
    toned = [line for line in _under(blocks) if "two tones" in line]
    assert [line.startswith(said) for line in toned] == ([True] if said else [])
