"""Marking sheets coloured and photographed: the delivered PDF drawn by PDFium, strokes by several models of pencils.

Models of a stroke's light, none of them the reader's alone: optical densities (Beer and Lambert), an opaque pencil
that covers by area, a waxy one that breaks on the paper's tooth, and a layer that scatters (Kubelka and Munk, the
formula for a layer on a ground; from memory). All drawn in linear light; lengths in mm on the paper, y up.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache

import numpy as np
import pypdfium2
import shapely
from PIL import Image, ImageDraw
from scipy import ndimage

from carvegen.artwork.scan.frame import homography
from carvegen.artwork.scan.pixels import ScanPicture
from carvegen.base.colour import Ink, from_cielab, linear, screen
from carvegen.delivery.step_keys import digest
from carvegen.marking.marks import Meaning
from carvegen.marking.pencil.layout import Format, MarkingSheet, SheetPage
from carvegen.marking.pencil.sheet_reading import PageRead, read_page
from carvegen.writers.whole_print.marking_sheet import marking_sheet_pdf
from carvegen.writers.whole_print.print_png import Coat
from tests.cases import once

PENCILS = {  # CIELAB of full cover; our own
    "red": (48, 58, 36), "blue": (42, 0, -46), "green": (50, -42, 28), "orange": (66, 40, 62), "violet": (40, 34, -38),
    "yellow": (86, -2, 78), "pale blue": (76, -12, -24), "pale rose": (78, 28, 6), "pale green": (80, -30, 24),
    "pale yellow": (90, -4, 48), "graphite": (35, 0, -1),
}  # fmt: skip
FOUR = ("red", "blue", "green", "orange")
MEANT = (Meaning.COMES_OUT, Meaning.STAYS, Meaning.CARVER_DECIDES, Meaning.MORE)


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """An area that is hatched."""

    pencil: int  #: number of the box
    shape: shapely.Polygon  #: mm of the print
    press: float = 0.7
    pitch: float = 1.3
    angle: float = 0.6
    breadth: float = 0.8


@dataclass(frozen=True, kw_only=True)
class Case:
    """A coloured sheet and how it is seen."""

    strokes: tuple[Stroke, ...]
    colours: tuple[str | tuple[float, float, float], ...] = FOUR
    boxes: tuple[int, ...] | None = None  #: which boxes are scribbled in: those of the colours
    model: str = "density"
    models: Mapping[int, str] = field(default_factory=dict)  #: of boxes whose pencil is of another kind
    tint: tuple[float, float, float] = (0.955, 0.945, 0.915)
    how: str = "photo"
    shadow: bool = False
    crease: bool = False
    halftone: bool = False
    lens: float = 0.0
    blur: float = 0.9
    seed: int = 1
    dpi: float = 300.0
    size: tuple[int, int] = (4032, 3024)  #: of a photograph, lying
    upside_down: bool = False
    page: int = 1
    name: str = field(default="trial")


# ── the sheet ────────────────────────────────────────────────────────────────────────────────────────────────────


def scene(width: float = 200.0, height: float = 150.0, *, flakes_cm2: float = 4.0) -> dict[str, Coat]:
    """A sky with flakes, water, a jetty and posts: three blocks; drawn by us."""
    rng = np.random.default_rng(5)
    flakes = round(flakes_cm2 * width * height / 100)
    at, radius = rng.uniform((0, 0), (width, height), (flakes, 2)), rng.uniform(0.4, 2.2, flakes)
    snow = shapely.union_all(shapely.buffer(shapely.points(at), radius, quad_segs=3))
    face = shapely.box(0, 0, width, height)
    water = shapely.box(0, 0, width, 0.35 * height)
    posts = shapely.union_all([
        *(shapely.box(x, 0, x + 9, 0.62 * height) for x in np.arange(0.1, 1, 0.22) * width),
        shapely.box(0, 0.3 * height, 0.7 * width, 0.36 * height),
    ])  # fmt: skip
    inks = (Ink(colour=(169, 191, 203), opacity=0.2), Ink(colour=(106, 135, 153), opacity=0.3),
            Ink(colour=(31, 43, 61), opacity=0.7))  # fmt: skip
    lands = (face, water, posts)
    return {name: Coat(ink=ink, land=shapely.intersection(face, shapely.difference(land, snow)))
            for name, ink, land in zip(("sky", "tone", "key"), inks, lands, strict=True)}  # fmt: skip


@cache
def printed(sheet: MarkingSheet, paper: str = "A4") -> bytes:
    """The sheet's PDF, of the scene; made once in a run of the tests."""
    return once(("marking sheet", sheet, paper), lambda: printed_afresh(sheet, paper))


def printed_afresh(sheet: MarkingSheet, paper: str) -> bytes:
    left, bottom, right, top = sheet.window
    return marking_sheet_pdf(sheet, (251, 250, 246), scene(right - left, top - bottom), paper)


@cache
def grey_page(sheet: MarkingSheet, page: int, dpi: float, *, halftone: bool = False) -> np.ndarray:
    """The printed page in shares of light; (height, width)."""
    return once(("grey page", sheet, page, dpi, halftone), lambda: _grey_page(sheet, page, dpi, halftone=halftone))


def _grey_page(sheet: MarkingSheet, page: int, dpi: float, *, halftone: bool) -> np.ndarray:
    document = pypdfium2.PdfDocument(printed(sheet))
    grey = np.asarray(document[page - 1].render(scale=dpi / 72, grayscale=True).to_pil().convert("L"))
    document.close()
    light = _true_to_size(linear(grey.astype(float)), sheet.best("A4").size, dpi / 25.4)
    if halftone:
        waves = [np.cos(2 * np.arange(n) / dpi * 25.4 * 2 * np.pi * 3.4 / 2**0.5) for n in grey.shape]
        screened = light > 0.5 - 0.25 * (waves[0][:, None] + waves[1])  # cos(x + y) cos(x - y) = (cos 2x + cos 2y) / 2
        light = np.where((light > 0.3) & (light < 0.98), screened, light)
        light = ndimage.gaussian_filter(light, 0.7)
    return np.clip(light, 0.03, 1.0).astype(np.float32)


def _true_to_size(light: np.ndarray, size: tuple[float, float], px: float) -> np.ndarray:
    """PDFium draws a page to whole pixels: here a millimetre has as many as said."""
    for high in (size[1], size[0]):
        n = len(light)
        at = np.clip((np.arange(n) + 0.5) / px * n / high - 0.5, 0, n - 1)
        low = np.minimum(at.astype(int), n - 2)
        share = (at - low)[:, None]
        light = ((1 - share) * light[low] + share * light[low + 1]).T
    return light


# ── pencils ──────────────────────────────────────────────────────────────────────────────────────────────────────


def _glaze(under: np.ndarray, take: np.ndarray, pigment: np.ndarray) -> np.ndarray:
    return under * np.exp(np.log(pigment) * take[..., None])


def _opaque(under: np.ndarray, take: np.ndarray, pigment: np.ndarray) -> np.ndarray:
    share = np.clip(take, 0, 0.95)[..., None]
    return (1 - share) * under + share * pigment


def _waxy(under: np.ndarray, take: np.ndarray, pigment: np.ndarray) -> np.ndarray:
    share = (1 / (1 + np.exp(-(take - 0.42) / 0.07)))[..., None] * np.minimum(take[..., None] * 8, 1)
    return (1 - share) * under + share * pigment * (0.75 + 0.25 * under)


def _scattering(under: np.ndarray, take: np.ndarray, pigment: np.ndarray) -> np.ndarray:
    """R of a layer of thickness x on a ground g: (1 - g (a - b coth bSx)) / (a - g + b coth bSx), a = 1 + K/S."""
    a = 1 + (1 - pigment) ** 2 / (2 * pigment)
    b = np.sqrt(a**2 - 1)
    c = b / np.tanh(np.maximum(b * 0.6 * take[..., None], 1e-4))
    return (1 - under * (a - c)) / (a - under + c)


MODELS: dict[str, Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]] = {
    "density": _glaze, "opaque": _opaque, "waxy": _waxy, "scattering": _scattering,
}  # fmt: skip


def blob(x: float, y: float, rx: float, ry: float, seed: int = 0) -> shapely.Polygon:
    rng = np.random.default_rng(seed)
    a = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    r = 1 + 0.14 * np.cos(2 * a + rng.uniform(0, 6)) + 0.08 * np.cos(3 * a + rng.uniform(0, 6))
    return shapely.Polygon(np.column_stack([x + rx * r * np.cos(a), y + ry * r * np.sin(a)]))


def _lay(each: Stroke, shape: shapely.Polygon, px: float, high: float, rng: np.random.Generator) -> tuple:
    """How much lead lies where in the piece around a shape (mm on the paper), and which piece; a wandering hand."""
    left, bottom, right, top = shape.bounds
    mid, far = np.array([(left + right) / 2, (bottom + top) / 2]), np.hypot(right - left, top - bottom) / 2
    c, s = np.cos(each.angle), np.sin(each.angle)
    offs = np.arange(-far, far, each.pitch)
    offs = offs + rng.normal(0, 0.13 * each.pitch, len(offs))
    t = np.linspace(-far, far, 40)
    bow, tilt = rng.normal(0, 0.25, len(offs)), rng.normal(0, 0.015, len(offs))
    across = offs[:, None] + bow[:, None] * (1 - (t / far) ** 2) + tilt[:, None] * t
    xy = mid + t[None, :, None] * np.array([c, s]) + across[..., None] * np.array([-s, c])
    pieces = shapely.get_parts(shapely.intersection(shapely.linestrings(xy), shape))
    pieces = pieces[(shapely.get_type_id(pieces) == 1) & (shapely.length(pieces) > 0.5)]
    x0, y0 = int((left - 3) * px), int((high - top - 3) * px)
    size = (int((right - left + 6) * px), int((top - bottom + 6) * px))
    sheets = [Image.new("L", size, 0) for _ in range(2)]
    drawn = [ImageDraw.Draw(sheet) for sheet in sheets]
    for k, piece in enumerate(pieces):
        line = np.array(piece.coords)
        line[0] += rng.normal(0, 0.3, 2) * (c, s)
        line[-1] += rng.normal(0, 0.3, 2) * (c, s)
        there = np.column_stack([line[:, 0] * px - x0, (high - line[:, 1]) * px - y0])
        press = each.press * rng.uniform(0.8, 1.15)
        drawn[k % 2].line([tuple(p) for p in there], fill=int(255 * min(press, 1)),
                          width=max(1, round(each.breadth * px * rng.uniform(0.85, 1.15))))  # fmt: skip
    one, other = (np.asarray(sheet, dtype=np.float32) / 255 for sheet in sheets)
    return (
        ndimage.gaussian_filter(1 - (1 - one) * (1 - other), 0.05 * px),
        slice(y0, y0 + size[1]),
        slice(x0, x0 + size[0]),
    )


@lru_cache(maxsize=1)
def _grain(seed: int, shape: tuple[int, ...], px: float) -> tuple[np.ndarray, np.ndarray, dict]:
    """Of a paper, fine and all in all, and the state of its numbers after it."""
    rng = np.random.default_rng(seed)
    fine, tooth = (ndimage.gaussian_filter(rng.standard_normal(shape, dtype=np.float32), s * px) for s in (0.09, 0.22))
    fine /= fine.std()
    return fine, 0.6 * fine + 0.8 * tooth / tooth.std(), rng.bit_generator.state


def coloured(case: Case, sheet: MarkingSheet) -> tuple[np.ndarray, Format, SheetPage]:
    """The coloured page in shares of light; (height, width, 3)."""
    form = sheet.best("A4")
    page = sheet.pages(form)[case.page - 1]
    px, high = case.dpi / 25.4, form.size[1]
    grey = grey_page(sheet, case.page, case.dpi, halftone=case.halftone)
    rng = np.random.default_rng(case.seed)
    fine, grain, rng.bit_generator.state = _grain(case.seed, grey.shape, px)
    light = (grey * (1 + 0.006 * fine))[..., None] * np.array(case.tint, dtype=np.float32)
    boxes = []
    for k in range(len(case.colours)) if case.boxes is None else case.boxes:
        box = form.boxes[k]
        for half, press, pitch in ((box.firm, 0.9, 0.8), (box.light, 0.4, 1.0)):
            boxes.append((Stroke(pencil=k, shape=shapely.box(*half).buffer(0.4), press=press, pitch=pitch), (0.0, 0.0)))
    here = [dataclasses.replace(stroke, shape=stroke.shape & shapely.box(*page.shown)) for stroke in case.strokes]
    for each, move in [*boxes, *((one, page.origin) for one in here if one.shape.area > 1)]:
        colour = case.colours[each.pencil]
        lab = np.array(PENCILS[colour] if isinstance(colour, str) else colour, dtype=float)
        pigment = np.clip(linear(from_cielab(lab)), 0.015, 0.99)
        shape = shapely.transform(each.shape, lambda xy, move=move: xy + move)
        lay, rows, columns = _lay(each, shape, px, high, rng)
        take = np.clip(1.15 * lay * (0.75 + 0.45 * grain[rows, columns]) + 0.55 * np.maximum(lay - 0.6, 0), 0, 1.3)
        light[rows, columns] = MODELS[case.models.get(each.pencil, case.model)](light[rows, columns], take, pigment)
    if case.crease:
        light *= _creases(grey.shape, px)[..., None]
    return light, form, page


def _creases(shape: tuple[int, ...], px: float) -> np.ndarray:
    """Two folds: a dark line with a bright one beside it."""
    y, x = (each.astype(np.float32) / np.float32(px) for each in np.ogrid[0 : shape[0], 0 : shape[1]])
    folds = [(x - 120 - 0.05 * y), (y - 95 + 0.03 * x)]
    return np.prod(
        [1 - 0.28 * np.exp(-((f / 0.5) ** 2)) + 0.1 * np.exp(-(((f - 1.2) / 0.8) ** 2)) for f in folds], axis=0
    )


# ── the camera ───────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class View:
    """Pixels, centres whole, to mm on the paper, y up."""

    matrix: np.ndarray
    size: tuple[int, int]
    lens: float

    def __call__(self, xy: np.ndarray) -> np.ndarray:
        middle, unit = np.array(self.size) / 2, np.hypot(*self.size) / 2
        out = (xy - middle) / unit
        ideal = middle + unit * out * (1 + self.lens * (out**2).sum(axis=1, keepdims=True))
        there = np.column_stack([ideal, np.ones(len(ideal))]) @ self.matrix.T
        return there[:, :2] / there[:, 2:]


@dataclass(frozen=True)
class Shot:
    """A picture and where its pixels lie on the paper."""

    data: bytes
    to_paper: View
    form: Format
    page: SheetPage


def shot(case: Case, sheet: MarkingSheet) -> Shot:
    """The coloured sheet as a scanner or a telephone sees it."""
    light, form, page = coloured(case, sheet)
    rng = np.random.default_rng(case.seed + 100)
    px = case.dpi / 25.4
    wide, high = form.size
    if case.how == "scan":
        size = (round(wide * px) + 40, round(high * px) + 40)
        turn, scale = np.deg2rad(rng.uniform(-1.5, 1.5)), px * (1 + rng.uniform(-0.004, 0.004))
        c, s = scale * np.cos(turn), scale * np.sin(turn)
        seen = np.array([(0, 0), (wide, 0), (wide, high), (0, high)]) - (wide / 2, high / 2)
        seen = seen @ np.array([[c, s], [-s, c]]) + np.array(size) / 2
    else:
        size = case.size if wide > high else case.size[::-1]
        shares = np.array([(0.05, 0.04), (0.95, 0.05), (0.97, 0.96), (0.03, 0.95)])
        seen = (shares + rng.uniform(0.0, 0.05, (4, 2)) * ((1, 1), (-1, 1), (-1, -1), (1, -1))) * size
    if case.upside_down:
        seen = np.array(size) - seen
    matrix = np.linalg.inv(homography(np.array([(0.0, high), (wide, high), (wide, 0), (0, 0)]), seen))
    to_paper = View(matrix, size, case.lens)
    picture = _exposed(_warped(light, to_paper, size, px, high, 0.9 if case.how == "scan" else 0.16), case, rng)
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=88 if case.how == "scan" else 80)
    return Shot(out.getvalue(), to_paper, form, page)


def _warped(light, to_paper, size, px, high, ground) -> np.ndarray:
    out = np.empty((size[1], size[0], 3), dtype=np.float32)
    for first in range(0, size[1], 256):
        y, x = np.mgrid[first : min(first + 256, size[1]), 0 : size[0]]
        mm = to_paper(np.column_stack([x.ravel(), y.ravel()]).astype(float))
        where = np.stack([(high - mm[:, 1]) * px - 0.5, mm[:, 0] * px - 0.5])
        for k in range(3):
            out[first : first + 256, :, k] = ndimage.map_coordinates(
                light[..., k], where, order=1, cval=ground, output=np.float32
            ).reshape(x.shape)
    return out


def _shares(*each: float) -> np.ndarray:
    return np.array(each, dtype=np.float32)


def _exposed(seen: np.ndarray, case: Case, rng: np.random.Generator) -> np.ndarray:
    """Lamp, shadow, blur, noise, the usual curve; eight bits."""
    y, x = (each.astype(np.float32) / max(seen.shape) for each in np.ogrid[0 : seen.shape[0], 0 : seen.shape[1]])
    noise = 0.004
    if case.how == "scan":
        seen = seen * _shares(1.0, 0.995, 0.985)
    else:  # a warm lamp at the upper left, some daylight from the right
        lamp = 0.62 + 0.38 * np.exp(-((x - 0.15) ** 2) / 0.55) * np.exp(-((y - 0.2) ** 2) / 0.55)
        day = 0.22 * (0.4 + 0.8 * x)
        glow = lamp[..., None] * _shares(1.0, 0.82, 0.58) + day[..., None] * _shares(0.75, 0.9, 1.1)
        if case.shadow:  # of a hand: softer than 5 mm, bluer than the lamp
            glow *= 1 - (0.5 / (1 + np.exp(-(x + 0.3 * y - 0.55) * 90)))[..., None] * _shares(1.0, 0.95, 0.85)
        seen, noise = seen * (glow / 1.12), 0.012
    seen = ndimage.gaussian_filter(seen, (case.blur if case.how == "photo" else 0.5,) * 2 + (0,))
    seen += rng.standard_normal(seen.shape, dtype=np.float32) * noise * np.sqrt(np.clip(seen, 0.02, 1))
    return (screen(seen) + 0.5).astype(np.uint8)


# ── figures ──────────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Figures:
    """A reading against what was drawn."""

    overlap: float  #: intersection over union, the mean over areas
    edge_median: float  #: mm
    edge_95: float  #: mm; the worse of both directions
    bias: float  #: mm; above 0: read too large
    false_mm2: float  #: of any meaning, more than 2 mm away from what was drawn of it
    missed: int


def figures(marks, drawn: dict[Meaning, list[shapely.Polygon]]) -> Figures:
    """How true marks are to the outlines that were hatched."""
    overlaps, off, back, bias, missed, false = [], [], [], [], 0, 0.0
    for meaning in Meaning:
        mine = shapely.union_all([mark.shape for mark in marks if mark.meaning is meaning])
        truth = drawn.get(meaning, [])
        false += shapely.difference(mine, shapely.buffer(shapely.union_all(truth), 2.0)).area
        for outline in truth:
            near = shapely.intersection(mine, outline.buffer(3.0))
            if near.area < 0.2 * outline.area:
                missed += 1
                continue
            overlaps.append(near.intersection(outline).area / near.union(outline).area)
            edge, line = near.boundary, outline.exterior
            at = shapely.line_interpolate_point(edge, np.arange(0, edge.length, 0.2))
            gap = shapely.distance(at, line)
            bias.append(np.mean(np.where(shapely.contains(outline, at), -gap, gap)))
            off.append(gap)
            back.append(shapely.distance(shapely.line_interpolate_point(line, np.arange(0, line.length, 0.2)), edge))
    every, other = np.concatenate([*off, np.zeros(0)]), np.concatenate([*back, np.zeros(0)])
    if not len(every):
        return Figures(0.0, np.inf, np.inf, 0.0, false, missed)
    return Figures(
        float(np.mean(overlaps)), float(np.median(every)),
        float(max(np.quantile(every, 0.95), np.quantile(other, 0.95))), float(np.mean(bias)), float(false), missed,
    )  # fmt: skip


def usual_strokes(pitch: float = 1.3, count: int = 8) -> tuple[Stroke, ...]:
    """Eight areas of four pencils over sky, water and posts."""
    spots = ((0, 40, 118, 18, 12), (1, 120, 118, 24, 13), (2, 60, 40, 28, 10), (3, 150, 38, 18, 14),
             (0, 172, 128, 10, 10), (1, 26, 72, 10, 7), (2, 105, 78, 12, 9), (3, 180, 78, 9, 13))  # fmt: skip
    return tuple(
        Stroke(pencil=p, shape=blob(x, y, rx, ry, seed=k), press=(0.75, 0.55, 0.9, 0.45)[(k + k // 4) % 4],
               pitch=pitch * (0.9 + 0.05 * (k % 5)), angle=0.4 + 0.5 * k)
        for k, (p, x, y, rx, ry) in enumerate(spots[:count])
    )  # fmt: skip


def drawn_of(case: Case) -> dict[Meaning, list[shapely.Polygon]]:
    """The outlines that were hatched, by meaning."""
    result: dict[Meaning, list[shapely.Polygon]] = {}
    for stroke in case.strokes:
        result.setdefault(tuple(Meaning)[stroke.pencil], []).append(stroke.shape)
    return result


def register_off(each: Shot, paper: Callable[[np.ndarray], np.ndarray]) -> float:
    """How far, at most, the reader's map is off over the whole sheet, mm."""
    wide, high = each.form.size
    grid = np.array([(x, y) for x in np.linspace(15, wide - 15, 12) for y in np.linspace(15, high - 15, 9)])
    return float(np.hypot(*(each.to_paper(paper(grid)) - grid).T).max())


# ── small sheets for the suite ───────────────────────────────────────────────────────────────────────────────────

SMALL = MarkingSheet(name="trial", window=(0.0, 0.0, 90.0, 70.0))
#: A telephone's picture with five and a half pixels in a millimetre of A4, or a scan with as many.
QUICK = {"dpi": 139.7, "size": (1834, 1375), "blur": 0.55}


def small_strokes(**more) -> tuple[Stroke, ...]:
    """Four areas on the small print, one for each pencil."""
    spots = ((0, 22, 52, 14, 10), (1, 66, 50, 16, 12), (2, 24, 18, 15, 10), (3, 66, 17, 14, 11))
    return tuple(
        Stroke(pencil=p, shape=blob(x, y, rx, ry, seed=k), angle=0.4 + 0.5 * k, **more)
        for k, (p, x, y, rx, ry) in enumerate(spots)
    )


#: What most tests read: the four areas.
USUAL = Case(strokes=small_strokes(), shadow=True, **QUICK)


def read_once(picture: ScanPicture, sheet: MarkingSheet) -> PageRead:
    """A page as it is read, once in a run of the tests; that it is read alike again is a law of tests/marking."""
    image = hashlib.sha256(picture.image.tobytes()).hexdigest()
    return once(("page read", image, sheet), lambda: read_page(picture, sheet))


def flat(case: Case, sheet: MarkingSheet = SMALL) -> Image.Image:
    """The coloured page as a perfect scanner sees it; made once in a run of the tests."""
    return Image.fromarray(once(("flat", digest(case), sheet), lambda: _flat(case, sheet)))


def _flat(case: Case, sheet: MarkingSheet) -> np.ndarray:
    return (screen(coloured(case, sheet)[0]) + 0.5).astype(np.uint8)
