"""Coverage-guided fuzzing of the readers, by atheris (``pip install atheris``); run by hand, outside the suite.

python -m tests.bench.fuzz svg|dxf|scan|words SECONDS [CORPUS]

Anything but shapes or an `InputError` with a hint, and any input that takes longer than `SLOW_S`, is a find: its bytes
are kept in the corpus folder and the run goes on. DXF files are mutated as what they are, pairs of a group code and
a value, beginning with drawings that ezdxf writes; the others as bytes, with a dictionary of the formats' words.
"""

from __future__ import annotations

import io
import random  # noqa: TID251  the fuzzer hands in a seed of its own
import sys
import tempfile
import time
import traceback
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["carvegen", "ezdxf.path", "fontTools.svgLib", "tinycss2", "cssselect2"]):
    from carvegen.artwork import read
    from carvegen.artwork.place import place
    from carvegen.artwork.svg import read_svg
    from carvegen.base.errors import InputError

import ezdxf
import shapely
from PIL import Image

SLOW_S = 20.0
_NUMBERS = [
    "0",
    "1",
    "-1",
    "1e308",
    "-1e308",
    "nan",
    "inf",
    "1e-300",
    "0.5",
    "2147483648",
    "-5",
    "90",
    "65535",
    "x",
    "",
]
_SVG = [
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40"><defs><clipPath id="c" '
    'clipPathUnits="objectBoundingBox"><circle cx=".5" cy=".5" r=".4"/></clipPath><symbol id="s" viewBox="0 0 5 5">'
    '<rect width="4" height="4" rx="1"/></symbol></defs><g id="a" clip-path="url(#c)" transform="rotate(9) scale(2)">'
    '<path d="M1 1h9v9a3 4 9 0 1-5 2q3 4 5 6t1 1c1 2 3 4 5 6s7 8 9 9zM3 3l2 2"/><use href="#s" x="9"/></g></svg>',
    '<svg xmlns="http://www.w3.org/2000/svg" width="10cm" height="5cm"><style>.k{stroke:#000;stroke-width:2;fill:none;'
    "stroke-dasharray:3 1;stroke-linejoin:round}g>path{fill-rule:evenodd}</style><g>"
    '<polyline class="k" points="1,1 9 4"/><ellipse rx="4" ry="7" cx="30" cy="30" '
    'vector-effect="non-scaling-stroke" class="k"/></g>'
    '<svg x="5" y="5" width="50%" height="20" preserveAspectRatio="xMinYMax slice" viewBox="0 0 3 9"><polygon '
    'points="0 0 3 9 3 0"/></svg></svg>',
]


def dxf_seeds() -> list[bytes]:
    """Drawings with every entity that is read, written by ezdxf."""
    result = []
    for version in ("R12", "R2000", "R2010"):
        document = ezdxf.new(version)
        document.header["$INSUNITS"] = 4
        space, block = document.modelspace(), document.blocks.new("B")
        block.add_circle((0, 0), 2)
        block.add_lwpolyline([(0, 0, 0, 0, 0.5), (3, 0), (3, 3)], close=True) if version != "R12" else None
        space.add_blockref("B", (9, 9), dxfattribs={"xscale": -2, "yscale": 1.5, "rotation": 30, "row_count": 2})
        space.add_line((0, 0), (5, 0))
        space.add_line((5, 0), (5, 5))
        space.add_arc((2.5, 5), 2.5, 0, 180)
        space.add_line((0, 5), (0, 0))
        space.add_polyline2d([(20, 0), (30, 0), (30, 9)], close=True)
        if version != "R12":
            space.add_ellipse((40, 5), (5, 0), 0.4)
            space.add_spline([(50, 0), (55, 3), (58, 9), (50, 0)])
            hatch = space.add_hatch()
            hatch.paths.add_polyline_path([(0, 20), (9, 20, 0.3), (9, 29)], is_closed=True)
            edges = hatch.paths.add_edge_path()
            edges.add_ellipse((20, 25), (4, 0), 0.5, 0, 360)
        out = io.StringIO()
        document.write(out)
        result.append(out.getvalue().encode())
    return result


def picture_seeds() -> list[bytes]:
    """A square in every format that is read."""
    image, result = Image.new("L", (40, 30), 240), []
    image.paste(20, (8, 6, 30, 22))
    for kind in ("PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP"):
        out = io.BytesIO()
        image.save(out, kind)
        result.append(out.getvalue())
    return result


def pairs_mutated(data: bytes, most: int, seed: int) -> bytes:
    """A DXF with some of its pairs changed, dropped, doubled, moved or spliced from elsewhere in it."""
    rng, lines = random.Random(seed), data.decode("latin-1").splitlines()
    pairs = [lines[k : k + 2] for k in range(0, len(lines) - 1, 2)]
    first = next((k for k, pair in enumerate(pairs) if pair[-1].strip() in ("BLOCKS", "ENTITIES")), 0)
    for _ in range(rng.randint(1, 6)):
        if len(pairs) < 4:
            break
        at, kind = rng.randrange(min(first, len(pairs) - 1), len(pairs)), rng.randrange(7)
        if kind == 0:
            pairs[at] = [pairs[at][0], rng.choice(_NUMBERS)]
        elif kind == 1:
            pairs[at] = [
                str(rng.choice([0, 2, 5, 8, 10, 11, 20, 30, 40, 41, 42, 50, 70, 71, 72, 91, 92, 93, 210, 330])),
                pairs[at][1],
            ]
        elif kind == 2:
            del pairs[at]
        elif kind == 3:
            pairs[at:at] = pairs[rng.randrange(len(pairs)) :][: rng.randint(1, 30)]
        elif kind == 4:
            pairs[at] = [pairs[at][0], rng.choice(pairs)[1]]
        elif kind == 5:
            other = rng.randrange(len(pairs))
            pairs[at], pairs[other] = pairs[other], pairs[at]
        else:
            pairs[at] = [pairs[at][0], f"{rng.gauss(0, 1) * 10 ** rng.randint(-3, 6):.6g}"]
    return "\n".join("\n".join(pair) for pair in pairs).encode("latin-1")[:most] + b"\n"


class Target:
    """What is called with each input; counts, and keeps finds."""

    def __init__(self, kind: str, corpus: Path) -> None:
        self.kind, self.corpus = kind, corpus
        self.done, self.shapes, self.finds = 0, 0, dict[str, str]()
        self.file = Path(tempfile.mkdtemp()) / "fuzzed"

    def __call__(self, data: bytes) -> None:
        self.done += 1
        begin = time.process_time()
        try:
            self.work(data)
            self.shapes += 1
        except InputError as error:
            if not str(error):
                self.found("an error without words", data)
        except Exception as error:
            where = traceback.extract_tb(error.__traceback__)[-1]
            self.found(f"{type(error).__name__} at {Path(where.filename).name}:{where.lineno}: {str(error)[:80]}", data)
        if time.process_time() - begin > SLOW_S:
            self.found(f"slow: {time.process_time() - begin:.0f} s", data)

    def work(self, data: bytes) -> None:
        """Read it."""
        if self.kind == "svg":
            shapes = read_svg(data).shapes
        elif self.kind == "words":
            shapes = place(data.decode("utf-8", "replace"), width_mm=60, height_mm=40).shapes
        else:
            self.file.write_bytes(data)
            shapes = read(self.file, units="mm" if self.kind == "dxf" else None).shapes
        assert shapely.is_valid(shapes).all(), "shapes that are not valid"

    def found(self, what: str, data: bytes) -> None:
        """Keep a find, once for each place in the code."""
        if what not in self.finds:
            name = self.corpus / f"find-{len(self.finds)}"
            name.write_bytes(data)
            self.finds[what] = str(name)
            print(f"FIND {what} -> {name}", flush=True)


def main(kind: str, seconds: str, corpus: str = "") -> None:
    folder = Path(corpus or tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    seeds = {"svg": [text.encode() for text in _SVG], "dxf": dxf_seeds(), "scan": picture_seeds(),
             "words": [b"box 1 2 3 4", b"circle 20 20 5mm", b"ellipse 1cm 2 3IN 4"]}[kind]  # fmt: skip
    inputs = Path(tempfile.mkdtemp())
    for k, seed in enumerate(seeds):
        (inputs / f"seed-{k}").write_bytes(seed)
    target = Target(kind, folder)
    options = [
        sys.argv[0],
        str(inputs),
        f"-max_total_time={seconds}",
        "-max_len=60000",
        "-rss_limit_mb=3000",
        "-timeout=120",
    ]
    how = {"custom_mutator": pairs_mutated} if kind == "dxf" else {}
    atheris.Setup(options, target, **how)
    atheris.Fuzz()


if __name__ == "__main__":
    main(*sys.argv[1:])
