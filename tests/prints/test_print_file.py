"""Print files: what is read, what the schema says of the same file, and what a faulty one is told."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
import shapely

from carvegen.artwork import read
from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.parameters import parameters
from carvegen.delivery.print_steps import _without_looks
from carvegen.motifs import motif, summaries
from carvegen.prints.file.new_folder import FILES, sample_folder
from carvegen.prints.file.print_file import read_print
from carvegen.prints.file.schema import schema
from carvegen.prints.layers import drawing_of
from tests import cases

SCHEMA = jsonschema.Draft202012Validator(schema())

GOOD = """
[print]
name = "landing"
size_mm = [60, 40]
[[layers]]
name = "POST"
shape = "box 20 0 12 30"
[[blocks]]
name = "sky"
role = "background"
ink = "#a9bfcb"
layers = ["*"]
material = "linoleum"
cutter = "v-60"
[[blocks]]
name = "key"
role = "key"
ink = "#1f2b3d"
layers = ["POST"]
material = "linoleum"
cutter = "v-60"
[[motifs]]
motif = "snowfall"
settings = { snow = 0.1 }
"""


def written(folder: Path, *changes: tuple[str, str]) -> Path:
    text = GOOD
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "print.toml"
    path.write_text(text, encoding="utf-8")
    return path


def by_schema(path: Path) -> list[str]:
    return ["/".join(map(str, error.absolute_path)) for error in SCHEMA.iter_errors(tomllib.loads(path.read_text()))]


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(schema())
    assert json.loads(json.dumps(schema())) == schema()


@pytest.mark.parametrize("name", [name for name in FILES if name.endswith(".toml")])
def test_the_samples_are_good(name):
    path = sample_folder() / name
    values = read_print(path, cases.SHELF)
    assert by_schema(path) == []
    assert [block.role for block in values.blocks][:3] == ["background", "tone", "key"]
    assert drawing_of(values).layers[0].name in {"LIT", "MOON"}


def test_what_is_read(tmp_path):
    values = read_print(written(tmp_path), cases.SHELF)
    assert (values.width_mm, values.height_mm, values.trap_mm, values.register_error_mm) == (60, 40, 0.5, 0.5)
    assert [block.name for block in values.blocks] == ["sky", "key"]  # in printing order
    assert values.blocks[1].ink.colour == (31, 43, 61)
    assert values.motifs[0].settings.snow == 0.1
    assert values.motifs[0].leaves("sky")


def test_weight_and_thickness_are_those_of_the_paper_that_is_known(tmp_path):
    size = "size_mm = [60, 40]\npaper_g_m2 = 120\npaper_mm = 0.2\n"
    own = read_print(written(tmp_path, ("size_mm = [60, 40]", size)), cases.SHELF)
    assert (own.paper_g_m2, own.paper_mm, own.stock) == (120, 0.2, None)
    known = read_print(written(tmp_path, ("size_mm = [60, 40]", size + 'paper_profile = "cotton-300"')), cases.SHELF)
    assert (known.paper_g_m2, known.paper_mm) == (300, 0.55)
    assert known.stock == cases.SHELF.paper("cotton-300")


def test_a_text_is_as_long_at_the_most_by_the_schema_as_by_the_reader(tmp_path):
    """200 letters: our own choice; the same faults with one more."""
    longest = written(tmp_path, ('name = "landing"', f'name = "{"n" * 200}"'))
    assert by_schema(longest) == []
    assert len(read_print(longest, cases.SHELF).name) == 200
    longer = written(tmp_path, ('name = "landing"', f'name = "{"n" * 201}"'))
    assert by_schema(longer) == ["print/name"]
    with pytest.raises(InputError, match="at most 200 letters"):
        read_print(longer, cases.SHELF)


def test_every_motif_and_setting_is_in_the_schema():
    """The schema's own words for a motif's settings refuse what the motif refuses."""
    for name in summaries():
        table = {"print": {"name": "x", "size_mm": [60, 40]}, "blocks": [block()], "motifs": [{"motif": name}]}
        assert SCHEMA.is_valid(table), name
        table["motifs"][0]["settings"] = {"no_such": 1}
        assert not SCHEMA.is_valid(table), name


def block():
    return {"name": "key", "role": "key", "ink": "#000000", "layers": ["A"], "material": "mdf", "cutter": "v-60"}


#: What is changed, the key that is told, the value that is repeated, and whether the schema can know it.
FAULTS = [
    (("size_mm = [60, 40]", "size_mm = [60]"), "print.size_mm", "[60]", True),
    (("size_mm = [60, 40]", "size_mm = [60, 1e9]"), "print.size_mm", "1000000000", True),
    (("size_mm = [60, 40]", 'size_mm = "60x40"'), "print.size_mm", "60x40", True),
    (("size_mm = [60, 40]", "size_mm = [60, nan]"), "print.size_mm", "nan", False),  # JSON has no nan
    (("size_mm = [60, 40]", f"size_mm = [60, 1{'0' * 400}]"), "print.size_mm", "…", True),
    (("size_mm = [60, 40]", "size_mm = [60, true]"), "print.size_mm", "True", True),
    (("size_mm = [60, 40]", ""), "print.size_mm", "", True),
    (('name = "landing"', 'name = "land\\ting"'), "print.name", "land\\ting", False),
    (('name = "landing"', "name = 5"), "print.name", "5", True),
    (('name = "landing"', 'name = "landing"\nseed = -1'), "print.seed", "-1", True),
    (('name = "landing"', 'name = "landing"\nseed = 1.5'), "print.seed", "1.5", True),
    (('name = "landing"', 'name = "landing"\ntrap_mm = 3.1'), "print.trap_mm", "3.1", True),
    (('name = "landing"', 'name = "landing"\nregister_error_mm = 3.1'), "print.register_error_mm", "3.1", True),
    (('name = "landing"', 'name = "landing"\npaper = "white"'), "print.paper", "white", True),
    (("[[layers]]", '[register]\nmethod = "stars"\n[[layers]]'), "register.method", "stars", True),
    (("[[layers]]", "[register]\ntolerance_mm = -1\n[[layers]]"), "register.tolerance_mm", "-1", True),
    (('name = "landing"', 'name = "landing"\ntrapp_mm = 1'), "print.trapp_mm", "1", True),
    (("[print]", "[prints]"), "prints", "", True),
    (("[[layers]]", "[layers]"), "layers", "", True),
    (('name = "sky"', 'name = "../sky"'), "the first block's name", "../sky", True),
    (('name = "sky"', 'name = "key"'), "the second block's name", "key", False),
    (('role = "background"', 'role = "sky"'), "the first block's role", "sky", True),
    (('ink = "#1f2b3d"', ""), "the second block's ink", "", False),
    (('ink = "#1f2b3d"', 'ink = "#1f2b3"'), "the second block's ink", "#1f2b3", True),
    (('ink = "#1f2b3d"', 'ink = "#1f2b3d"\nopacity = 2'), "the second block's opacity", "2", True),
    (('layers = ["POST"]', ""), "the second block's layers", "[]", False),
    (('layers = ["POST"]', 'layers = "POST"'), "the second block's layers", "POST", True),
    (('layers = ["POST"]', 'layers = ["*"]'), "the second block's layers", "*", False),
    (('material = "linoleum"', 'material = "lino"'), "the first block's material", "lino", False),
    (('cutter = "v-60"', 'cutter = "v60"'), "the first block's cutter", "v60", False),
    (('cutter = "v-60"', 'cutter = "v-60"\nmachines = ["lazer"]'), "the first block's machines", "lazer", False),
    (('cutter = "v-60"', 'cutter = "v-60"\nmore_cutters = ["flat"]'), "the first block's more_cutters", "flat", False),
    (
        ('cutter = "v-60"', 'cutter = "v-60"\nmore_cutters = ["knife"]'),
        "the first block's more_cutters", "knife", False,
    ),
    (
        ('cutter = "v-60"', 'cutter = "v-60"\nmore_cutters = ["laser-fine"]'),
        "the first block's more_cutters", "laser-fine", False,
    ),
    (('cutter = "v-60"', 'cutter = "v-60"\nno_go = "box 1 1 5 5"'), "the first block's no_go", "box 1 1 5 5", True),
    (('cutter = "v-60"', 'cutter = "v-60"\nfor = ["knife"]'), "the first block's for", "knife", True),
    (('cutter = "v-60"', 'cutter = "v-60"\nmend = "yes"'), "the first block's mend", "yes", True),
    (('motif = "snowfall"', 'motif = "snow"'), "the first motif's motif", "snow", True),
    (('motif = "snowfall"', 'motif = "snowfall"\npreset = "fresh"'), "the first motif's preset", "fresh", True),
    (('motif = "snowfall"', 'motif = "snowfall"\nblocks = ["kye"]'), "the first motif's blocks", "kye", False),
    (("snow = 0.1", "snow = 7"), "the first motif's settings.snow", "7", True),
    (("snow = 0.1", 'snow = "much"'), "the first motif's settings.snow", "much", True),
    (("snow = 0.1", "sno = 0.1"), "the first motif's settings.sno", "0.1", True),
    (("snow = 0.1", "smallest_mm = 4, largest_mm = 2"), "the first motif's settings.smallest_mm", "4", False),
    (("snow = 0.1", "cut_at_edge = 1"), "the first motif's settings.cut_at_edge", "1", True),
]  # fmt: skip


@pytest.mark.parametrize(("change", "key", "value", "schema_knows"), FAULTS)
def test_a_fault_is_told_with_file_key_value_and_remedy(tmp_path, change, key, value, schema_knows):
    path = written(tmp_path, change)
    with pytest.raises(InputError) as caught:
        read_print(path, cases.SHELF)
    report, hint = str(caught.value), caught.value.hint
    assert f"{key}: " in report
    assert report.startswith(f"{path}: ")
    assert value in report
    assert len(report) < 3000
    assert len(hint) > 3
    assert bool(by_schema(path)) == schema_knows


@pytest.mark.parametrize(("change", "expected", "hint"), [
    (('name = "landing"', 'name = "landing"\nseed = -1'), "print.seed: must be a whole number, 0 or more, got -1",
     "another seed, another pattern of the same kind: a whole number, 0 or more"),
    (('name = "landing"', 'name = "landing"\nseed = 1.5'), "print.seed: must be a whole number, got 1.5",
     "another seed, another pattern of the same kind: a whole number, 0 or more"),
    (("[[layers]]", '[[marked]]\nmeaning = "grow again"\nshape = "box 1 1 5 5"\ntry = 0\n[[layers]]'),
     "the first mark's try: must be a whole number in 1…1000000, got 0",
     "grow again: another try, other shapes: a whole number in 1…1000000"),
])  # fmt: skip
def test_whole_numbers_are_said_once_and_a_huge_bound_not_at_all(tmp_path, change, expected, hint):
    with pytest.raises(InputError) as caught:
        read_print(written(tmp_path, change), cases.SHELF)
    assert str(caught.value).endswith(expected)
    assert caught.value.hint == hint


@pytest.mark.parametrize(("settings", "expected", "hint"), [
    ("snow = 7", "must lie in 0…0.6, got 7", "{help}; by default 0.08"),
    ('snow = "much"', "must be a number, got 'much'", "{help}: a number; it must lie in 0…0.6; by default 0.08"),
    ("cut_at_edge = 1", "must be true or false, got 1", "write cut_at_edge = true, or leave it out"),
])  # fmt: skip
def test_a_motifs_setting_is_told_with_its_default_and_its_range_once(tmp_path, settings, expected, hint):
    with pytest.raises(InputError) as caught:
        read_print(written(tmp_path, ("snow = 0.1", settings)), cases.SHELF)
    snow = next(setting for setting in parameters(motif("snowfall").Settings) if setting.key == "snow")
    assert str(caught.value).endswith(expected)
    assert caught.value.hint == hint.format(help=snow.help)


def test_all_faults_at_once_each_with_its_remedy(tmp_path):
    path = written(tmp_path, ("[60, 40]", "[60]"), ('role = "key"', 'role = "kee"'), ("snow = 0.1", "snow = 7"))
    with pytest.raises(InputError) as caught:
        read_print(path, cases.SHELF)
    report = str(caught.value)
    assert "3 faults" in report
    assert report.count("what to do: ") == 3
    assert "did you mean key?" in report


@pytest.mark.parametrize(
    ("raw", "line"),
    [(b"[print]\nname = \n", "line 2"), (b"[print]\nname = '\xff'\n", "line 2"), (b"a = " + b"[" * 5000, "line 1")],
)
def test_what_is_no_toml_is_told_with_its_line(tmp_path, raw, line):
    path = tmp_path / "print.toml"
    path.write_bytes(raw)
    with pytest.raises(InputError, match=line):
        read_print(path, cases.SHELF)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match=r"none\.toml: can't be read"):
        read_print(tmp_path / "none.toml", cases.SHELF)


@pytest.mark.parametrize(
    ("change", "key", "value"),
    [
        (('layers = ["POST"]', 'layers = ["PSOT"]'), "the second block's layers", "PSOT"),
        (('motif = "snowfall"', 'motif = "snowfall"\nbehind = ["TREE"]'), "the first motif's behind", "TREE"),
        (('motif = "snowfall"', 'motif = "snowfall"\non = ["TREE"]'), "the first motif's on", "TREE"),
        (("[[layers]]", '[artwork]\nin_front = ["POST", "TREE"]\n[[layers]]'), "artwork.in_front[1]", "TREE"),
        (("[[layers]]", '[artwork]\nfiles = ["none.svg"]\n[[layers]]'), "artwork.files[0]", "none.svg"),
        (('shape = "box 20 0 12 30"', 'shape = "box 20 0 12"'), "the first layer's shape", "12"),
        (('shape = "box 20 0 12 30"', 'shape = "box 120 0 12 30"'), "the first layer's shape", "120"),
    ],
)
def test_names_and_shapes_that_only_the_drawing_knows(tmp_path, change, key, value):
    path = written(tmp_path, change)
    with pytest.raises(CarvegenError) as caught:
        drawing_of(read_print(path, cases.SHELF))
    assert str(caught.value).startswith(f"{path}: ")
    assert f"{key}: " in str(caught.value)
    assert value in str(caught.value)
    assert caught.value.hint


def test_a_layer_that_prints_needs_its_place_in_the_order(tmp_path):
    more = '[artwork]\nin_front = ["POST"]\n[[layers]]\nname = "MOON"\nshape = "circle 50 30 4"\n[[layers]]'
    path = written(tmp_path, ("[[layers]]", more), ('layers = ["POST"]', 'layers = ["POST", "MOON"]'))
    with pytest.raises(InputError, match=r"the second block's layers: must stand in artwork\.in_front, got 'MOON'"):
        drawing_of(read_print(path, cases.SHELF))


def test_case_and_dashes_of_layer_names_do_not_matter(tmp_path):
    path = written(tmp_path, ('name = "POST"', 'name = "MOORING POST"'), ('["POST"]', '["mooring-post"]'))
    assert [layer.name for layer in drawing_of(read_print(path, cases.SHELF)).layers] == ["MOORING POST"]


@pytest.mark.parametrize(("name", "parted"), [("post pale blue", True), ("rail", False)])
def test_a_drawing_put_in_place_of_one_that_was_parted_by_colour_is_told_what_to_do(tmp_path, name, parted):
    path = written(tmp_path, ('["POST"]', f'["{name}"]'))
    with pytest.raises(CarvegenError) as caught:
        drawing_of(read_print(path, cases.SHELF))
    assert ("carvegen new" in caught.value.hint) == parted


@pytest.mark.parametrize(("side", "asked"), [(12, True), (40, False)])
def test_a_drawing_that_takes_up_little_of_the_face_is_asked_about(tmp_path, side, asked):
    """A drawing in centimetres that says millimetres is a tenth of what was meant."""
    size = f'width="{side}mm" height="9mm" viewBox="0 0 {side} 9"'
    drawn = f'<svg xmlns="http://www.w3.org/2000/svg" {size}><g id="BOAT"><path d="M0 0H{side}V9H0Z"/></g></svg>'
    (tmp_path / "boat.svg").write_text(drawn, encoding="utf-8")
    path = written(tmp_path, ("[[layers]]", '[artwork]\nfiles = ["boat.svg"]\n[[layers]]'))
    notes = drawing_of(read_print(path, cases.SHELF)).notes
    assert any("all drawings together" in note for note in notes) == asked


@pytest.mark.parametrize(("words", "area"), [("", 4.0), ("<desc>PRINT VIEW</desc>", 100.0)])
def test_a_thin_closed_line_stands_for_the_same_in_a_print_and_where_it_is_read(tmp_path, words, area):
    """In a drawing that says from which side it shows the block it encloses a shape, a layer named as its place too."""
    size = 'width="60mm" height="40mm" viewBox="0 0 60 40"'
    line = '<path fill="none" stroke="#000" stroke-width="0.1" d="M5 5h10v10h-10z"/>'
    drawn = f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{words}<g id="BOAT">{line}</g></svg>'
    (tmp_path / "boat.svg").write_text(drawn, encoding="utf-8")
    more = '[artwork]\nfiles = ["boat.svg"]\nin_front = ["POST", "BOAT", "CAN"]\n'
    can = '[[layers]]\nname = "CAN"\nshape = "boat.svg#BOAT"\n[[layers]]'
    drawing = drawing_of(read_print(written(tmp_path, ("[[layers]]", more + can)), cases.SHELF))
    areas = {layer.name: layer.shape.area for layer in drawing.layers}
    understood = shapely.area(read(tmp_path / "boat.svg").layers["BOAT"]).sum()
    assert (areas["BOAT"], areas["CAN"], understood) == pytest.approx((area, area, area), rel=0.01)
    assert any("thin outline" in note for note in drawing.notes) == bool(words)


def test_what_stands_before_other_ink_of_the_same_snow_is_known(tmp_path):
    """Posts whose tops lie over boards further back and under nothing nearer, also one that the face's edge cuts off.

    Not one with a rope over it or a roof above it, or none behind it; no knob that hangs, no lighter band on boards.
    """
    (tmp_path / "jetty.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        '<g id="BOARDS"><path d="M4 12H40V30H4Z M41 34H47V40H41Z"/></g>'
        '<g id="POSTS"><path d="M8 20H12V40H8Z M16 20H20V40H16Z M24 20H28V40H24Z M48 20H52V40H48Z M33 27H38V31H33Z'
        'M42 37H46V40H42Z M34 14H39V18H34Z"/></g>'
        '<g id="BAND"><path d="M13 22H15V24H13Z"/></g>'
        '<g id="ROPE"><path d="M22 18H30V21H22Z M15 8H21V11H15Z"/></g></svg>', encoding="utf-8"
    )  # fmt: skip
    path, names = tmp_path / "print.toml", ["BOARDS", "POSTS", "ROPE"]
    for tone, fronts in (("tone", [8, 34, 42]), ("key", [8, 13, 34, 42])):
        blocks = {"sky": ["*"], "tone": ["BAND"], "key": names} if tone == "tone" else {"key": [*names, "BAND"]}
        text = cases.small_print('[artwork]\nfiles = ["jetty.svg"]', blocks=blocks)
        path.write_text(text, encoding="utf-8")
        drawing = drawing_of(_without_looks(read_print(path, cases.SHELF)))  # as a build draws it: of inks their order
        assert sorted(post.bounds[0] for post in drawing.fronts(["BOARDS", "POSTS", "BAND"])) == fronts
    assert len(drawing.fronts(["POSTS"])) == 0


@pytest.mark.parametrize(("feet", "fronts"), [(24, [16]), (36, [])])
def test_a_sign_whose_feet_are_higher_up_in_the_picture_is_no_roof_over_a_post(tmp_path, feet, fronts) -> None:
    """What stands higher up on the ground stands further back (perspective, common practice, no source)."""
    (tmp_path / "sign.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        '<g id="BOARDS"><path d="M4 24H40V40H4Z"/></g><g id="POSTS"><path d="M16 18H20V34H16Z"/></g>'
        f'<g id="SIGN"><path d="M8 4H32V14H30V{feet}H29V14H11V{feet}H10V14H8Z"/></g></svg>', encoding="utf-8"
    )  # fmt: skip
    path, names = tmp_path / "print.toml", ["BOARDS", "POSTS", "SIGN"]
    text = cases.small_print('[artwork]\nfiles = ["sign.svg"]', blocks={"key": names})
    path.write_text(text, encoding="utf-8")
    drawing = drawing_of(_without_looks(read_print(path, cases.SHELF)))
    assert [post.bounds[0] for post in drawing.fronts(names)] == fronts


def test_drawings_whose_layers_have_one_name_say_so_and_how_to_part_them(tmp_path):
    """Drawing programs name the first layer alike in every file; the remedy is then tried as it is printed."""
    for k, name in enumerate(("sky", "key")):
        (tmp_path / f"{name}.svg").write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
            f'<g id="Layer_1"><rect x="{20 * k}" width="12" height="30"/></g></svg>', encoding="utf-8"
        )  # fmt: skip
    path = tmp_path / "print.toml"
    together = '[artwork]\nfiles = ["sky.svg", "key.svg"]'
    path.write_text(cases.small_print(together, blocks={"sky": ["*"], "key": ["Layer_1"]}), encoding="utf-8")
    (note,) = drawing_of(read_print(path, cases.SHELF)).notes
    assert "sky.svg and key.svg each have a layer 'Layer_1': they are taken as one" in note
    path.write_text(cases.small_print(together, blocks={"sky": ["*"], "key": ["key"]}), encoding="utf-8")
    with pytest.raises(CarvegenError) as caught:
        drawing_of(read_print(path, cases.SHELF))
    remedy = '[[layers]] name = "key", shape = "key.svg"'
    assert caught.value.hint.endswith(remedy)
    parted = [cases.layer(name, f"{name}.svg") for name in ("sky", "key")]
    path.write_text(cases.small_print(*parted, blocks={"sky": ["*"], "key": ["key"]}), encoding="utf-8")
    assert drawing_of(read_print(path, cases.SHELF)).names == ["key", "sky"]
