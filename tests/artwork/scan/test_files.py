"""Every kind of picture file, good, bad and hostile: shapes, or a clear word; nothing else."""

from __future__ import annotations

import struct
import sys
import time
import warnings
import zlib
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from carvegen.artwork.scan import (
    ScanOptions,
    corners_from,
    ink_names,
    points_from,
    read_scan,
    reader,
)
from carvegen.artwork.scan.pixels import opened
from carvegen.artwork.scan.reader import seen_scan
from carvegen.base.errors import InputError
from tests.artwork.scan import synthetic as made
from tests.cli.running import run
from tests.strategies import MANY, few

TONE = np.full((120, 160), 240, np.uint8)
TONE[30:90, 40:120] = 20  # 80 x 60 pixels
AREA = 80 * 60 * (25.4 / 300) ** 2
DPI = {"dpi": (300, 300)}
SIZED = ScanOptions(dpi=300.0)


def image(mode: str) -> Image.Image:
    grey = Image.fromarray(TONE)
    if mode == "I;16":
        return Image.fromarray(TONE.astype(np.uint16) * 257)
    if mode == "I":
        return Image.fromarray(TONE.astype(np.int32) * 257)
    if mode == "F":
        return Image.fromarray(TONE.astype(np.float32) / 255)
    if mode in ("RGBA", "LA"):  # the paper is see-through, over black
        clear = Image.fromarray(np.where(TONE > 100, 0, TONE).astype(np.uint8)).convert(mode)
        clear.putalpha(Image.fromarray(np.where(TONE > 100, 0, 255).astype(np.uint8)))
        return clear
    if mode == "LAB":
        return Image.merge("LAB", [grey, Image.new("L", grey.size, 128), Image.new("L", grey.size, 128)])
    return grey.convert("RGB").convert(mode) if mode in ("CMYK", "YCbCr", "P") else grey.convert(mode)


@pytest.mark.parametrize(
    ("name", "mode"),
    few([
        *(("a.png", mode) for mode in ("1", "L", "LA", "P", "RGB", "RGBA", "I;16")),
        *(("a.jpg", mode) for mode in ("L", "RGB", "CMYK", "YCbCr")),
        *(("a.tif", mode) for mode in ("1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16", "I", "F", "LAB", "YCbCr")),
        *(("a.webp", mode) for mode in ("RGB", "RGBA")),
        ("a.gif", "P"), ("a.bmp", "RGB"),
    ], 9),
)  # fmt: skip
def test_every_mode_gives_the_same_shape(tmp_path, name, mode):
    path = tmp_path / name
    image(mode).save(path, **({"lossless": True} if name.endswith("webp") else {}))
    artwork = read_scan(path, SIZED)
    assert len(artwork.shapes) == 1
    assert shapely.area(artwork.shapes).sum() == pytest.approx(AREA, rel=0.01)


def test_a_phones_own_format_is_read(tmp_path):
    """HEIC, written by pillow-heif, lying on its side as a phone notes it (EXIF 2.3, tag 274): it comes upright."""
    import pillow_heif

    exif = Image.Exif()
    exif[274] = 6
    path = tmp_path / "photo.heic"
    turned = Image.fromarray(TONE).convert("RGB").transpose(Image.Transpose.ROTATE_90)
    pillow_heif.from_pillow(turned).save(path, quality=95, exif=exif.tobytes())
    artwork = read_scan(path, SIZED)
    assert shapely.area(artwork.shapes).sum() == pytest.approx(AREA, rel=0.02)
    assert artwork.width_mm == pytest.approx(160 / 300 * 25.4, rel=1e-3)


def test_without_that_package_it_is_told_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    path = tmp_path / "photo.heic"
    path.write_bytes(b"\x00\x00\x00\x18ftypheic" + bytes(40))
    with pytest.raises(InputError, match="HEIC") as caught:
        read_scan(path, SIZED)
    assert "carvegen[heic]" in caught.value.hint


@pytest.mark.parametrize("kind", ["png", "jpeg", "tiff", "bmp"])
def test_size_comes_from_the_file_whatever_its_name(tmp_path, kind):
    path = tmp_path / "a.scan"
    image("RGB").save(path, kind, **DPI)
    artwork = read_scan(path)
    assert artwork.width_mm == pytest.approx(160 / 300 * 25.4, rel=1e-3)
    assert any("size by the file's 300 dots per inch" in note for note in artwork.notes)


@pytest.mark.parametrize("dpi", [None, 1, 10, 72, 96, 20000])
def test_no_or_absurd_resolution_is_refused_and_can_be_said(tmp_path, dpi):
    path = tmp_path / "a.png"
    image("L").save(path, **({"dpi": (dpi, dpi)} if dpi else {}))
    with pytest.raises(InputError, match="does not say how large") as caught:
        read_scan(path)
    assert "dpi" in caught.value.hint
    assert str(dpi or "") in str(caught.value)
    assert read_scan(path, SIZED).true_size


def test_unequal_resolutions_are_followed(tmp_path):
    path = tmp_path / "fax.png"
    image("L").save(path, dpi=(200, 100))
    artwork = read_scan(path, ScanOptions(deskew=False))
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((160 / 200 * 25.4, 120 / 100 * 25.4), rel=1e-3)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_camera_that_was_held_sideways(tmp_path, orientation):
    """EXIF 2.3, tag 274; the reference is Pillow's own ImageOps.exif_transpose."""
    from PIL import ImageOps

    tone = TONE.copy()
    tone[5:15, 5:35] = 20  # one corner is marked
    exif = Image.Exif()
    exif[274] = orientation
    path = tmp_path / "a.png"
    Image.fromarray(tone).save(path, exif=exif, **DPI)
    upright = np.asarray(ImageOps.exif_transpose(Image.open(path))) < 100
    artwork = read_scan(path)
    rows, columns = np.nonzero(upright)
    px = 25.4 / 300
    want = np.array([columns.mean() + 0.5, upright.shape[0] - rows.mean() - 0.5]) * px
    middle = shapely.MultiPolygon(artwork.shapes.tolist()).centroid
    assert (middle.x, middle.y) == pytest.approx(tuple(want), abs=0.05)
    assert any("side is up" in note for note in artwork.notes) == (orientation != 1)


@pytest.mark.parametrize("name", ["a.tif", "a.gif", "a.webp"])
def test_of_several_pages_the_first_is_read_and_the_others_are_noted(tmp_path, name):
    path = tmp_path / name
    image("RGB").save(
        path, save_all=True, append_images=[Image.new("RGB", (160, 120), ink) for ink in ("black", "grey")]
    )
    artwork = read_scan(path, SIZED)
    assert shapely.area(artwork.shapes).sum() == pytest.approx(AREA, rel=0.02)
    assert "the file holds 3 pictures; the first is read" in artwork.notes


def chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def bomb(width: int, height: int) -> bytes:
    """A small PNG that says that it is large."""
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(1_000_000))) + chunk(b"IEND", b"")


def noise(side: int) -> np.ndarray:
    return np.random.Generator(np.random.PCG64(1)).integers(0, 256, (side, side), dtype=np.uint8)


NOISE = noise(500)
BAD = {
    "bomb": (bomb(12_000, 11_000), "at most 120 million pixels"),
    "larger bomb": (bomb(60_000, 60_000), "at most 120 million pixels"),
    "empty": (b"", "is empty"),
    "only a head": (b"\x89PNG\r\n\x1a\n", "broken"),
    "cut short": (made.data(NOISE)[:30_000], "cut short"),
    "jpeg cut short": (made.data(NOISE, "JPEG")[:30_000], "cut short"),
    "tiff cut short": (made.data(NOISE, "TIFF")[:30_000], "cut short|broken"),
    "tiny": (made.data(TONE[:5, :5]), "at least 8 pixels"),
    "white": (made.data(np.full((500, 500), 255, np.uint8)), "one even tone"),
    "black": (made.data(np.zeros((500, 500), np.uint8)), "one even tone"),
    "grained paper": (made.data((NOISE // 16 + 230).astype(np.uint8)), "one even tone"),
    "heic cut short": (b"\x00\x00\x00\x18ftypheic" + bytes(40), "broken|cut short"),
    "svg": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture but SVG"),
    "pdf": (b"%PDF-1.7", "is a PDF"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_get_a_clear_word_soon(tmp_path, name):
    content, said = BAD[name]
    path = tmp_path / "a.png"
    path.write_bytes(content)
    start = time.process_time()
    with pytest.raises(InputError, match=said) as caught:
        read_scan(path, SIZED)
    assert time.process_time() - start < 5
    assert caught.value.hint
    assert str(path) in caught.value.where


def test_a_picture_of_noise_is_answered_in_bounded_time(tmp_path):
    path = tmp_path / "noise.png"
    path.write_bytes(made.data(noise(1500 if MANY else 900)))
    start = time.process_time()
    with pytest.raises(InputError, match="grain"):
        read_scan(path, ScanOptions(dpi=300.0, speck_mm=50.0))
    assert time.process_time() - start < 10


def test_pillows_warnings_do_not_leak(tmp_path):
    """Pillow warns of a picture above 89 million pixels; ours is the only word on size."""
    path = tmp_path / "a.png"
    path.write_bytes(bomb(10_000, 10_000))
    with warnings.catch_warnings(record=True) as leaked, pytest.raises(InputError, match=r"cut short|broken"):
        warnings.simplefilter("always")
        read_scan(path, SIZED)
    assert not leaked


SEEDS = [
    made.data(TONE),
    made.data(TONE, "JPEG"),
    made.data(TONE, "TIFF", compression="tiff_lzw"),
    made.data(TONE, "WEBP"),
    made.data(TONE, "GIF"),
    made.data(np.dstack([TONE] * 3), "BMP"),
]


@settings(max_examples=120 if MANY else 20)
@given(
    seed=st.sampled_from(SEEDS),
    changes=st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), min_size=1, max_size=12),
    cut=st.integers(0, 400),
)
def test_mutated_pictures_give_shapes_or_a_clear_word(tmp_path_factory, seed, changes, cut):
    data = bytearray(seed)
    for place, value in changes:
        data[place % len(data)] = value
    path = Path(tmp_path_factory.getbasetemp()) / "mutated"
    path.write_bytes(bytes(data[: len(data) - cut] if cut < 200 else data))
    try:
        artwork = read_scan(path, SIZED)
    except InputError as error:
        assert error.hint
    else:
        assert shapely.is_valid(artwork.shapes).all()


SAID = {
    points_from: ["1 2 3 = 5mm", "1 2 3 4 = 5furlongs", "1 1 1 1 = 5mm", "1 2 30 4", "a b c d = 1mm", "1 2 30 4 = -5"],
    corners_from: ["1 2 3 4", "1 2 3 4 5 6 7", "found", "nan 1 2 3 4 5 6 7", ""],
    ink_names: ["0", "99", ""],
}


@pytest.mark.parametrize(("function", "text"), [(function, text) for function, texts in SAID.items() for text in texts])
def test_words_that_can_not_be_read_are_refused(function, text):
    with pytest.raises(InputError):
        ScanOptions(inks=result) if isinstance(result := function(text), tuple) and function is ink_names else None


@pytest.mark.parametrize(
    "wrong",
    [
        {"dpi": 5.0}, {"dpi": float("nan")}, {"speck_mm": -1.0}, {"threshold": 2.0}, {"view": "back"},
        {"inks": ("a", "A")},
        {"corners": "auto"}, {"size_mm": (10.0, 10.0)}, {"light": True, "inks": ("a", "b")}, {"inks": ("",)},
        {"tolerance_mm": float("inf")}, {"inks": ("a/b",)},
    ],
)  # fmt: skip
def test_settings_out_of_range_are_refused(wrong):
    with pytest.raises(InputError) as caught:
        ScanOptions(**wrong)
    assert caught.value.fields


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"corners": corners_from("1 1 2 2 3 3 4 4"), "size_mm": (10.0, 10.0)}, "four corners"),
        ({"corners": corners_from("0 0 900 0 900 90 0 90"), "size_mm": (10.0, 10.0)}, "160 x 120 pixels"),
        ({"corners": corners_from("0 0 160 0 160 120 0 120"), "size_mm": (12.0, 16.0)}, "does not fit"),
        ({"points": points_from("0 0 500 0 = 10mm")}, "in the picture"),
        ({"bar_mm": 100.0}, "no printed bar"),
        ({"inks": ("a", "b", "c", "d")}, "fewer colours"),
        ({"width_mm": 5000.0, "speck_mm": 50.0, "threshold": 0.01}, "no shape"),
    ],
)
def test_options_that_do_not_fit_the_picture(tmp_path, options, said):
    path = tmp_path / "a.png"
    path.write_bytes(made.data(TONE))
    with pytest.raises(InputError, match=said) as caught:
        read_scan(path, ScanOptions(**{"dpi": 300.0, **options}))
    assert caught.value.hint


def test_corners_without_any_block(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(made.data(NOISE[:300, :300]))
    with pytest.raises(InputError, match="four sides"):
        read_scan(path, ScanOptions(corners="auto", size_mm=(50, 50)))


def test_corners_that_are_not_found_are_asked_for_with_a_ruled_picture(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Image.fromarray(np.random.default_rng(1).integers(90, 160, (300, 400), np.uint8)).save("noise.png")
    ran = run(capsys, "read", "noise.png", "--size", "200x150", "--view", "block")
    assert ran.code == 2
    assert "read the corners off noise-corners.png, which counts the pixels" in ran.out + ran.err
    with Image.open("noise-corners.png") as ruled:
        assert ruled.size == (400, 300)


@pytest.mark.parametrize(("left", "view", "expected"), [(60, "print", True), (60, "block", False), (0, "print", False)])
def test_corners_that_may_be_the_sheets_are_told(tmp_path, left, view, expected):
    """A print with bare margins on a dark table: the sheet was taken for the picture, and all was a tenth too small."""
    pixels = np.full((800, 1000), 40, np.uint8)
    pixels[100:700, 100:900] = 235
    pixels[160:640, 100 + left : 840] = 130
    pixels[300:400, 300:500] = 235
    path = made.saved(tmp_path / "sheet.png", pixels)
    notes = read_scan(path, ScanOptions(corners="auto", size_mm=(80, 60), view=view)).notes
    assert any("bare paper lies along all four sides" in note for note in notes) is expected


#: A face of 60 x 40 mm with an opening of 20 x 10 mm, its left end 15 mm and its foot 10 mm from the lower left corner.
FACE_MM, OPENING = (60.0, 40.0), shapely.box(15, 10, 35, 20)


@pytest.mark.parametrize(("wide", "smaller"), [(1500, 2), (540, 1)])
@pytest.mark.parametrize(("marked", "kind"), [(True, "jpg"), (False, "jpg"), (False, "png")])
def test_a_large_photograph_is_read_no_finer_than_its_face_needs(tmp_path, monkeypatch, wide, smaller, marked, kind):
    """Where things lie is closed form; a face that is small in its picture is read in all its pixels."""
    x0, y0, scale = 200, 150, wide / FACE_MM[0]
    pixels = np.full((1500, 2000), 225, np.uint8)
    pixels[y0 : y0 + round(40 * scale), x0 : x0 + wide] = 50
    left, top, right, foot = (round(value * scale) for value in (15, 20, 35, 30))
    pixels[y0 + top : y0 + foot, x0 + left : x0 + right] = 225
    path = made.saved(tmp_path / f"large.{kind}", pixels, quality=95)
    there = ((x0, y0), (x0 + wide, y0), (x0 + wide, y0 + 40 * scale), (x0, y0 + 40 * scale))
    looked = []
    monkeypatch.setattr(reader, "opened", lambda *args, **more: looked.append(opened(*args, **more)) or looked[-1])
    artwork = read_scan(path, ScanOptions(corners=there if marked else "auto", size_mm=FACE_MM, even=False))
    assert looked[-1].smaller == smaller
    land = shapely.box(0, 0, *FACE_MM).difference(OPENING)
    assert shapely.hausdorff_distance(shapely.union_all(artwork.shapes).boundary, land.boundary, 0.1) < 0.2
    said = [float(word) for note in artwork.notes if "corners were found" in note for word in note.split()[-8:]]
    assert marked or said == pytest.approx(np.ravel(there), abs=2)  # in pixels of the file


def test_the_picture_of_a_block_is_shown_as_its_outlines_lie(tmp_path):
    """A bar at the left of the block prints at the right; so it lies in the picture that is shown beside."""
    block = Image.new("L", (300, 200), 240)
    block.paste(20, (30, 40, 90, 160))
    block.save(tmp_path / "block.png", dpi=(254, 254))
    for view, left in (("block", 210), ("print", 30)):
        artwork, picture = seen_scan(tmp_path / "block.png", ScanOptions(view=view))
        columns = np.flatnonzero((np.asarray(picture) < 128).any(axis=0))
        assert columns[[0, -1]].tolist() == [left, left + 59]
        assert shapely.total_bounds(artwork.shapes)[[0, 2]] * 10 == pytest.approx([left, left + 60], abs=0.5)
