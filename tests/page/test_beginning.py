"""How a print is begun on the page: what is cut already, names of inks, their colours, corners, plain words."""

from __future__ import annotations

import base64
import io
import json
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw

from carvegen.artwork import read
from carvegen.base.errors import InputError
from carvegen.interfaces.page.beginning import (
    Upload,
    artwork_of,
    begun,
    first_look,
    names_as_files,
    offers,
    received,
    understood,
)
from carvegen.interfaces.page.wording import understood_lines
from carvegen.prints.file.new_folder import write_print
from carvegen.prints.file.print_file import read_print
from carvegen.prints.layers import drawing_of
from carvegen.prints.recut import standing_lands
from carvegen.writers.whole_print.new_print import guess
from tests.cases import SHELF

PALE, DARK = (172, 198, 229), (30, 33, 43)
SIZE = [40.0, 30.0]
BLOCK = {"role": "key", "ink": "#1f2b3d", "layers": ["POST"], "material": "linoleum", "cutter": "v-60"}
DRAWING = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    b'<g id="RAIL"><rect x="2" y="13" width="36" height="3"/></g>'
    b'<g id="POST"><rect x="5" y="5" width="6" height="25"/></g></svg>'
)


def _handed_in(folder: Path, data: bytes) -> Upload:
    return received(data, folder, 0)


def _png(picture: Image.Image) -> bytes:
    file = io.BytesIO()
    picture.save(file, "PNG")
    return file.getvalue()


def _begun(folder: Path, *blocks: dict[str, object]) -> tuple[Path, list[dict[str, object]]]:
    """The print file of a print of a post, and its tables of blocks."""
    upload = _handed_in(folder, DRAWING)
    body = {"with": "drawing", "upload": 0, "name": "pier", "blocks": [{**BLOCK, **block} for block in blocks]}
    path = begun(body, [upload], SHELF, folder)
    return path, tomllib.loads(path.read_text(encoding="utf-8"))["blocks"]


def test_a_print_is_begun_in_what_a_block_can_be_made_of(tmp_path) -> None:
    """Neither in the plate of a die nor in the card that lies against it; those are told of apart."""
    offered = offers(SHELF, tmp_path)
    dies = {key for key in SHELF.keys("materials") if key.startswith("embossing-")}
    assert len(dies) >= 3
    assert {other_material["key"] for other_material in offered["other_materials"]} == {*dies, "counter-card"}
    assert {material["key"] for material in offered["materials"]} == set(SHELF.keys("materials")) - {
        *dies,
        "counter-card",
    }


def test_of_a_print_that_lies_there_its_own_words_are_offered_and_where_a_new_one_goes(tmp_path, monkeypatch) -> None:
    """Of one that can't be read only that it is a print: opening it says why."""
    (tmp_path / "pier.toml").write_text('[print]\nname = "A pier in autumn"\n[[blocks]]\nname = "sky"\n')
    (tmp_path / "torn.toml").write_text("[print]\n[[")
    offered = offers(SHELF, tmp_path)
    assert offered["prints"] == [
        {"file": "pier.toml", "about": "Open this print, already begun. A pier in autumn; 1 block: sky"},
        {"file": "torn.toml", "about": "Open this print, already begun."},
    ]
    assert offered["folder"] == str(tmp_path.resolve())
    monkeypatch.setattr(Path, "home", lambda: tmp_path.resolve().parent)
    assert offers(SHELF, tmp_path)["folder"] == f"~/{tmp_path.name}"


def test_of_a_block_that_is_cut_already_what_is_drawn_stands_and_nothing_more(tmp_path) -> None:
    """The post is 6 x 25 mm in the drawing; the sky beside it is not cut yet."""
    sky = {"name": "sky", "role": "background", "ink": "#a9bfcb", "layers": ["*"], "cut": False}
    path, tables = _begun(tmp_path, sky, {"name": "key", "cut": True})
    assert [(table.get("state"), "cut" in table) for table in tables] == [(None, False), ("cut", False)]
    stands = standing_lands(read_print(path, SHELF), tmp_path / "built")
    assert list(stands) == ["key"]
    assert shapely.symmetric_difference(stands["key"].land, shapely.box(5, 0, 11, 25)).area < 0.05


def test_under_a_darker_ink_a_block_that_is_cut_is_taken_to_stand(tmp_path) -> None:
    """What stands under the post can't be seen: were it taken to be cut, snow on the post would print pale there."""
    sky = {"name": "sky", "role": "background", "ink": "#a9bfcb", "layers": ["*"], "cut": True}
    tone = {"name": "tone", "role": "tone", "ink": "#6a8799", "layers": ["RAIL"], "cut": True}
    path, _ = _begun(tmp_path, sky, tone, {"name": "key", "cut": True})
    lands = standing_lands(read_print(path, SHELF), tmp_path / "built")
    post, rail = shapely.box(5, 0, 11, 25), shapely.box(2, 14, 38, 17)
    for name, stands in (("sky", shapely.box(0, 0, 40, 30)), ("tone", shapely.union(post, rail)), ("key", post)):
        assert shapely.symmetric_difference(lands[name].land, stands).area < 0.05, name


def test_no_file_is_named_by_the_page_and_none_of_hers_written_over(tmp_path) -> None:
    """A path out of the folder; a drawing of her own where what stands would be written."""
    path, (table,) = _begun(tmp_path, {"name": "../key", "state": "cut", "cut_land": "../../elsewhere.svg"})
    assert (table["name"], "state" in table, "cut_land" in table) == ("key", False, False)
    (path.parent / "cut").mkdir()
    mine = path.parent / "cut" / "key.svg"
    mine.write_text("mine")
    files = {"print.toml": path.read_text(encoding="utf-8")}
    path.unlink()
    (path.parent / "print.schema.json").unlink()
    with pytest.raises(InputError, match=r"holds cut/key\.svg already"):
        write_print(path.parent, files, SHELF, also=lambda *_: {"cut/key.svg": "theirs"})
    assert mine.read_text() == "mine"
    assert not path.exists()


def test_a_print_begins_for_several_machines_and_with_names_as_she_writes_them(tmp_path) -> None:
    path, tables = _begun(tmp_path, {"name": "Pale sky, thin", "for": ["hand", "laser"]})
    assert [(table["name"], table["for"]) for table in tables] == [("pale-sky-thin", ["hand", "laser"])]
    with pytest.raises(InputError, match="plain name"):
        _begun(tmp_path, {"name": "…"})
    assert [each.name for each in tmp_path.iterdir() if each.is_dir()] == [path.parent.name]


def test_inks_of_a_scan_begin_in_the_colours_that_were_measured(tmp_path) -> None:
    """Painted in two colours; told to 3 steps of 255, for a cell of the cube in which colours are looked up has 4."""
    picture = Image.new("RGB", (200, 150), (250, 249, 245))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((10, 10, 125, 140), fill=PALE)
    pen.rectangle((50, 30, 190, 70), fill=DARK)
    upload = _handed_in(tmp_path, _png(picture))
    artwork = artwork_of(upload, {"width_mm": 40, "inks": "2"})
    inks = {
        block["layers"][0]: block["ink"]
        for block in guess(artwork.layers, (40, 30), artwork.colours, sky=False)["blocks"]
    }
    assert len(inks) == 2
    for layer, colour in (("INK 1", DARK), ("INK 2", PALE)):
        assert np.abs(np.array(list(bytes.fromhex(inks[layer][1:])), dtype=int) - colour).max() <= 3


def test_a_pale_sky_up_to_the_corners_is_no_paper(tmp_path) -> None:
    """Two clouds in a sky, two banks of snow on the water, no margin: the sky has the area that was drawn."""
    paper, sky, water = (243, 238, 228), (178, 201, 211), (81, 111, 140)
    picture = Image.new("RGB", (400, 300), sky)
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 180, 399, 299), fill=water)
    for bare in ((150, 40, 260, 60), (280, 90, 360, 110), (0, 200, 100, 299), (180, 220, 260, 299)):
        pen.rectangle(bare, fill=paper)
    drawn = next(count for count, colour in picture.getcolors() if colour == sky) * 0.1**2
    body = {"corners": [0, 0, 400, 0, 400, 300, 0, 300], "size": SIZE, "inks": "2"}
    artwork = artwork_of(_handed_in(tmp_path, _png(picture)), body)
    assert shapely.area(artwork.layers["INK 2"]).sum() == pytest.approx(drawn, rel=0.01)


def test_the_corners_of_a_photographed_block_are_suggested_or_none(tmp_path) -> None:
    """Where they were drawn, to a thousandth of the picture."""
    corners = [(60, 40), (560, 70), (590, 420), (30, 380)]
    picture = Image.new("RGB", (640, 480), (120, 110, 100))
    ImageDraw.Draw(picture).polygon(corners, fill=(245, 243, 238))
    result = first_look(_handed_in(tmp_path, _png(picture)))["corners"]
    assert result is not None
    assert np.abs(np.array(result) * (640, 480) - np.array(corners)).max() < 1.5
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 0, 640, 480), fill=(150, 110, 60))
    for y in range(-400, 480, 24):
        pen.line((0, y, 640, y + 400), fill=(95, 60, 25), width=9)
    pen.polygon(corners, fill=(165, 130, 85), outline=(25, 25, 30), width=12)
    inked = first_look(_handed_in(tmp_path, _png(picture)))["corners"]
    assert inked is not None, "the frame of an inked block on a table of dark grain"
    assert np.abs(np.array(inked) * (640, 480) - np.array(corners)).max() < 4
    assert first_look(_handed_in(tmp_path, _png(Image.new("RGB", (640, 480), (120, 110, 100)))))["corners"] is None


def test_the_colours_of_a_photograph_are_offered_as_its_inks(tmp_path) -> None:
    """Those that were painted, to what one of 64 steps rounds away; bare paper is no ink, nor is the table."""
    corners = [(60, 40), (560, 70), (590, 420), (30, 380)]
    picture = Image.new("RGB", (640, 480), (20, 90, 40))
    pen = ImageDraw.Draw(picture)
    pen.polygon(corners, fill=(250, 249, 245))
    pen.rectangle((100, 110, 500, 250), fill=PALE)
    pen.rectangle((200, 200, 300, 350), fill=DARK)
    offered = first_look(_handed_in(tmp_path, _png(picture)))
    assert offered["corners"] is not None
    painted = sorted([PALE, DARK])
    seen = sorted(tuple(bytes.fromhex(colour[1:])) for colour in offered["colours"])
    assert np.abs(np.array(seen) - np.array(painted)).max() <= 4


def test_how_large_a_scan_says_that_it_is_is_suggested(tmp_path) -> None:
    """600 px at 150 dots per inch are 4 inches, 101.6 mm; a photograph says nothing that can be true."""
    picture = Image.new("RGB", (600, 450), (250, 249, 245))
    picture.save(tmp_path / "scan.png", dpi=(150, 150))
    assert first_look(_handed_in(tmp_path, (tmp_path / "scan.png").read_bytes()))["size"] == [101.6, 76.2]
    assert first_look(_handed_in(tmp_path, _png(picture)))["size"] is None


def test_what_was_understood_is_said_in_short_lines_without_codes(tmp_path) -> None:
    picture = Image.new("RGB", (200, 150), (250, 249, 245))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((10, 10, 125, 140), fill=PALE)
    pen.rectangle((50, 30, 190, 70), fill=DARK)
    body = {"corners": [0, 0, 200, 0, 200, 150, 0, 150], "size": SIZE, "inks": "2", "view": "block"}
    artwork = artwork_of(_handed_in(tmp_path, _png(picture)), body)
    lines = understood_lines(artwork.notes, why=guess(artwork.layers, (40, 30), artwork.colours)["why"], several=True)
    assert len(lines) >= 5
    for line in lines:
        assert line[0].isupper()
        assert line.endswith(".")
        assert "#" not in line
        assert len(line.split()) <= 25
    assert any("under a darker one can't be seen" in line for line in lines)


def test_what_a_picture_showed_to_stand_is_known_as_finely_as_the_picture_shows(tmp_path) -> None:
    picture = Image.new("RGB", (400, 300), (250, 249, 245))
    ImageDraw.Draw(picture).rectangle((100, 40, 219, 259), fill=DARK)
    upload, body = _handed_in(tmp_path, _png(picture)), {"with": "scan", "upload": 0, "name": "pier", "width_mm": 40}
    read_as = artwork_of(upload, body)
    (layer,) = read_as.layers
    path = begun(
        {**body, "blocks": [{**BLOCK, "name": "key", "layers": [layer], "cut": True}]}, [upload], SHELF, tmp_path
    )
    standing = standing_lands(read_print(path, SHELF), tmp_path / "built")["key"]
    assert read_as.known_mm > 0.02
    assert drawing_of(read_print(path, SHELF)).known_mm == pytest.approx(read_as.known_mm, abs=1e-3)
    assert standing.tolerance_mm == pytest.approx(read_as.known_mm, abs=1e-3)


def test_a_cut_land_is_a_drawing_that_any_program_opens(tmp_path) -> None:
    path, (table,) = _begun(tmp_path, {"name": "key", "cut": True})
    drawn = read(path.parent / str(table["cut_land"]))
    assert (drawn.width_mm, drawn.height_mm) == (40, 30)
    assert shapely.area(drawn.shapes).sum() == pytest.approx(150, abs=0.1)


def _finished_print(*, fades: bool) -> bytes:
    """Sky, water and posts, 40 × 30 mm, 10 px a mm: bare flakes; from y 12 to 18 mm water fades into sky."""
    sky, water = np.array((178.0, 201, 211)), np.array((81.0, 111, 140))
    rows = np.tile(sky, (300, 400, 1))
    rows[180:] = water
    if fades:
        share = np.linspace(0, 1, 60)[:, None, None]
        rows[120:180] = (1 - share) * sky + share * water
    picture = Image.fromarray(rows.astype(np.uint8))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((60, 40, 80, 260), fill=DARK)
    for x in range(20, 400, 37):
        pen.ellipse((x, 10 + x * 7 % 270, x + 24, 34 + x * 7 % 270), fill=(246, 243, 236))
    return _png(picture)


def _told(data: bytes) -> dict[str, Any]:
    length = int.from_bytes(data[:4], "little")
    return dict(json.loads(data[4 : 4 + length]))


def test_what_is_not_sure_of_a_finished_print_is_shown_on_it(tmp_path) -> None:
    """Where it is drawn to fade, hatched and ringed on her own picture; nothing of a print in flat inks."""
    body = {"corners": [0, 0, 400, 0, 400, 300, 0, 300], "size": SIZE, "inks": "3"}
    assert _told(understood(_handed_in(tmp_path, _finished_print(fades=False)), body))["unsure"] is None
    upload = _handed_in(tmp_path, _finished_print(fades=True))
    unsure = _told(understood(upload, body))["unsure"]
    assert 0.1 * 240 < unsure["area_mm2"] < 240
    assert all(len(sentence.split()) <= 25 for line in unsure["lines"] for sentence in line.split(". "))
    assert "pick their colours" in unsure["lines"][1]
    picked = _told(understood(upload, {**body, "picked": ["#b1c9d1", "#526e8d", "#1e222a"]}))["unsure"]["lines"]
    assert not any("pick" in line for line in picked), "she has picked them"
    assert all(len(sentence.split()) <= 25 for line in picked for sentence in line.split(". "))
    seen = np.asarray(Image.open(io.BytesIO(base64.b64decode(unsure["picture"].split(",")[1]))).convert("RGB"))
    orange = np.abs(seen.astype(int) - (194, 87, 26)).max(axis=-1) < 3
    rows = np.flatnonzero(orange.any(axis=1)) * 30 / len(seen)
    assert rows.min() > 12 - 1.5
    assert rows.max() < 18 + 1.5
    assert "FINDING" not in artwork_of(upload, body).layers


def test_inks_are_told_apart_by_colours_that_she_picks(tmp_path) -> None:
    """Posts on a sky under all: by colour alone the sky is no ink, but paper."""
    picture = Image.new("RGB", (400, 300), PALE)
    ImageDraw.Draw(picture).rectangle((100, 40, 219, 259), fill=DARK)
    body = {"corners": [0, 0, 400, 0, 400, 300, 0, 300], "size": SIZE, "inks": "2"}
    upload = _handed_in(tmp_path, _png(picture))
    with pytest.raises(InputError, match="fewer colours"):
        artwork_of(upload, body)
    both = artwork_of(upload, {**body, "picked": ["#acc6e5", "#1e212b"]})
    assert list(both.layers) == ["INK 1", "INK 2"]
    assert shapely.area(both.layers["INK 2"]).sum() == pytest.approx(12 * 22, rel=0.01)
    assert shapely.area(both.layers["INK 1"]).sum() > 0.7 * 1200
    with pytest.raises(InputError, match="hardly differ"):
        artwork_of(upload, {**body, "picked": ["#acc6e5", "#adc6e5"]})
    with pytest.raises(InputError, match="list of colours"):
        artwork_of(upload, {**body, "picked": "#acc6e5"})


def test_snow_that_is_not_chosen_waits_in_the_print_file_with_its_weather(tmp_path) -> None:
    """So the page can offer every weather of it, and no build has any."""
    upload = _handed_in(tmp_path, DRAWING)
    motifs = [{"motif": "snowload", "preset": "deep", "on": ["POST"]}, {"motif": "snowfall", "preset": "flurry"}]
    body = {"with": "drawing", "upload": 0, "name": "pier", "blocks": [{**BLOCK, "name": "key"}]}
    path = begun({**body, "motifs": [motifs[0], {**motifs[1], "grows": False}]}, [upload], SHELF, tmp_path)
    lies, falls = read_print(path, SHELF).motifs
    assert (lies.grows, falls.grows, falls.preset) == (True, False, "flurry")


def test_names_that_no_block_can_have_are_told_at_their_field(tmp_path) -> None:
    """An umlaut goes without its dots, as Unicode decomposes it; folders of a build; a device of Windows; twice."""
    report = names_as_files(["Grün", "inks", "lands", "con", "Pale sky", "pale-sky", "…"])
    assert [each["plain"] for each in report] == ["grun", "inks", "lands", "con", "pale-sky", "pale-sky", ""]
    assert [bool(one["fault"]) for one in report] == [False, True, True, True, False, True, True]
    for name in ("Grün", "con"):
        drawing = DRAWING.replace(b"POST", name.encode())
        layers = artwork_of(_handed_in(tmp_path, drawing), {}).layers
        assert not any(names_as_files([block["name"]])[0]["fault"] for block in guess(layers, (40, 30))["blocks"])
    for name in ("inks", "con"):
        with pytest.raises(InputError, match="name"):
            _begun(tmp_path, {"name": name})
    _, (table,) = _begun(tmp_path, {"name": "Grün"})
    assert table["name"] == "grun"
