"""A kept motif as a file: a plain SVG at true size, one path a shape, and what it remembers of the day it was kept."""

from __future__ import annotations

import hashlib
import itertools
import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr, unescape

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from carvegen import geometry
from carvegen.artwork import plain_name
from carvegen.artwork.kinds import drawing_bytes, is_there, kind_of
from carvegen.artwork.svg.elements import Element, Elements, read_elements
from carvegen.base.errors import InputError
from carvegen.base.words import shortened
from carvegen.geometry import PolygonArray
from carvegen.motifs.growth import Growth

__all__ = [
    "FORMAT", "Kept", "MotifOrigin", "Surroundings", "kept_ids", "kept_text",
    "kept_text_with", "marks_of", "opening", "read_kept",
]  # fmt: skip

FORMAT = 1  #: of what the file remembers
_COMES_OUT, _CARVER_DECIDES = "comes out", "carver decides"  #: titles of the groups
_FRINGE = "fringe-"  #: what the ids of the fringe begin with
_LOOKS = {_COMES_OUT: "#2b3a4e", _CARVER_DECIDES: "#c9a26b"}
_SIZE_MM = 0.1  #: pages that differ by no more are of one size: drawing programs round
_LIES_OVER_MM2 = 1e-6  #: shapes that share no more only touch


@dataclass(frozen=True, kw_only=True, eq=False)
class Surroundings:
    """What of the drawing a motif depends on; on the grid."""

    bears: BaseGeometry = field(default_factory=shapely.Polygon)  #: what it lies on
    clear: BaseGeometry = field(default_factory=shapely.Polygon)  #: what it keeps out of, or what hides it
    fronts: BaseGeometry | None = None  #: parts of what it lies on whose tops stand before others; None: not known
    hides: BaseGeometry | None = None  #: what its far or middle flakes fall behind; None: not known
    shore: BaseGeometry | None = None  #: where a hill of a layer further back changes what lies; None: not known

    @classmethod
    def of(
        cls, *, bears: BaseGeometry, clear: BaseGeometry, fronts: BaseGeometry | None = None,
        hides: BaseGeometry | None = None, shore: BaseGeometry | None = None,
    ) -> Surroundings:  # fmt: skip
        """In the form in which a file keeps them: the same shapes always give the same numbers."""
        fronts, hides, shore = (None if shape is None else _settled(shape) for shape in (fronts, hides, shore))
        return cls(bears=_settled(bears), clear=_settled(clear), fronts=fronts, hides=hides, shore=shore)

    def by_name(self) -> dict[str, BaseGeometry]:
        """The shapes that are known, each by the name by which files keep it."""
        shapes = {
            "bears": self.bears, "clear": self.clear, "fronts": self.fronts, "hides": self.hides, "shore": self.shore,
        }  # fmt: skip
        return {name: shape for name, shape in shapes.items() if shape is not None}


@dataclass(frozen=True, kw_only=True, eq=False)
class MotifOrigin:
    """How a motif came to be."""

    motif: str
    settings: Mapping[str, Any]  #: its own, and the seed of the print
    surroundings: Surroundings
    marks: frozenset[str] = frozenset()  #: of the shapes as they were kept: what differs was edited


@dataclass(frozen=True, kw_only=True, eq=False)
class Kept:
    """What a kept file holds."""

    growth: Growth
    names: Mapping[str, str]  #: id by the mark of a shape
    ids: tuple[str, ...]  #: of each of the cuts; "" where a shape has none
    edited: PolygonArray  #: those of the cuts that are not as they were kept
    memory: MotifOrigin | None  #: none if a drawing program has lost it
    notes: tuple[str, ...] = ()


def marks_of(shapes: PolygonArray) -> list[str]:
    """A short hash of each shape, by which it is known again."""
    return [hashlib.sha256(wkb).hexdigest()[:10] for wkb in shapely.to_wkb(shapely.normalize(shapes)).tolist()]


# ── writing ──────────────────────────────────────────────────────────────────────────────────────────────────────


def kept_text(
    growth: Growth, memory: MotifOrigin, size: tuple[float, float], *, title: str,
    names: Mapping[str, str] | None = None, hers: PolygonArray | None = None,
) -> str:  # fmt: skip
    """The file of a motif that is kept.

    Parameters
    ----------
    growth
        On the grid, as `carvegen.motifs.growth.plain` makes it.
    size
        Width and height of the face, mm.
    names
        Ids that shapes had before, by their marks.
    hers
        Shapes that were edited, and are not forgotten to be.
    """
    cuts = _paths(growth.cuts, _ids(growth.cuts, f"{memory.motif}-", names or {}), size[1])
    free = _paths(growth.free, _ids(growth.free, _FRINGE, names or {}), size[1])
    record = json.dumps(_header(growth, memory, size, hers), separators=(",", ":"))
    lines = [
        *opening(size),
        f"<title>{escape(shortened(title))}, kept</title>",
        "<desc>PRINT VIEW, true size, one unit is 1 mm. Move, turn, scale, redraw, add or delete shapes in any drawing "
        "program, and save as plain SVG. The build takes them as they are.</desc>",
        f'<metadata id="kept">{escape(record)}</metadata>',
        *_group(_COMES_OUT, "bare paper: comes out of every block that the motif is taken from", cuts),
        *_group(_CARVER_DECIDES, "may be taken or left, gouge in hand", free),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def kept_ids(text: str) -> list[str]:
    """The ids of the shapes that come out, in their order, of a file as `kept_text` wrote it."""
    lines = text.partition("</g>")[0].split("\n")
    return [unescape(line.split('"', 2)[1], {"&quot;": '"'}) for line in lines if line.startswith("<path id=")]


def kept_text_with(
    text: str, gone: Collection[str], new: Mapping[str, Polygon], size: tuple[float, float]
) -> str | None:
    """The file with some shapes taken out and others put in behind all; all else in it stays, letter by letter.

    Parameters
    ----------
    gone
        Ids of the shapes that go.
    new
        Shapes that come, on the grid, by their ids.

    Returns
    -------
    str or None
        None if it is not as `kept_text` wrote it: a shape that goes has no line of its own there.
    """
    lines = text.split("\n")
    at = {line.split('"', 2)[1]: k for k, line in enumerate(lines) if line.startswith("<path id=")}
    end = next((k for k, line in enumerate(lines) if line == "</g>"), None)
    taken = {at.get(name, at.get(quoteattr(name)[1:-1])) for name in gone}
    if end is None or None in taken:
        return None
    cuts = _paths(geometry.polygon_array(new.values()), list(new), size[1])
    return "\n".join([
        *(line for k, line in enumerate(lines[:end]) if k not in taken), *cuts,
        *(line for k, line in enumerate(lines[end:], end) if k not in taken),
    ])  # fmt: skip


def _group(name: str, about: str, paths: Iterator[str]) -> Iterator[str]:
    yield f'<g id="{name.replace(" ", "-")}" fill="{_LOOKS[name]}" fill-rule="evenodd" stroke="none">'
    yield f"<title>{name}</title><desc>{about}</desc>"
    yield from paths
    yield "</g>"


def _paths(shapes: PolygonArray, ids: list[str], height: float) -> Iterator[str]:
    """A closed path for each shape, its points in the order that they have, y downwards."""
    finer = 3 if round(height, 3) == height else 6  # so that turning y back falls on the grid again
    for shape, name in zip(shapes, ids, strict=True):
        rings = [shapely.get_coordinates(ring)[:-1] for ring in (shape.exterior, *shape.interiors)]
        data = "".join(f"M{' '.join(f'{x:.3f} {height - y:.{finer}f}' for x, y in xy.tolist())}Z" for xy in rings)
        yield f'<path id={quoteattr(name)} d="{data}"/>'


def _ids(shapes: PolygonArray, begins: str, names: Mapping[str, str]) -> list[str]:
    """The id that each shape had, or the next that is free."""
    had = [names.get(mark, "") for mark in marks_of(shapes)]
    taken = set(names.values())
    fresh = (name for k in itertools.count(1) if (name := f"{begins}{k:04d}") not in taken)
    seen: set[str] = set()
    result = []
    for name in had:
        result.append(name if name and name not in seen else next(fresh))
        seen.add(name)
    return result


def _header(
    growth: Growth, memory: MotifOrigin, size: tuple[float, float], hers: PolygonArray | None
) -> dict[str, Any]:  # fmt: skip
    edited = frozenset(marks_of(hers)) if hers is not None else frozenset[str]()
    return {
        "carvegen": "kept motif", "format": FORMAT, "motif": memory.motif, "size_mm": size,
        "settings": dict(memory.settings), "kept": dict(growth.kept),
        "shapes": " ".join(mark for mark in marks_of(growth.cuts) if mark not in edited),
        **{name: shapely.to_wkt(shape, rounding_precision=3) for name, shape in memory.surroundings.by_name().items()},
    }  # fmt: skip


def opening(size: tuple[float, float]) -> tuple[str, str]:
    """The first lines of an SVG at true size, of a face of this width and height, mm; one unit is 1 mm."""
    width, height = (f"{side:.6f}".rstrip("0").rstrip(".") for side in size)
    page = f'width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" {page}>',
    )


def _settled(shape: BaseGeometry) -> BaseGeometry:
    """Polygons on the grid, in a fixed order of points, every number the one nearest to its place."""
    whole = shapely.set_precision(shapely.normalize(geometry.union(shape)), 0, mode="pointwise")
    result: BaseGeometry = shapely.transform(whole, lambda xy: np.round(xy, 3))
    return result


# ── reading ──────────────────────────────────────────────────────────────────────────────────────────────────────


def read_kept(path: Path, *, motif: str, size: tuple[float, float]) -> Kept:
    """What a kept file holds, however it has been edited; a shape that nobody has touched is exactly as it was.

    Parameters
    ----------
    motif
        Whose file it must be.
    size
        Width and height of the face, mm.

    Raises
    ------
    InputError
        If it is not there, is no whole SVG drawing, is of another size or motif, or of a form not known here.
    """
    try:
        if not is_there(path):
            hint = "put it back; or name no kept file, and the motif grows again"
            raise InputError("is not there", hint=hint)
        data = drawing_bytes(path)
        if (kind := kind_of(data)) != "SVG":
            raise InputError(f"is no SVG but {kind}", hint="save it as plain SVG")
        drawing = read_elements(data)
        record = _memory_in(drawing)
        _check(record, drawing, motif, size)
        return _kept(drawing, record, size)
    except InputError as error:
        raise error.within(str(path)) from None


def _memory_in(drawing: Elements) -> dict[str, Any] | None:
    """What the file remembers; nothing if that is lost."""
    for text in drawing.metadata:
        try:
            record = json.loads(text)
            if record["carvegen"] == "kept motif":
                return dict(record)
        except (ValueError, KeyError, TypeError, RecursionError):
            continue
    return None


def _check(record: Mapping[str, Any] | None, drawing: Elements, motif: str, size: tuple[float, float]) -> None:
    page = (drawing.width_mm, drawing.height_mm)
    if max(abs(a - b) for a, b in zip(page, size, strict=True)) > _SIZE_MM:
        raise InputError(
            f"is of another size: it must be {size[0]:g} x {size[1]:g} mm, as the face",
            value=f"{page[0]:g} x {page[1]:g}",
            hint="set the page to that size in the drawing program, or keep the motif anew",
        )  # fmt: skip
    if record is None:
        return
    if record.get("format") != FORMAT:
        newer = isinstance(record.get("format"), int) and record["format"] > FORMAT
        raise InputError(
            f"was kept by {'a newer' if newer else 'another'} carvegen, in a form not known here",
            value=record.get("format"), hint="take that carvegen, or keep the motif anew: carvegen keep",
        )  # fmt: skip
    if record.get("motif") != motif:
        raise InputError(
            f"holds another motif: it must be {motif}", value=record.get("motif"),
            hint="name the right file, or keep the motif anew: carvegen keep",
        )  # fmt: skip


def _kept(drawing: Elements, record: Mapping[str, Any] | None, size: tuple[float, float]) -> Kept:
    notes = [note for note in drawing.notes if not note.startswith("the page's size")]
    memory, levels = _remembered(record)
    if memory is None:
        notes.append("it no longer says how it came to be: changes of the drawing under it can't be noticed")
    named = [(item.name, shape) for item in drawing.every if not _is_fringe(item) for shape in item.shapes]
    cuts = _disjoint(geometry.polygon_array(shape for _, shape in named), notes)
    cuts = _on_face(cuts, size, notes)
    free = geometry.stack(item.shapes for item in drawing.every if _is_fringe(item))
    marks = marks_of(cuts)
    known = memory.marks if memory is not None else frozenset[str]()
    edited = cuts[np.array([mark not in known for mark in marks], dtype=bool)]
    names = dict(zip(marks_of(geometry.polygon_array(shape for _, shape in named)), [n for n, _ in named], strict=True))
    fringe = [(item.name, shape) for item in drawing.every if _is_fringe(item) for shape in item.shapes]
    names |= dict(zip(marks_of(free), [name for name, _ in fringe], strict=True))
    return Kept(
        growth=Growth(cuts=cuts, free=free, kept=levels), names={mark: name for mark, name in names.items() if name},
        ids=tuple(names.get(mark, "") for mark in marks), edited=edited, memory=memory, notes=tuple(notes),
    )  # fmt: skip


def _is_fringe(element: Element) -> bool:
    return element.name.startswith(_FRINGE) or plain_name(element.group) == plain_name(_CARVER_DECIDES)


def _remembered(record: Mapping[str, Any] | None) -> tuple[MotifOrigin | None, dict[str, float]]:
    """The memory and the levels; none if what was kept of them is damaged."""
    if record is None:
        return None, {}
    try:
        texts = [record["bears"], record["clear"], *map(record.get, ("fronts", "hides", "shore"))]
        bears, clear, fronts, hides, shore = shapely.from_wkt(texts)
        if not all(shape.is_valid for shape in (bears, clear, fronts, hides, shore) if shape is not None):
            raise ValueError
        memory = MotifOrigin(
            motif=record["motif"], settings=dict(record["settings"]), marks=frozenset(record["shapes"].split()),
            surroundings=Surroundings(bears=bears, clear=clear, fronts=fronts, hides=hides, shore=shore),
        )  # fmt: skip
        return memory, {str(name): float(value) for name, value in record["kept"].items()}
    except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.GEOSException):
        return None, {}


def _disjoint(cuts: PolygonArray, notes: list[str]) -> PolygonArray:
    """The shapes, those that lie over one another as one."""
    left, right = shapely.STRtree(cuts).query(cuts, predicate="intersects") if len(cuts) else (np.empty(0, int),) * 2
    once = left < right
    left, right = left[once], right[once]
    over = shapely.area(shapely.intersection(cuts[left], cuts[right])) > _LIES_OVER_MM2
    if not over.any():
        return cuts
    met = np.unique(np.concatenate([left[over], right[over]]))
    first = shapely.point_on_surface(cuts[met[0]])
    where = f"the first at x {first.x:.1f}, y {first.y:.1f} mm"
    notes.append(f"{len(met)} shapes lie over one another, {where}; those that do are taken as one")
    return np.concatenate([np.delete(cuts, met), _plain(geometry.joined(cuts[met]))])


def _on_face(cuts: PolygonArray, size: tuple[float, float], notes: list[str]) -> PolygonArray:
    """The shapes, as far as they lie on the face."""
    face = geometry.box(*size)
    out = ~shapely.covers(shapely.buffer(face, 2 * geometry.GRID_MM, join_style="mitre"), cuts)
    if not out.any():
        return cuts
    notes.append(f"{int(out.sum())} shapes reach over the face's edge; what lies beyond it is left out")
    return np.concatenate([cuts[~out], _plain(geometry.parts(shapely.intersection(cuts[out], face)))])


def _plain(shapes: PolygonArray) -> PolygonArray:
    return geometry.parts(_on_grid(geometry.snapped(shapes)))


def _on_grid(shapes: Any) -> Any:  # noqa: ANN401
    return shapely.transform(shapely.set_precision(shapes, 0, mode="pointwise"), lambda xy: np.round(xy, 3))
