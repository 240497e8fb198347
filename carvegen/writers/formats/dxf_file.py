"""DXF, release 2000 or 12: closed polylines and paths on named layers, with the words of their sheet; millimetres."""

from __future__ import annotations

import contextlib
import io
import itertools
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen import geometry
from carvegen.base.collector import collector_at_rest
from carvegen.base.errors import InputError
from carvegen.blocks.layer_names import NOTES
from carvegen.toolpaths.paths import Paths, from_rings, picked
from carvegen.writers.formats.coordinates import point_texts, ring_texts

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.blocks.layer_names import FileLayer
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.writers.sheet import Drawing, Sheet, TextLine

__all__ = ["VERSIONS", "ascii_text", "dxf_of"]

VERSIONS = ("R2000", "R12")

_LETTER_SHARE = 0.7  # of a line's height: DXF asks for the height of a capital
_BEYOND_ASCII = re.compile(r"[^\x00-\x7f]")


@collector_at_rest()
def dxf_of(drawing: Drawing, version: str = "R2000") -> str:
    """A drawing as a file.

    One closed polyline for each ring, outline or hole, by the released DXF reference: LWPOLYLINE in R2000,
    POLYLINE in R12. Of paths, level ones are flat polylines at their height, what slopes is a 3-D POLYLINE. R2000 says
    its unit in ``$INSUNITS`` (4 = mm); R12 has no such variable, so there the words say it.

    Raises
    ------
    InputError
        If `version` is not one of `VERSIONS`.
    """
    layers = {drawn.layer: drawn.what for drawn in drawing.layers} | _notes(drawing)
    frame, old = _frame(version, tuple(layers)), version == "R12"
    pieces, handle = _words(drawing.sheet.lines, frame, old=old)
    for layer, what in layers.items():
        if isinstance(what, Paths):
            made, handle = (_old_paths(what, layer), handle) if old else _paths(what, layer, frame.owner, handle)
        else:
            made = _old_polylines(what, layer) if old else _polylines(what, layer, frame.owner, handle)
            handle += 0 if old else len(made)
        pieces += made
    return _spliced(frame.text_for(drawing.sheet, handle), pieces)


def _notes(drawing: Drawing) -> dict[FileLayer, PolygonArray | Paths]:
    """The sheet's bar, and what stands among its words."""
    bar = geometry.polygon_array([drawing.sheet.bar])
    if drawing.notes is None:
        return {}
    if drawing.mark is None:
        return {drawing.notes: bar}
    return {drawing.notes: from_rings(geometry.rings(geometry.stack([bar, drawing.mark])))}


@dataclass(frozen=True)
class _Frame:
    """Header, tables and objects; everything but words and contours, with places for what differs by drawing."""

    parts: tuple[str, ...]  #: text and place by turns; a place holds what stands for a corner or a handle
    owner: str  #: handle of what holds words and contours
    handle: int  #: the first that is free for them

    def text_for(self, sheet: Sheet, handle: int) -> str:
        """The text for a sheet; `handle`: the first that its words and contours leave free."""
        values = dict(zip(map(str, _CORNERS), map(float, sheet.bounds), strict=True))
        parts = [
            part if k % 2 == 0 else str(values[part]) if part in values else f"{int(part, 16) - _FREE + handle:X}"
            for k, part in enumerate(self.parts)
        ]
        return "".join(parts)


#: Stand in a frame for the sheet's left, bottom, right and top, and for the first free handle and those after it.
_CORNERS = (-711123.5, -722123.5, 733123.5, 744123.5)
_FREE = 0xABCDE000
_STANDING = [*(re.escape(str(corner)) for corner in _CORNERS), rf"{_FREE >> 12:X}[0-9A-F]{{3}}"]
_PLACES = re.compile(rf"(?<=\n)({'|'.join(_STANDING)})(?=\n)")


@lru_cache(maxsize=64)
def _frame(version: str, layers: tuple[FileLayer, ...]) -> _Frame:
    """The same for all drawings on the same layers: ezdxf takes 15 ms for it; `InputError` for another release."""
    from ezdxf.document import Drawing

    if version not in VERSIONS:
        raise InputError(
            "must be a DXF release that is written",
            value=version,
            where="version",
            hint=f"known releases: {', '.join(VERSIONS)}",
        )
    with _same_bytes():
        doc = Drawing.new(version)
    old = version == "R12"
    if old:
        doc.header["$HANDLING"] = 0
    else:
        doc.header["$INSUNITS"] = 4
        doc.header["$MEASUREMENT"] = 1
        doc.header["$LASTSAVEDBY"] = "carvegen"
    doc.modelspace().reset_extents((*_CORNERS[:2], 0), (*_CORNERS[2:], 0))
    for layer in layers:
        doc.layers.add(_name(layer, old=old), color=layer.index)
    handle = int(str(doc.entitydb.handles), 16)
    doc.entitydb.handles.reset(f"{_FREE:X}")
    return _Frame(tuple(_PLACES.split(_text(doc))), doc.modelspace().layout_key, handle)


def _words(lines: tuple[TextLine, ...], frame: _Frame, *, old: bool) -> tuple[list[str], int]:
    """A sheet's lines as texts, each on one line, with the next free handle."""
    made = []
    for handle, line in enumerate(lines, frame.handle):
        (x, y), height = map(float, line.at), round(line.size_mm * _LETTER_SHARE, 3)
        text = ascii_text(line.text.replace("\r", "").replace("\n", ""))
        values = f" 10\n{x}\n 20\n{y}\n 30\n0.0\n 40\n{height}\n  1\n{text}\n"
        own = f"  5\n{handle:X}\n330\n{frame.owner}\n100\nAcDbEntity\n"
        layer, kind = f"  8\n{NOTES}\n", "100\nAcDbText\n"
        made.append(f"  0\nTEXT\n{layer}{values}" if old else f"  0\nTEXT\n{own}{layer}{kind}{values}{kind}")
    return made, frame.handle + len(lines)


@contextlib.contextmanager
def _same_bytes() -> Iterator[None]:
    """While it lasts ezdxf writes a fixed day and fixed identifiers."""
    from ezdxf import options  # type: ignore[attr-defined]  # documented, though not in its list of names

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _text(doc: Any) -> str:  # noqa: ANN401
    """The document as ASCII; other letters are written by their code, as the reference allows."""
    out = io.StringIO()
    with _same_bytes():
        doc.write(out)
    return ascii_text(out.getvalue())


def ascii_text(text: str) -> str:
    """A text as DXF may hold it: letters beyond ASCII by their code."""
    return _BEYOND_ASCII.sub(lambda letter: _escaped(letter[0]), text)


def _escaped(letter: str) -> str:
    r"""A letter beyond ASCII as ``\U+XXXX``; "?" if it has no such code."""
    return f"\\U+{ord(letter):04X}" if ord(letter) <= 0xFFFF else "?"


def _spliced(text: str, contours: list[str]) -> str:
    """The contours at the end of the document's list of entities."""
    start = text.index("  0\nSECTION\n  2\nENTITIES\n")
    end = text.index("  0\nENDSEC\n", start)
    return "".join([text[:end], *contours, text[end:]])


def _polylines(shapes: PolygonArray, layer: FileLayer, owner: str, handle: int) -> list[str]:
    rings = geometry.rings(shapes)
    points = ring_texts(rings.xy, rings.start, before=" 10\n", between="\n 20\n", after="\n")
    head = (
        f"  0\nLWPOLYLINE\n  5\n%X\n330\n{owner}\n100\nAcDbEntity\n  8\n{ascii_text(layer.name)}\n100\nAcDbPolyline\n"
        " 90\n%d\n 70\n1\n"
    )
    counts = np.diff(rings.start).tolist()
    numbered = zip(itertools.count(handle), counts, points)
    return [head % (number, count) + text for number, count, text in numbered]


def _old_polylines(shapes: PolygonArray, layer: FileLayer) -> list[str]:
    rings = geometry.rings(shapes)
    name = layer.r12_name
    points = ring_texts(
        rings.xy,
        rings.start,
        before=f"  0\nVERTEX\n  8\n{name}\n 10\n",
        between="\n 20\n",
        after="\n 30\n0.0\n",
    )
    head = f"  0\nPOLYLINE\n  8\n{name}\n 66\n1\n 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n1\n"
    return [f"{head}{text}  0\nSEQEND\n  8\n{name}\n" for text in points]


def _name(layer: FileLayer, *, old: bool) -> str:
    return layer.r12_name if old else layer.name


def _level(paths: Paths) -> Mask:
    """Which paths lie at one height; (paths,)."""
    z = np.round(paths.xyz[:, 2], 3)
    if not len(paths):
        return np.zeros(0, dtype=bool)
    low, high = (ends.reduceat(z, paths.start[:-1]) for ends in (np.minimum, np.maximum))
    return np.asarray(low == high)


def _paths(paths: Paths, layer: FileLayer, owner: str, handle: int) -> tuple[list[str], int]:
    """Paths of release 2000, flat ones at their height, in pieces of text; with the next free handle."""
    level, counts = _level(paths), np.diff(paths.start)
    flat = picked(paths, np.flatnonzero(level)) if not level.all() else paths
    texts = point_texts(flat.xyz[:, :2], flat.start, (" 10\n", "\n 20\n", "\n"))
    begins = handle + geometry.starts(np.where(level, 1, counts + 2))
    name = ascii_text(layer.name)
    inner = f"\n330\n{owner}\n100\nAcDbEntity\n  8\n{name}\n100\nAcDbPolyline\n 90\n"
    height, which = np.unique(np.round(paths.entries[:, 2], 3) + 0.0, return_inverse=True)
    ends = [f"\n 38\n{z:.3f}\n" for z in height.tolist()]
    values = [column[level].tolist() for column in (begins[:-1], counts, paths.closed, which)]
    heads = [
        f"  0\nLWPOLYLINE\n  5\n{number:X}{inner}{count}\n 70\n{shut:d}{ends[nth]}"
        for number, count, shut, nth in zip(*values, strict=True)
    ]
    level_ones = list(itertools.chain.from_iterable(zip(heads, texts, strict=True)))  # joined once, with all others
    if level.all():
        return level_ones, int(begins[-1])
    left, pieces = iter(level_ones), []
    values = [column.tolist() for column in (begins[:-1], counts, paths.closed, level, paths.start[:-1])]
    for number, count, shut, is_level, start in zip(*values, strict=True):
        if is_level:
            pieces += [next(left), next(left)]
        else:
            places = np.round(paths.xyz[start : start + count], 3) + 0.0
            pieces.append(_deep(places.tolist(), shut, owner, number, name))
    return pieces, int(begins[-1])


def _deep(places: list[list[float]], closed: bool, owner: str, handle: int, name: str) -> str:
    """One path of varying depth as a 3-D polyline of release 2000."""
    common = f"100\nAcDbEntity\n  8\n{name}\n"
    head = (
        f"  0\nPOLYLINE\n  5\n{handle:X}\n330\n{owner}\n{common}100\nAcDb3dPolyline\n 66\n1\n"
        f" 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n{8 + int(closed)}\n"
    )
    begin, inner = "  0\nVERTEX\n  5\n", f"\n330\n{handle:X}\n{common}100\nAcDbVertex\n100\nAcDb3dPolylineVertex\n"
    points = "".join(
        f"{begin}{handle + 1 + k:X}{inner} 10\n{x:.3f}\n 20\n{y:.3f}\n 30\n{z:.3f}\n 70\n32\n"
        for k, (x, y, z) in enumerate(places)
    )
    return f"{head}{points}  0\nSEQEND\n  5\n{handle + 1 + len(places):X}\n330\n{handle:X}\n{common}"


def _old_paths(paths: Paths, layer: FileLayer) -> list[str]:
    """Paths of release 12, which have no handles."""
    pieces: list[str] = []
    level, name = _level(paths), layer.r12_name
    for flat in (True, False):
        kind = "" if flat else " 70\n32\n"
        marks = (f"  0\nVERTEX\n  8\n{name}\n 10\n", "\n 20\n", "\n 30\n", f"\n{kind}")
        texts = point_texts(paths.xyz, paths.start, marks)
        if flat:
            chosen = texts
        else:
            chosen = [one if is_level else other for one, other, is_level in zip(chosen, texts, level, strict=True)]
    heights = np.round(paths.entries[:, 2], 3).tolist()
    for k, text in enumerate(chosen):
        flags = int(paths.closed[k]) + (0 if level[k] else 8)
        height = heights[k] if level[k] else 0.0
        pieces.append(
            f"  0\nPOLYLINE\n  8\n{name}\n 66\n1\n 10\n0.0\n 20\n0.0\n 30\n{height:.3f}\n 70\n{flags}\n{text}"
            f"  0\nSEQEND\n  8\n{name}\n"
        )
    return pieces
