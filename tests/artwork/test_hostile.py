"""Bad and hostile files: an InputError with place and remedy, soon, and nothing else."""

from __future__ import annotations

import contextlib
import time
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from carvegen.artwork import bounds, read
from carvegen.base.errors import InputError
from tests.strategies import MANY

SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
    b'width="90mm" height="90mm" viewBox="0 0 90 90">'
)
RNG = np.random.Generator(np.random.PCG64(7))
BOX = b'<rect width="9" height="9"/>'


@contextlib.contextmanager
def refused(said: str, *, within_s: float = 5.0):
    start = time.process_time()
    with pytest.raises(InputError, match=said) as caught:
        yield
    assert time.process_time() - start < within_s
    assert caught.value.hint
    assert caught.value.exit_code == 2


def saved(tmp_path: Path, data: bytes, name: str = "a.svg") -> Path:
    path = tmp_path / name
    path.write_bytes(data)
    return path


#: Files that only their size makes bad are smaller by so much, and so are the caps; as they are where there is time.
LESS = 1 if MANY else 100
CAPS = {name: value // LESS for name, value in {"MAX_ELEMENTS": 400_000, "MAX_POINTS": 5_000_000}.items()}
STROKES = round(6_000 / LESS**0.5)  #: they cross one another by their square
LARGE = ("many elements", "many numbers", "scribble")
FILES = {
    "empty": (b"", "is empty"),
    "blank": (b" \n\n ", "is empty"),
    "junk": (bytes(RNG.integers(128, 256, 5000, dtype=np.uint8)), "neither an SVG nor a DXF"),
    "png": (b"\x89PNG\r\n\x1a\n" + bytes(99), "made of dots, but is broken"),
    "pdf": (b"%PDF-1.7 ...", "is a PDF"),
    "svgz": (b"\x1f\x8b\x08" + bytes(99), "is compressed"),
    "text": (b"once upon a time", "neither an SVG nor a DXF"),
    "cut short": (SVG + b'<path d="M0 0L5', "whole, well-formed XML"),
    "html": (b"<!DOCTYPE html><html><body/></html>", "no SVG drawing"),
    "nul": (b"<svg>\x00\x00</svg>", "whole, well-formed XML"),
    "strange encoding": (b'<?xml version="1.0" encoding="klingon"?><svg/>', "encoding|well-formed"),
    "laughs": (
        b'<!DOCTYPE svg [<!ENTITY a "ha">'
        + b"".join(b'<!ENTITY %c "%s">' % (98 + k, b"&%c;" % (97 + k) * 10) for k in range(20))
        + b"]>" + SVG + b"<title>&u;</title></svg>",
        "unfolds without bound",
    ),
    "long abbreviation": (
        b'<!DOCTYPE svg [<!ENTITY a "' + b"1 " * 4500 + b'">]>' + SVG + b'<path d="M' + b"&a;" * 100_000 + b'"/></svg>',
        "unfolds without bound",
    ),
    "outside entity": (
        b'<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]>' + SVG + b"<title>&a;</title></svg>",
        "outside the file",
    ),
    "parameter entity": (b'<!DOCTYPE svg [<!ENTITY % a "x">]>' + SVG + b"</svg>", "outside the file"),
    "defaults": (b'<!DOCTYPE svg [<!ATTLIST g d CDATA "M0 0">]>' + SVG + b"</svg>", "declares a default"),
    "deep": (SVG + b"<g>" * 10_000 + BOX + b"</g>" * 10_000 + b"</svg>", "groups inside groups"),
    "many elements": (SVG + b"<g/>" * (450_000 // LESS) + b"</svg>", f"at most {CAPS['MAX_ELEMENTS']} elements"),
    "many numbers": (
        SVG + b'<path d="M' + b"1 2 " * (5_500_000 // LESS) + b'"/></svg>', f"at most {CAPS['MAX_POINTS']} points",
    ),
    "use bomb": (
        SVG + b'<g id="a0">' + BOX + b"</g>"
        + b"".join(b'<g id="a%d">' % k + b'<use xlink:href="#a%d"/>' % (k - 1) * 10 + b"</g>" for k in range(1, 12))
        + b"</svg>",
        "more than 200000 elements",
    ),
    "use of itself": (SVG + b'<symbol id="a"><use href="#a"/></symbol><use href="#a"/></svg>', "contains itself"),
    "scribble": (
        SVG + b'<path d="M' + b" ".join(b"%d %d" % (x, y) for x, y in RNG.integers(0, 90000, (STROKES, 2)))
        + b'" transform="scale(.001)"/></svg>',
        "far too often",
    ),
    "scribbled line": (SVG + b'<circle r="4e300"/></svg>', "points|kilometres"),
    "huge scale": (SVG + b'<g transform="scale(1e300) scale(1e300)">' + BOX + b"</g></svg>", "transform|measure"),
    "no size": (SVG.replace(b"90mm", b"0mm") + BOX + b"</svg>", "larger than 0"),
    "huge page": (SVG.replace(b"90mm", b"9e9mm") + BOX + b"</svg>", "at most 5000 mm"),
    "odd viewBox": (SVG.replace(b"0 0 90 90", b"0 0 nan 0") + BOX + b"</svg>", "viewBox"),
    "tiny": (SVG + b'<rect width="1e-9" height="1e-9"/></svg>', "no shape with an area"),
    "flat": (SVG + b'<path d="M0 0L9 9 3 3z"/></svg>', "no shape with an area"),
}  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_a_bad_file_is_refused_soon(tmp_path, monkeypatch, name) -> None:
    data, said = FILES[name]
    for cap, value in CAPS.items() if name in LARGE else ():
        assert getattr(bounds, cap) == value * LESS
        monkeypatch.setattr(bounds, cap, value)
    path = saved(tmp_path, data)
    with refused(said, within_s=8):
        read(path)


@pytest.mark.parametrize("name", ["gone.svg", "folder", "a" * 300, "nul\x00.svg"])
def test_what_is_no_file_is_refused(tmp_path, name) -> None:
    (tmp_path / "folder").mkdir()
    with refused("is not there|is a folder|can't be opened"):
        read(tmp_path / name)


def test_a_device_is_refused() -> None:
    with refused("is no file"):
        read(Path("/dev/zero"))


def test_a_file_that_may_not_be_read_is_refused(tmp_path, monkeypatch) -> None:
    def locked(self):
        raise PermissionError(13, "Permission denied")

    path = saved(tmp_path, SVG + BOX + b"</svg>")
    monkeypatch.setattr(Path, "read_bytes", locked)  # root may read everything, so chmod proves nothing
    with refused("Permission denied"):
        read(path)


def test_a_huge_file_is_not_opened(tmp_path) -> None:
    path = tmp_path / "a.svg"
    with path.open("wb") as out:
        out.truncate(10**10)
    with refused("at most 400 MB", within_s=0.5):
        read(path)


def test_a_short_abbreviation_is_fine(tmp_path) -> None:
    data = b'<!DOCTYPE svg [<!ENTITY w "9">]>' + SVG + b'<rect width="&w;" height="9"/></svg>'
    assert len(read(saved(tmp_path, data)).shapes) == 1


def test_a_wrong_ending_is_said(tmp_path) -> None:
    artwork = read(saved(tmp_path, SVG + BOX + b"</svg>", "a.dxf"))
    assert any("named .dxf but holds SVG" in note for note in artwork.notes)


def test_other_encodings_are_read(tmp_path) -> None:
    text = (
        '<?xml version="1.0" encoding="utf-16"?>' + (SVG + '<g id="schnee é">'.encode() + BOX + b"</g></svg>").decode()
    )
    assert list(read(saved(tmp_path, text.encode("utf-16"))).layers) == ["schnee é"]


def _dxf(tmp_path: Path, version: str = "R2000") -> bytes:
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    document.blocks.new("DOT").add_circle((0, 0), 1)
    if version != "R12":
        space.add_lwpolyline([(0, 0, 1), (9, 0, 0), (9, 9, 0)], format="xyb", close=True)
        space.add_ellipse((50, 50), major_axis=(20, 10), ratio=0.4)
        space.add_spline().set_closed([(0, 0, 0), (40, 0, 0), (50, 30, 0), (20, 50, 0)])
        space.add_hatch().paths.add_polyline_path([(0, 0), (3, 0), (3, 3)], is_closed=True)
    space.add_polyline2d([(0, 0), (9, 0), (9, 5)], close=True)
    space.add_blockref("DOT", (5, 5)).grid((2, 2), (10, 20))
    space.add_text("UNITS=MM")
    path = tmp_path / "seed.dxf"
    document.saveas(path)
    return path.read_bytes()


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.99])
def test_a_cut_dxf_is_refused(tmp_path, share) -> None:
    data = _dxf(tmp_path)
    with refused("whole DXF|unit|no shape|neither"):
        read(saved(tmp_path, data[: int(len(data) * share)], "a.dxf"))


def _mutated(data: bytes, changes: list[tuple[float, int, bytes]]) -> bytes:
    for where, cut, new in changes:
        at = int(where * len(data))
        data = data[:at] + new + data[at + cut :]
    return data


CHANGES = st.lists(
    st.tuples(st.floats(0, 1), st.integers(0, 12), st.one_of(
        st.binary(max_size=4),
        st.sampled_from([b"1e999", b"-1", b"nan", b"0", b"<g>", b"</g>", b'"', b"999999999", b"z", b"\n"]),
    )), min_size=1, max_size=6,
)  # fmt: skip
SEED_SVG = (
    SVG + b"<style>.a{fill:none;stroke:red}</style>"
    b'<g id="one" transform="rotate(3) scale(1.5 1)"><title>one</title>'
    b'<path d="M1 1c3 4 5 6 7 8s3 4 5 6q1 2 3 4t5 6a3 4 5 0 1 6 7z"/>'
    b'<circle class="a" cx="20" cy="20" r="5" stroke-width="2"/><rect x="1" y="2" width="9" height="8" rx="2"/></g>'
    b'<symbol id="s" viewBox="0 0 10 10"><ellipse cx="5" cy="5" rx="3" ry="2"/></symbol>'
    b'<use href="#s" x="3" width="20" height="20"/>'
    b'<polygon points="1,2 30,4 5,60" fill-rule="evenodd"/>'
    b'<polyline points="1,2 3,4" style="stroke:black;stroke-linejoin:round"/></svg>'
)


def _survives(path: Path) -> None:
    start = time.process_time()
    with contextlib.suppress(InputError):
        artwork = read(path)
        assert len(artwork.shapes)
    assert time.process_time() - start < 20


@given(CHANGES)
@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_mutated_svg_raises_nothing_else(tmp_path_factory, changes) -> None:
    _survives(saved(tmp_path_factory.mktemp("f"), _mutated(SEED_SVG, changes)))


@pytest.mark.parametrize("version", ["R12", "R2000"])
def test_a_mutated_dxf_raises_nothing_else(tmp_path_factory, version) -> None:
    seed = _dxf(tmp_path_factory.mktemp("seed"), version)
    entities = seed.index(b"ENTITIES") / len(seed)

    @given(CHANGES, st.booleans())
    @settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.too_slow])
    def runs(changes, late) -> None:
        if late:
            changes = [(entities + where * (1 - entities), cut, new) for where, cut, new in changes]
        _survives(saved(tmp_path_factory.mktemp("f"), _mutated(seed, changes), "a.dxf"))

    runs()


@given(st.binary(max_size=300))
@settings(deadline=None)
def test_any_bytes_raise_nothing_else(tmp_path_factory, data) -> None:
    for start in (b"", b"<svg ", b"  0\nSECTION\n  2\nENTITIES\n"):
        _survives(saved(tmp_path_factory.mktemp("f"), start + data))
