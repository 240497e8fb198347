"""DXF, release 2000 or 12: closed polylines and paths on named layers, with the words of their sheet; millimetres."""

from __future__ import annotations

import contextlib
import io
import itertools
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen import geometry
from carvegen.base.collector import collector_at_rest
from carvegen.base.errors import InputError
from carvegen.blocks.layer_names import NOTES
from carvegen.toolpaths.paths import Paths, from_rings, picked
from carvegen.writers.formats.coordinates import point_texts, ring_texts

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from carvegen.blocks.layer_names import FileLayer
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.writers.sheet import Drawing, Sheet

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
    doc, old = _document(version, drawing.sheet, layers), version == "R12"
    owner = doc.modelspace().layout_key
    handle = int(str(doc.entitydb.handles), 16)
    pieces: list[str] = []
    for layer, what in layers.items():
        if isinstance(what, Paths):
            made, handle = (_old_paths(what, layer), handle) if old else _paths(what, layer, owner, handle)
        else:
            made = _old_polylines(what, layer) if old else _polylines(what, layer, owner, handle)
            handle += 0 if old else len(made)
        pieces += made
    doc.entitydb.handles.reset(f"{handle:X}")
    return _spliced(_text(doc), pieces)


def _notes(drawing: Drawing) -> dict[FileLayer, PolygonArray | Paths]:
    """The sheet's bar, and what stands among its words."""
    bar = geometry.polygon_array([drawing.sheet.bar])
    if drawing.notes is None:
        return {}
    if drawing.mark is None:
        return {drawing.notes: bar}
    return {drawing.notes: from_rings(geometry.rings(geometry.stack([bar, drawing.mark])))}


def _document(version: str, sheet: Sheet, layers: Iterable[FileLayer]) -> Any:  # noqa: ANN401
    """Header, tables and words; everything but the contours; `InputError` for another release."""
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
    doc.modelspace().reset_extents((sheet.left, sheet.bottom, 0), (sheet.right, sheet.top, 0))
    for layer in layers:
        doc.layers.add(_name(layer, old=old), color=layer.index)
    for line in sheet.lines:
        doc.modelspace().add_text(
            line.text,
            height=round(line.size_mm * _LETTER_SHARE, 3),
            dxfattribs={"layer": NOTES, "insert": line.at},
        )
    return doc


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
    """Paths of release 2000, flat ones at their height; with the next free handle."""
    level, counts = _level(paths), np.diff(paths.start)
    flat = picked(paths, np.flatnonzero(level)) if not level.all() else paths
    texts = point_texts(flat.xyz[:, :2], flat.start, (" 10\n", "\n 20\n", "\n"))
    begins = handle + geometry.starts(np.where(level, 1, counts + 2))
    name = ascii_text(layer.name)
    inner = f"\n330\n{owner}\n100\nAcDbEntity\n  8\n{name}\n100\nAcDbPolyline\n 90\n"
    height, which = np.unique(np.round(paths.entries[:, 2], 3) + 0.0, return_inverse=True)
    ends = [f"\n 38\n{z:.3f}\n" for z in height.tolist()]
    values = [column[level].tolist() for column in (begins[:-1], counts, paths.closed, which)]
    level_ones = [
        f"  0\nLWPOLYLINE\n  5\n{number:X}{inner}{count}\n 70\n{shut:d}{ends[nth]}{text}"
        for number, count, shut, nth, text in zip(*values, texts, strict=True)
    ]
    if level.all():
        return level_ones, int(begins[-1])
    left, pieces = iter(level_ones), []
    values = [column.tolist() for column in (begins[:-1], counts, paths.closed, level, paths.start[:-1])]
    for number, count, shut, is_level, start in zip(*values, strict=True):
        if is_level:
            pieces.append(next(left))
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
