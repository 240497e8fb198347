"""What holes in the drawing are: said of a layer, or by a mark on one of them."""

from __future__ import annotations

import pytest
import shapely

from carvegen.base.errors import InputError
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import Ground, loaded_block
from carvegen.marking.block_marks import BlockMarks
from carvegen.marking.marks import HoleMark, HoleMeaning
from carvegen.motifs import snowload
from carvegen.prints.cut_blocks import setups_of
from carvegen.prints.file.print_file import read_print
from tests.cases import SHELF, limits, shapes, small_print
from tests.prints.whole_prints import cut_blocks
from tests.strategies import few

WINDOWS = [shapely.box(4, 12, 15, 24), shapely.box(17, 12, 28, 24), shapely.box(42, 12, 53, 24)]
SHED = shapely.difference(shapely.box(2, 0, 30, 26), shapely.union_all(WINDOWS[:2]))
SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">{}</svg>"""
#: A frame of slats with two openings, and one beside it with one.
DRAWING = SVG.format(
    '<g id="SHED"><path fill-rule="evenodd" d="M2 40V14H30V40Z M4 16H15V28H4Z M17 16H28V28H17Z"/></g>'
    '<g id="POST"><path fill-rule="evenodd" d="M40 40V14H55V40Z M42 16H53V28H42Z"/></g>'
)
SNOW = """
[[motifs]]
motif = "snowload"
on = ["SHED", "POST"]
settings = { patchy = 0.0, fallen_mm = 6.0, gaps = "marks" }
"""


def bears(folder, said: str = "", marks: str = "", **more: list[str]) -> list[bool]:
    """Whether snow lies in each window."""
    (folder / "drawing.svg").write_text(DRAWING, encoding="utf-8")
    (folder / "marks.svg").write_text(SVG.format(marks), encoding="utf-8")
    files = '[artwork]\nfiles = ["drawing.svg"]\n' + ('[marks]\nfiles = ["marks.svg"]\n' if marks else "")
    path = folder / "print.toml"
    path.write_text(small_print(files, blocks={"key": ["SHED", "POST"], **more}, after=said + SNOW), encoding="utf-8")
    print_ = read_print(path, SHELF)
    picture, _ = cut_blocks(print_, setups_of(print_, SHELF), say=lambda _: None)
    return [float(shapely.intersection(picture.bare, each).area) > 0.2 for each in WINDOWS]


def layer(name: str, gaps: str) -> str:
    return f'[[layers]]\nname = "{name}"\ngaps = "{gaps}"\n'


def test_holes_of_one_layer_are_air_and_those_of_another_marks(tmp_path) -> None:
    assert bears(tmp_path) == [False, False, False]
    assert bears(tmp_path, layer("SHED", "open")) == [True, True, False]


def test_a_mark_says_of_one_hole_what_it_is_whatever_is_said_of_its_layer(tmp_path) -> None:
    dab = '<g id="{}"><rect x="21" y="20" width="3" height="3"/></g>'
    assert bears(tmp_path, layer("SHED", "open"), dab.format("only drawn")) == [True, False, False]
    assert bears(tmp_path, layer("POST", "open"), dab.format("open air")) == [False, True, True]


def test_the_same_in_words(tmp_path) -> None:
    dab = '[[marked]]\nmeaning = "{}"\nshape = "box 21 17 3 3"\n'
    assert bears(tmp_path, layer("SHED", "open") + dab.format("only drawn")) == [True, False, False]
    assert bears(tmp_path, layer("POST", "open") + dab.format("open air")) == [False, True, True]
    assert bears(tmp_path, dab.format("open air") + 'for = ["snowload"]\n') == [False, True, False]


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ('[[marked]]\nmeaning = "open air"\nshape = "box 21 17 3 3"\nblocks = ["key"]\n', "the first mark's blocks"),
        ('[[marked]]\nmeaning = "open air"\nshape = "box 21 17 3 3"\nstrength = 0.5\n', "first mark's strength"),
        ('[[marked]]\nmeaning = "only drawn"\nshape = "box 21 17 3 3"\ntry = 3\n', "first mark's try: has no meaning"),
        (layer("SHOD", "open"), "the first layer's name"),
        (layer("SHED", "ajar"), "must be a known word"),
        ('[[layers]]\nname = "SHED"\n', "the first layer's shape"),
    ],
)
def test_what_is_said_of_no_layer_or_says_nothing_is_refused(tmp_path, said, fault) -> None:
    with pytest.raises(InputError) as caught:
        bears(tmp_path, said)
    assert fault in str(caught.value)


def test_a_command_on_one_block_knows_such_marks_too() -> None:
    ground = Ground(name="sky", width_mm=60, height_mm=40, grow_from=shapes(SHED))
    settings = snowload.Settings(patchy=0.0, fallen_mm=6.0, gaps="marks")
    lies = []
    for meanings in ((), (HoleMeaning.OPEN_AIR,)):
        marks = BlockMarks(holes=tuple(HoleMark(meaning=meaning, shape=WINDOWS[0]) for meaning in meanings))
        marked = marks.on(ground, settings, limits(0.5, 0.4), motif="snowload", seed=1)
        block = loaded_block(marked, settings, limits(0.5, 0.4), stream(1, "holes"), which="both")
        sills = [shapely.box(4, 12, 15, 18), shapely.box(17, 12, 28, 18)]  # below what hangs into them from above
        lies.append([float(shapely.area(shapely.intersection(block.cuts, sill)).sum()) > 0.2 for sill in sills])
    assert lies == [[False, False], [True, False]]


@pytest.mark.parametrize(
    ("pane", "glass"),
    few([("M42.3 16.3H52.7V27.7H42.3Z", True), ("M42.3 16.3H45V19H42.3Z", False), ("", False)], 2),
)
def test_no_snow_lies_in_a_window_with_glass_drawn_in_it(tmp_path, monkeypatch, pane, glass) -> None:
    """A pale pane in front fills all but a rim of the opening; what fills less than half of it is no pane."""
    drawn = f'<g id="PANE"><path d="{pane}"/></g>' if pane else ""
    monkeypatch.setitem(globals(), "SNOW", SNOW.replace("marks", "open"))
    monkeypatch.setitem(globals(), "DRAWING", DRAWING.replace("</svg>", f"{drawn}</svg>"))
    assert bears(tmp_path, **({"sky": ["PANE"]} if pane else {}))[2] != glass


@pytest.mark.parametrize(
    ("behind", "foot"),
    few(
        [(True, "M40 26h4v4h-4z"), (True, ""), (False, ""), (False, "M40 26h4v4h-4z")], 2
    ),  # a fir's foot in its corner
)
def test_what_is_drawn_before_the_walls_of_a_hole_is_seen_through_it_and_no_glass(
    tmp_path, monkeypatch, behind, foot
) -> None:
    """Water between firs and a jetty, both of which bear snow, shuts no hole between a rope and the jetty's boards."""
    firs, water = f'<g id="FIRS"><path d="M1 30h6v9h-6z{foot}"/></g>', '<g id="PANE"><path d="M42 16h11v12h-11z"/></g>'
    back, front = DRAWING.split('<g id="SHED">')
    drawn = f'{back}{firs}{water * behind}<g id="SHED">{front}'.replace("</svg>", f"{water * (not behind)}</svg>")
    monkeypatch.setitem(globals(), "SNOW", SNOW.replace("marks", "open").replace('"SHED"', '"FIRS", "SHED"'))
    monkeypatch.setitem(globals(), "DRAWING", drawn)
    assert bears(tmp_path, sky=["PANE", "FIRS"])[2] == behind
