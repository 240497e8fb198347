"""A print begun from the command line with drawings of her own: as the page begins it."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf import units
from PIL import Image

from carvegen import geometry
from carvegen.artwork import Artwork, read
from carvegen.base.colour import hex_of, lightness, linear, rgb, screen
from carvegen.facts.profiles import Library
from carvegen.prints.cut_blocks import setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.writers.whole_print.cut_already import cut_lands
from carvegen.writers.whole_print.new_print import begun_with, guess, print_files
from tests.cases import SHELF
from tests.cli.running import run
from tests.prints.whole_prints import cut_blocks

POSTS = '<g id="POSTS"><path d="M6 8h3v22h-3zM30 10h3v20h-3z"/></g><g id="RAIL"><path d="M2 16h36v3h-36z"/></g>'
PAGE = 'width="40mm" height="30mm" viewBox="0 0 40 30"'
#: The same layers on a page with little room for snow.
FEW = '<g id="POSTS"><path d="M6 5h4v13h-4z"/></g><g id="RAIL"><path d="M1 9h22v4h-22z"/></g>'
SMALL_PAGE = 'width="24mm" height="18mm" viewBox="0 0 24 18"'


def svg(path, inside=POSTS, page=PAGE):
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {page}>{inside}</svg>')
    return path


def told(folder):
    return tomllib.loads((folder / "print.toml").read_text(encoding="utf-8"))


def test_a_print_of_her_drawing_is_built_as_it_is(tmp_path, capsys):
    mine = tmp_path / "mine"
    ran = run(capsys, "new", mine, "--drawing", svg(tmp_path / "my posts.svg", FEW, SMALL_PAGE))
    assert ran.code == 0, ran.err
    assert {path.name for path in mine.iterdir()} == {"drawing.svg", "print.toml", "print.schema.json"}
    result = told(mine)
    assert result["print"]["size_mm"] == [24, 18]
    assert [(block["name"], block["layers"]) for block in result["blocks"]] == [
        ("sky", ["*"]), ("posts", ["POSTS"]), ("rail", ["RAIL"])
    ]  # fmt: skip
    assert [motif["motif"] for motif in result["motifs"]] == ["snowload", "snowfall"]
    assert "# The blocks in printing order" in (mine / "print.toml").read_text(encoding="utf-8")
    built = run(capsys, "build", mine / "print.toml", "--out", mine / "built")
    assert built.code in (0, 1), built.err  # 1: something breaks, and is told
    assert (mine / "built" / "rail").is_dir()
    again = run(capsys, "new", mine, "--drawing", tmp_path / "my posts.svg")
    assert (again.code, f"{mine.name}: holds drawing.svg already\n" in again.err) == (2, True)


def test_of_blocks_that_are_cut_already_the_file_says_so_and_what_stands(tmp_path, capsys):
    """The land beside the file is read back: the rail, 36 x 3 mm, behind nothing; the sky that was added is not cut."""
    mine = tmp_path / "mine"
    ran = run(capsys, "new", mine, "--cut", "--drawing", svg(tmp_path / "my posts.svg"))
    assert ran.code == 0, ran.err
    states = {block["name"]: (block.get("state"), block.get("mend")) for block in told(mine)["blocks"]}
    assert states == {"sky": (None, True), "posts": ("cut", None), "rail": ("cut", None)}
    assert shapely.area(read(mine / "cut" / "rail.svg").shapes).sum() == pytest.approx(36 * 3, abs=0.1)
    assert "says of a drawing" in run(capsys, "new", tmp_path / "other", "--cut").err


def test_what_is_in_no_named_layer_goes_by_the_drawings_name(tmp_path, capsys):
    mine = tmp_path / "mine"
    drawing = svg(
        tmp_path / "posts.svg", '<g><path d="M6 8h3v22h-3z"/></g><g id="RAIL"><path d="M2 16h36v3h-36z"/></g>'
    )
    ran = run(capsys, "new", mine, "--drawing", drawing)
    assert ran.code == 0, ran.err
    assert [block["layers"] for block in told(mine)["blocks"]] == [["*"], ["posts"], ["RAIL"]]
    assert read_print(mine / "print.toml", Library()).blocks[1].layers == ("posts",)


SKY, TONE, KEY = "M0 0h40v22h-40z", "M0 22h40v8h-40z", "M6 8h3v18h-3z"


def as_blocks(folder):
    rows = told(folder)["blocks"]
    return [row["layers"] for row in rows], [row["ink"] for row in rows], [row["role"] for row in rows]


def test_layers_named_as_blocks_are_blocks_whatever_their_order(tmp_path, capsys):
    """No sky is put behind the drawn one, which hides no flakes, bears no snow and prints as it is drawn."""
    inside = "".join(
        f'<g id="{name}"><path d="{d}"/></g>' for name, d in (("key", KEY), ("my tone", TONE), ("Sky", SKY))
    )
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside))
    layers, inks, roles = as_blocks(tmp_path / "mine")
    assert (layers, roles) == ([["Sky"], ["my tone"], ["key"]], ["tone", "tone", "key"])
    light = [lightness(rgb(ink)) for ink in inks]
    assert light == sorted(light, reverse=True)
    assert list(read(tmp_path / "mine" / "drawing.svg").layers) == ["Sky", "my tone", "key"], "the key stands in front"
    assert "by the names of your layers" in ran.out
    assert snowfall(tmp_path / "mine")["far_behind"] == ["my tone", "key"]
    assert [table["on"] for table in told(tmp_path / "mine")["motifs"][:2]] == [["my tone"], ["key"]]


def test_a_drawing_of_each_block_and_a_dxf_are_blocks_too(tmp_path, capsys):
    files = [
        svg(tmp_path / f"{name}.svg", f'<path d="{d}"/>') for name, d in (("key", KEY), ("tone", TONE), ("sky", SKY))
    ]
    assert run(capsys, "new", tmp_path / "mine", *(word for file in files for word in ("--drawing", file))).code == 0
    assert told(tmp_path / "mine")["artwork"]["files"] == ["sky.svg", "tone.svg", "key.svg"]
    assert as_blocks(tmp_path / "mine")[0] == [["sky"], ["tone"], ["key"]]
    document = ezdxf.new(units=units.MM)
    for layer, y in (("Lines", 0), ("Background", 10), ("Flat colour", 20)):
        document.modelspace().add_lwpolyline(
            [(0, y), (40, y), (40, y + 9), (0, y + 9)], close=True, dxfattribs={"layer": layer}
        )
    document.saveas(tmp_path / "board.dxf")
    assert run(capsys, "new", tmp_path / "other", "--drawing", tmp_path / "board.dxf").code == 0
    assert as_blocks(tmp_path / "other")[0] == [["Background"], ["Flat colour"], ["Lines"]]


@pytest.mark.parametrize("group", ["<g>", '<g id="Layer 1">'])
def test_a_drawing_in_colours_is_a_block_for_each_and_white_is_paper(tmp_path, capsys, group):
    inside = (
        f'{group}<rect width="40" height="30" fill="#fff"/><path d="{SKY}" fill="#c9d6de"/>'
        f'<circle cx="30" cy="6" r="3" fill="white"/><path d="{KEY}" fill="#1f2b3d"/>'
        f'<path d="{TONE}" style="fill:#b5714a;stroke:rgb(31,43,61);stroke-width:.6"/></g>'
    )
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside))
    assert ran.code == 0, ran.err
    _, inks, roles = as_blocks(tmp_path / "mine")
    assert inks == ["#c9d6de", "#b5714a", "#1f2b3d"]
    assert roles == ["tone", "tone", "key"]
    layers = read(tmp_path / "mine" / "drawing.svg").layers
    white = next(shapes for name, shapes in layers.items() if "white" in name)
    assert shapely.area(white).sum() == pytest.approx(9 * np.pi, rel=0.01), "of the page behind nothing is seen"
    assert "white stays paper" in ran.out


GROUND = '<path d="M0 16h40v14h-40z" fill="#b5714a"/><path d="M6 8h3v18h-3z" fill="#1f2b3d"/>'


@pytest.mark.parametrize(
    "sky", ['<path d="M0 0h40v16h-40z" fill="#c9d6de"/>', '<path d="M0 0h40v30h-40z" fill="#0b1d3a"/>']
)
def test_a_drawn_sky_is_printed_first_and_behind_all_whatever_its_colour(tmp_path, capsys, sky):
    """One of 53 % of the face, and one by night: no board for a sky that nothing is seen of."""
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", sky + GROUND))
    assert ("what lies behind first, then light to dark" in ran.out) == ("#0b1d3a" in sky)
    layers, inks, roles = as_blocks(tmp_path / "mine")
    assert (inks[0] in sky, roles) == (True, ["tone", "tone", "key"])
    assert not {"*", *layers[0]} & {
        *snowfall(tmp_path / "mine")["far_behind"],
        *told(tmp_path / "mine")["motifs"][0]["on"],
    }


def test_a_light_sky_over_all_the_face_prints_under_darker_inks_but_not_under_a_lamp_or_white(tmp_path, capsys):
    """Light to dark, the flat light colour under all: common practice, no source. So no edge needs a trap."""
    lamp, moon = '<circle cx="6" cy="6" r="3" fill="#e8b65a"/>', '<circle cx="30" cy="6" r="3" fill="#fff"/>'
    things = {"sky": '<path d="M0 0h40v30h-40z" fill="#c3d3dc"/>', "moon": moon, "lamp": lamp, "shore": GROUND}
    inside = "".join(f'<g id="{name}">{shapes}</g>' for name, shapes in things.items())
    assert run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside)).code == 0
    layers, inks, roles = as_blocks(tmp_path / "mine")
    assert (roles, inks[:2]) == (["background", "tone", "tone", "key"], ["#c3d3dc", "#e8b65a"])
    assert layers[0] == ["sky", *layers[2], *layers[3]]
    mine = tmp_path / "mine" / "print.toml"
    words = mine.read_text(encoding="utf-8")
    assert "# sky prints under" in words
    light = 0.3 + 0.7 * linear((0xC3, 0xD3, 0xDC))  # an ink hides on 0.3 of its area, as one that says nothing does
    over = screen(light * linear(rgb(inks[2]))).round()  # on the rest a glaze: the product of their light
    assert (
        f"the ink of {told(tmp_path / 'mine')['blocks'][2]['name']} prints as about {hex_of(tuple(over.astype(int)))},"
        in words
    )
    bare = replace(read_print(mine, Library()), motifs=())
    _, cuts = cut_blocks(bare, setups_of(bare, Library()), say=lambda _: None)
    assert cuts["sky"].land.area == pytest.approx(40 * 30 - 2 * np.pi * 9, rel=0.01)
    cut = replace(bare, blocks=tuple(replace(each, state="cut", cut_land=each.name) for each in bare.blocks))
    plain = {block.layers: file for block, file in zip(bare.blocks, cut_lands(cut, Library()).values(), strict=True)}
    (tmp_path / "cut.svg").write_text(plain[bare.blocks[0].layers], encoding="utf-8")
    (stands,) = read(tmp_path / "cut.svg").layers.values()
    assert shapely.area(stands).sum() == pytest.approx(40 * 30 - np.pi * 9, rel=0.005), "no moon"


def test_the_ground_of_dark_things_has_the_sky_under_it_if_it_is_darker_at_all(tmp_path, capsys):
    """Else the sky's block would print the firs alone, as islands in a bare hill; a lit pane in a frame stays bare."""
    things = {
        "sky": ("#b9c9d6", "M0 0h40v30h-40z"), "hill": ("#8aa3b5", "M0 16h40v6h-40z"),
        "firs": ("#567388", "M4 22v-7h4v7zM20 22v-7h4v7z"), "pane": ("#e8b65a", "M30 6h4v6h-4z"),
        "frame": ("#1d2733", "M29 5h6v8h-6zM30 6v6h4v-6zM31 6h1v6h-1z"),
    }  # fmt: skip
    inside = "".join(f'<g id="{k}"><path d="{path}" fill="{fill}"/></g>' for k, (fill, path) in things.items())
    assert run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside)).code == 0
    layers, inks, _ = as_blocks(tmp_path / "mine")
    assert inks[0] == "#b9c9d6"
    assert set(layers[0]) == {"sky", "hill", "firs", "frame"}
    assert ["hill", "firs"] in layers, "the hill prints under what stands on it"
    assert "# sky and hill print under" in (tmp_path / "mine" / "print.toml").read_text(encoding="utf-8")


SHORE, PATCH = shapely.box(0, 0, 40, 16), shapely.box(4, 2, 36, 12)


def test_an_ink_prints_in_one_tone_where_only_a_part_of_it_stands_on_the_lightest():
    """A hill before the sky and water below both: under both lies paper, and under firs alone the hill."""
    boxes = {"sky": (0, 16, 40, 30), "hill": (0, 16, 40, 22), "water": (0, 0, 40, 16), "firs": (6, 17, 9, 21)}
    layers = {name: geometry.polygon_array([shapely.box(*each)]) for name, each in boxes.items()}
    colours = {"sky": "#c3d3dd", "hill": "#6b8a9c", "water": "#6b8a9c", "firs": "#4f6f80"}
    assert [block["layers"] for block in guess(layers, (40, 30), colours)["blocks"]] == [
        ["sky"], ["hill", "water", "firs"], ["firs"]
    ]  # fmt: skip
    apart = colours | {"water": "#33505f"}
    assert guess(layers, (40, 30), apart)["blocks"][0]["layers"] == ["sky", "hill", "firs"]


@pytest.mark.parametrize(
    ("between", "firs", "under"),
    [({}, [shapely.box(6, 4, 9, 10), shapely.box(30, 4, 33, 17)], True),
     ({}, [shapely.box(6, 4, 9, 10), shapely.box(30, 16, 33, 22)], False),
     ({}, [shapely.box(6, 4, 9, 10), shapely.box(30, 16, 30.1, 16.1)], True),
     ({"#ffffff": PATCH}, [shapely.box(6, 4, 9, 10)], False), ({"#9fb4c0": PATCH}, [shapely.box(6, 4, 9, 10)], False)],
    ids=["all on the hill", "one in the sky", "a speck in the sky", "on snow", "on a lake"],
)  # fmt: skip
def test_a_hill_prints_under_firs_that_all_stand_on_it_and_not_on_what_lies_between(between, firs, under):
    """Else its block would print them alone, as islands: by the areas of boxes."""
    layers = {"hill": [SHORE]} | {ink: [patch] for ink, patch in between.items()} | {"firs": firs}
    colours = {"hill": "#8aa3b5", "firs": "#567388"} | {ink: ink for ink in between}
    arrays = {name: geometry.polygon_array(boxes) for name, boxes in layers.items()}
    (hill,) = (block for block in guess(arrays, (40, 30), colours)["blocks"] if block["layers"][0] == "hill")
    assert hill["layers"] == ["hill", *["firs"] * under]


def test_what_stands_before_ground_from_side_to_side_bears_its_own_snow(tmp_path, capsys):
    """As one thing with the hill behind it a post would bear none: the hill's outline runs above it."""
    hill, post = '<g id="hill"><path d="M0 16h40v14h-40z"/></g>', '<g id="key"><path d="M18 18h3v12h-3z"/></g>'
    assert run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", hill + post)).code == 0
    lying = [table["on"] for table in told(tmp_path / "mine")["motifs"] if table["motif"] == "snowload"]
    assert lying == [["hill"], ["key"]]


def test_a_hill_that_a_post_parts_bears_its_own_snow_as_a_whole_one_does():
    """A photographed print shows its ink only, and nothing of what goes on behind the post."""
    hill = geometry.polygon_array([shapely.box(0, 4, 17, 14), shapely.box(22, 4, 40, 14)])
    layers = {"hill": hill, "post": geometry.polygon_array([shapely.box(17, 0, 22, 20)])}
    lying = [table["on"] for table in guess(layers, (40, 30))["motifs"] if table["motif"] == "snowload"]
    assert lying == [["hill"], ["post"]]


@pytest.mark.parametrize(
    ("name", "bears"),
    [("water", False), ("Ripples 2", False), ("Fluß", False), ("SPIEGELUNGEN", False), ("Étoiles", False),
     ("olas", False), ("lamp light", False), ("lighthouse", True), ("watermill", True), ("seat", True),
     ("stern of the boat", True), ("colour 4", True)],
)  # fmt: skip
def test_no_snow_lies_on_what_a_layers_name_says_is_water_light_or_letters(name, bears):
    """Whole words, whatever their case and accents. What snow can't lie on: common practice, no source."""
    layers = {layer: geometry.polygon_array([shapely.box(9, 0, 20, 3)]) for layer in (name, "posts")}
    lying = [table["on"] for table in guess(layers, (40, 30))["motifs"] if table["motif"] == "snowload"]
    assert lying == [[name, "posts"] if bears else ["posts"]]
    told = f"By the name, no snow lies on {name}."
    if bears:
        told = "Snow lies on every layer that is not behind all; on one named as water, light or letters none would."
    assert guess(layers, (40, 30))["why"][-1] == told


def test_what_is_said_of_the_blocks_tells_what_bears_no_snow_by_its_name(tmp_path, capsys):
    inside = '<g id="water"><path d="M0 0h40v6h-40z"/></g><g id="posts"><path d="M9 6h4v12h-4z"/></g>'
    assert "By the name, no snow lies on water." in run(
        capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside)).out  # fmt: skip


def test_where_nothing_bears_snow_none_lies():
    shapes = geometry.polygon_array([shapely.box(9, 0, 20, 3)])
    assert [table["motif"] for table in guess({"waves": shapes}, (40, 30))["motifs"]] == ["snowfall"]


def test_no_sky_is_put_behind_colours_that_cover_the_face(tmp_path, capsys):
    inside = "".join(f'<path d="M{10 * k} 0h10v30h-10z" fill="#{k}{k}{k}"/>' for k in range(4))
    run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside))
    assert as_blocks(tmp_path / "mine")[1] == ["#333333", "#222222", "#111111", "#000000"]


def test_a_white_page_behind_all_is_no_layer(tmp_path, capsys):
    inside = f'<rect width="40" height="30" fill="#fff"/><path d="{KEY}" fill="#123"/>'
    assert run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside)).code == 0
    assert as_blocks(tmp_path / "mine")[0] == [["*"], ["deep blue"]]
    assert list(read(tmp_path / "mine" / "drawing.svg").layers) == ["deep blue"]


def test_a_block_of_a_parted_layer_goes_by_layer_and_colour_and_no_two_alike(tmp_path, capsys):
    lamp = '<path d="M6 8h3v22h-3z" fill="#22303f"/><circle cx="7" cy="6" r="2" fill="#e8b65a"/>'
    buoys = '<circle cx="25" cy="6" r="2" fill="#3f8f4f"/><circle cx="32" cy="6" r="2" fill="#2f6f2f"/>'
    inside = f'<g id="lamp">{lamp}</g><g id="buoy">{buoys}</g>'
    assert run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside)).code == 0
    names = {block["name"] for block in told(tmp_path / "mine")["blocks"]}
    assert names == {"sky", "lamp-yellow", "buoy-green", "buoy-green-2", "lamp-deep-blue-grey"}


def test_of_many_colours_those_most_alike_share_a_block_and_the_key_stays_alone(tmp_path, capsys):
    inside = "".join(f'<path d="M{4 * k} 0h3v20h-3z" fill="#{k}{k}{k}"/>' for k in range(1, 9))
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside))
    layers, inks, _ = as_blocks(tmp_path / "mine")
    assert [len(layer) for layer in layers] == [1, 1, 1, 2, 3, 1]
    assert (inks[1], inks[-1]) == ("#888888", "#111111")
    shared = ran.out.partition("share one: ")[2].partition(".")[0]
    assert [set(block.split(" and ")) for block in shared.split("; ")] == [
        set(each) for each in layers if len(each) > 1
    ]


def side_by_side(names):
    """A layer of a box for each name, none on another."""
    return {name: geometry.polygon_array([shapely.box(9 * k, 0, 9 * k + 9, 9)]) for k, name in enumerate(names)}


def test_inks_that_are_not_alike_share_no_block_however_many_they_are():
    colours = {ink: ink for ink in ("#ff0000", "#008800", "#0000ff", "#ffff00", "#ffccff", "#885500", "#000000")}
    blocks = guess(side_by_side(colours), (40, 30), colours)["blocks"]
    assert all(len(block["layers"]) == 1 for block in blocks)


@pytest.mark.parametrize(
    ("one", "other", "share"),
    [("#ffff00", "#00ff00", False), ("#b5714a", "#dca070", False), ("#b5714a", "#d09060", True)],
    ids=["23", "15", "10"],
)
def test_no_inks_further_apart_than_twelve_share_a_block(one, other, share):
    colours = {ink: ink for ink in (one, other, "#0000ff", "#ff0000", "#ff88ff", "#000000")}
    blocks = guess(side_by_side(colours), (40, 30), colours)["blocks"]
    assert any(len(block["layers"]) == 2 for block in blocks) == share


def test_of_many_named_tones_none_is_in_the_key(tmp_path, capsys):
    names = ("Sky", *(f"Tone {k}" for k in range(6)), "Key")
    inside = "".join(f'<g id="{name}"><path d="M{4 * k} 0h3v20h-3z"/></g>' for k, name in enumerate(names))
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", inside))
    layers, _, roles = as_blocks(tmp_path / "mine")
    assert (layers[0], layers[-1], roles[-1]) == (["Sky"], ["Key"], "key")
    assert [len(layer) for layer in layers] == [1, 2, 2, 2, 1]
    assert "Tone 0 and Tone 1" in ran.out


def test_colours_that_hardly_differ_are_one_block_whatever_their_layers():
    colours = {"JETTY": "#1f2b3d", "BOAT": "#1f2b3e", "LAMP": "#b5714a"}
    blocks = guess(side_by_side(colours), (40, 30), colours)["blocks"]
    assert [block["layers"] for block in blocks] == [["*"], ["LAMP"], ["JETTY", "BOAT"]]


def test_what_has_the_colour_of_a_named_layer_prints_from_its_block():
    colours = {"PANEL": "#bccdd6", "sky": "#bccdd6", "HILLS": "#6d8ea6", "JETTY": "#1d2a3a", "LAMP": "#c98a3c"}
    blocks = guess(side_by_side(colours), (40, 30), colours)["blocks"]
    assert [(block["name"], block["layers"]) for block in blocks] == [
        ("sky", ["sky", "PANEL"]), ("lamp", ["LAMP"]), ("hills", ["HILLS"]), ("jetty", ["JETTY"])
    ]  # fmt: skip


def test_named_layers_of_one_colour_print_from_one_block_and_of_others_each_from_its_own():
    colours = {"water": "#bccdd6", "hills": "#6d8ea6", "sky": "#bccdd6", "key": "#1d2a3a"}
    blocks = guess(side_by_side(colours), (40, 30), colours)["blocks"]
    assert [block["layers"] for block in blocks] == [["sky", "water"], ["hills"], ["key"]]
    dark = colours | {"sky": "#1d2a3a"}
    apart = guess(side_by_side(dark), (40, 30), dark)["blocks"]
    assert ["sky"] in [block["layers"] for block in apart], "what lies behind all is no part of the key"
    unsaid = guess(side_by_side(colours), (40, 30), {})["blocks"]
    assert [block["layers"] for block in unsaid] == [["sky"], ["water"], ["hills"], ["key"]]


@pytest.mark.parametrize(("known", "slit", "filled"), [(0.3, 0.02, True), (0.3, 0.4, False), (0.0, 0.02, False)])
def test_what_parts_two_inks_in_a_picture_by_less_than_it_shows_is_no_paper(known, slit, filled):
    """By areas of boxes: the lighter ink runs on under the darker, which stays as it was read."""
    sky, hill = shapely.box(0, 20 + slit, 40, 40), shapely.box(0, 0, 40, 20)
    layers = {"INK 1": geometry.polygon_array([sky]), "INK 2": geometry.polygon_array([hill])}
    begun = begun_with(Artwork(layers, 40.0, 40.0, (), known_mm=known), "print").layers
    (hill_now,) = begun["INK 2"]
    assert shapely.equals(hill_now, hill)
    white = 40 * 40 - shapely.union_all([*begun["INK 1"], hill]).area
    assert white == pytest.approx(0 if filled else 40 * slit, abs=0.01)


def test_a_tree_drawn_first_up_to_the_top_is_no_sky(tmp_path, capsys):
    tree = '<path d="M8 0h25l4 14h-12v16h-6v-16h-14z" fill="#334433"/><path d="M30 24h9v6h-9z" fill="#aa7755"/>'
    run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "mine.svg", tree))
    assert as_blocks(tmp_path / "mine")[0][0] == ["*"], "a sky is put behind it"
    assert len(snowfall(tmp_path / "mine")["far_behind"]) == 2


def snowfall(folder):
    return next(motif for motif in told(folder)["motifs"] if motif["motif"] == "snowfall")


def test_far_flakes_fall_behind_the_drawing_and_near_ones_before(tmp_path, capsys):
    mine = tmp_path / "mine"
    sky = '<g id="SKY"><path d="M0 0h40v30h-40z"/></g>'
    assert run(capsys, "new", mine, "--drawing", svg(tmp_path / "posts.svg", sky + POSTS)).code == 0
    assert snowfall(mine)["far_behind"] == ["POSTS", "RAIL"], "what fills the face hides no flakes"
    assert snowfall(mine)["middle_behind"] == ["RAIL"], "it is drawn last, so it stands in front"
    page = (mine / "print.toml").read_text(encoding="utf-8")
    assert "# far_behind and middle_behind: " in page
    assert "no separate layers" not in page


def test_letters_hide_all_that_falls_and_bear_nothing(tmp_path, capsys):
    name = '<g id="Letters"><path d="M20 4h8v4h-8z"/></g>'
    assert run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "posts.svg", POSTS + name)).code == 0
    assert snowfall(tmp_path / "mine")["behind"] == ["Letters"]
    assert all(
        "Letters" not in motif["on"] for motif in told(tmp_path / "mine")["motifs"] if motif["motif"] == "snowload"
    )


@pytest.mark.parametrize(
    ("size", "largest"), [((200, 150), None), ((300, 200), None), ((100, 75), 3.5), ((100, 80), 3.6), ((40, 30), 2.0)]
)
def test_flakes_are_as_large_as_suits_the_face(tmp_path, capsys, size, largest):
    """By the root of the area: at half the width and height half as large as the weather's 7 mm."""
    page = f'width="{size[0]}mm" height="{size[1]}mm" viewBox="0 0 40 30"'
    assert run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "posts.svg", page=page)).code == 0
    assert snowfall(tmp_path / "mine")["settings"].get("largest_mm") == largest
    settings = read_print(tmp_path / "mine" / "print.toml", Library()).motifs[1].settings
    assert settings.largest_mm == (largest or 7.0)
    assert settings.hidden == 0, "no flake ends flat at what it falls behind"


@pytest.mark.parametrize(("preset", "largest"), [("flurry", 3.5), ("steady", 3.0), ("squall", 2.8), ("", 3.5)])
def test_another_weather_has_its_own_largest_flakes_on_a_small_face(preset, largest):
    """The page asks for weather and size after it has been told what a print begins as."""
    begun = guess({"POSTS": geometry.empty()}, (200.0, 150.0))["motifs"][1]
    files = print_files("mine", {}, (100.0, 75.0), blocks=(), motifs=({**begun, "preset": preset},))
    assert tomllib.loads(files["print.toml"])["motifs"][0]["settings"]["largest_mm"] == largest


@pytest.mark.parametrize(
    ("inside", "hides"),
    [('<g id="ALL"><path d="M6 8h3v22h-3z"/></g>', ["ALL"]), ('<g id="ALL"><path d="M0 0h40v28h-40z"/></g>', None)],
)
def test_a_drawing_of_one_layer_says_in_the_file_how_flakes_come_to_fall_behind_things(tmp_path, capsys, inside, hides):
    mine = tmp_path / "mine"
    assert run(capsys, "new", mine, "--drawing", svg(tmp_path / "one.svg", inside)).code == 0
    assert snowfall(mine).get("far_behind") == hides
    assert "# The drawing has no separate layers" in (mine / "print.toml").read_text(encoding="utf-8")


def test_a_drawing_in_inches_lies_in_millimetres(tmp_path, capsys):
    """1 in = 25.4 mm exactly (international yard and pound agreement, 1959); $INSUNITS 1 by ezdxf's own names."""
    document = ezdxf.new(units=units.IN)
    document.modelspace().add_lwpolyline([(0, 0), (2, 0), (2, 1), (0, 1)], close=True, dxfattribs={"layer": "BOARD"})
    document.saveas(tmp_path / "board.dxf")
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", tmp_path / "board.dxf")
    assert ran.code == 0, ran.err
    assert told(tmp_path / "mine")["print"]["size_mm"] == pytest.approx([50.8, 25.4], abs=0.01)
    (board,) = read(tmp_path / "mine" / "drawing.svg").layers["BOARD"]
    assert shapely.area(board) == pytest.approx(2 * 25.4**2, rel=1e-4)


def test_a_drawing_without_a_page_asks_for_the_size_and_takes_it(tmp_path, capsys):
    bare = svg(tmp_path / "bare.svg", page='viewBox="0 0 40 30"')
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", bare)
    assert (ran.code, "does not say how large it is" in ran.err, "--size" in ran.err) == (2, True, True)
    assert not (tmp_path / "mine").exists()
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", bare, "--size", "80x60")
    assert ran.code == 0, ran.err
    drawn = read(tmp_path / "mine" / "drawing.svg")
    assert shapely.total_bounds(drawn.layers["RAIL"]) == pytest.approx([4, 22, 76, 28], abs=0.01)  # twice as large
    assert run(capsys, "new", tmp_path / "other", "--size", "80x60").code == 2, (
        "of the sample's drawing nothing is said"
    )


def test_of_several_drawings_each_keeps_its_name_and_pages_must_agree(tmp_path, capsys):
    (tmp_path / "far").mkdir()
    first = svg(tmp_path / "Shore.svg", '<g id="SHORE"><path d="M0 25h40v5h-40z"/></g>')
    second = svg(tmp_path / "far" / "shore.svg")
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", first, "--drawing", second)
    assert ran.code == 0, ran.err
    assert told(tmp_path / "mine")["artwork"]["files"] == ["shore.svg", "shore2.svg"]
    assert as_blocks(tmp_path / "mine")[0][1:] == [["SHORE"], ["POSTS"], ["RAIL"]]
    wide = svg(tmp_path / "wide.svg", page='width="60mm" height="30mm" viewBox="0 0 60 30"')
    ran = run(capsys, "new", tmp_path / "other", "--drawing", first, "--drawing", wide)
    assert (ran.code, "40 x 30 mm and 60 x 30 mm" in ran.err, "--size" in ran.err) == (2, True, True)


def test_a_photograph_is_begun_by_its_corners_or_asks_for_them_with_a_picture(tmp_path, capsys, monkeypatch):
    """A white sheet of 40 x 30 mm at 10 px a mm on a grey table, a black post of 4 x 20 mm on it."""
    monkeypatch.chdir(tmp_path)
    table = np.full((400, 500), 120, np.uint8)
    table[50:350, 50:450] = 245
    table[100:300, 150:190] = 20
    Image.fromarray(table).save("post.png")
    corners = "50 50 450 50 450 350 50 350"
    ran = run(capsys, "new", "mine", "--drawing", "post.png", "--size", "40x30", "--corners", corners)
    assert ran.code == 0, ran.err
    ((post,),) = read(tmp_path / "mine" / "drawing.svg").layers.values()
    assert shapely.bounds(post) == pytest.approx([10, 5, 14, 25], abs=0.1)
    Image.fromarray(np.random.default_rng(1).integers(90, 160, (300, 400), np.uint8)).save("noise.png")
    ran = run(capsys, "new", "other", "--drawing", "noise.png", "--size", "40x30")
    assert (ran.code, "read the corners off noise-corners.png" in ran.err) == (2, True)
    assert not (tmp_path / "other").exists()
    ran = run(capsys, "new", "other", "--drawing", svg(tmp_path / "a.svg"), "--corners", corners)
    assert (ran.code, "no photograph" in ran.err) == (2, True)


def test_a_drawing_of_nothing_is_refused(tmp_path, capsys):
    ran = run(capsys, "new", tmp_path / "mine", "--drawing", svg(tmp_path / "none.svg", ""))
    assert ran.code == 2
    assert not (tmp_path / "mine").exists()


def test_page_and_command_begin_the_same_print(tmp_path, capsys):
    from carvegen.interfaces.page.beginning import Upload, begun
    from carvegen.writers.whole_print.new_print import guess

    drawing = svg(tmp_path / "posts.svg")
    run(capsys, "new", tmp_path / "mine", "--drawing", drawing)
    usual = guess(read(drawing).layers, (40, 30))
    cut = {key: usual[key] for key in ("material", "cutter", "for")}
    said = {
        "with": "drawing", "upload": 0, "name": "mine",
        "blocks": [{**block, **cut} for block in usual["blocks"]], "motifs": usual["motifs"],
    }  # fmt: skip
    (tmp_path / "page").mkdir()
    path = begun(said, [Upload(path=drawing, kind="SVG")], SHELF, tmp_path / "page")
    for name in ("print.toml", "drawing.svg"):
        assert (path.parent / name).read_bytes() == (tmp_path / "mine" / name).read_bytes()


def test_a_key_block_of_many_layers_goes_by_none_of_them():
    names = {"jetty": "#1f2b3d", "boat": "#1f2b3d", "hills": "#7f9cb0"}
    shapes = {name: geometry.polygon_array([shapely.box(10 * k, 0, 10 * k + 6, 20)]) for k, name in enumerate(names)}
    blocks = guess(shapes, (40, 30), colours=names)["blocks"]
    assert [block["name"] for block in blocks if block["role"] != "background"] == ["hills", "key"]
