"""DXF for the machine, release 2000 or 12: closed polylines on named layers, block view, millimetres."""

from __future__ import annotations

import contextlib
import io
import itertools
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.layer_names import (
    BLOCK_EDGE,
    BOARD_EDGE,
    CUT_AREA,
    CUT_OUT,
    FREE_FRINGE,
    NOTES,
    REGISTER,
    REGISTER_STOP,
    palette,
)
from carvegen.blocks.views import View, seen
from carvegen.writers.coordinates import ring_texts
from carvegen.writers.sheet import (
    Sheet,
    TextLine,
    layers_of,
    machine_sheet,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from carvegen.blocks.job import Job
    from carvegen.blocks.layer_names import Layer
    from carvegen.geometry import PolygonArray

__all__ = ["VERSIONS", "ascii_text", "layers_dxf", "machine_dxf", "with_entities"]

VERSIONS = ("R2000", "R12")

_WORDS_MM = 4.0  # height of the words under a page
_LETTER_SHARE = 0.7  # of a line's height: DXF asks for the height of a capital
_BEYOND_ASCII = re.compile(r"[^\x00-\x7f]")


def machine_dxf(job: Job, version: str = "R2000") -> str:
    """The block as a machine is to work it; the block's lower left corner is the origin.

    One closed polyline for each ring, outline or hole, by the released DXF reference: LWPOLYLINE in R2000,
    POLYLINE in R12. R2000 says its unit in ``$INSUNITS`` (4 = mm); R12 has no such variable, so there the
    words say it. There is no open contour in the file. Of a block that is cut already it holds what is new alone.

    Raises
    ------
    InputError
        If `version` is not one of `VERSIONS`.
    """
    shown, layers = seen(job, View.BLOCK), palette(job.machine.layer_colours)
    sheet = machine_sheet(
        job, shown, layers, more=["The origin is the block's lower left corner; x to the right, y upwards."]
    )
    contours = {
        CUT_AREA: shown.lowered,
        CUT_OUT: shown.cut_outs,
        FREE_FRINGE: shown.free,
        REGISTER_STOP: shown.stops,
        REGISTER: sheet.register,
        BLOCK_EDGE: geometry.polygon_array([shown.face]),
        BOARD_EDGE: geometry.polygon_array([shown.board]),
        NOTES: geometry.polygon_array([sheet.bar]),
    }
    names = layers_of(shown)
    doc = _document(version, sheet, [layers[name] for name in names])
    return _filled(doc, {layers[name]: contours[name] for name in names}, old=version == "R12")


def layers_dxf(layers: Mapping[Layer, PolygonArray], size: tuple[float, float], *, words: str) -> str:
    """Closed polylines on layers, release 2000, in millimetres, on a page of `size` with the origin at its corner.

    The `words` stand under the page, on a layer for notes.
    """
    sheet = Sheet(
        left=0,
        bottom=0,
        right=size[0],
        top=size[1],
        register=geometry.empty(),
        bar=geometry.box(*size),
        lines=(TextLine(at=(0.0, -2 * _WORDS_MM), size_mm=_WORDS_MM, text=words),),
    )
    return _filled(_document("R2000", sheet, list(layers)), layers, old=False)


def with_entities(
    version: str, sheet: Sheet, layers: list[Layer], make: Callable[[str, int], tuple[list[str], int]]
) -> str:
    """A document with the sheet's words, and entities as `make` gives them.

    Parameters
    ----------
    make
        Given the owner of all entities and the first free handle (R2000; R12 has none); returns the entities as
        texts and the next free handle.
    """
    doc = _document(version, sheet, layers)
    pieces, handle = make(doc.modelspace().layout_key, int(str(doc.entitydb.handles), 16))
    doc.entitydb.handles.reset(f"{handle:X}")
    return _spliced(_text(doc), "".join(pieces))


def ascii_text(text: str) -> str:
    """A text as DXF may hold it: letters beyond ASCII by their code."""
    return _ascii(text)


def _filled(doc: Any, contours: Mapping[Layer, PolygonArray], *, old: bool) -> str:  # noqa: ANN401
    """The document's text with the contours of each layer."""
    owner = doc.modelspace().layout_key
    handle = int(str(doc.entitydb.handles), 16)
    pieces: list[str] = []
    for layer, shapes in contours.items():
        made = _old_polylines(shapes, layer) if old else _polylines(shapes, layer, owner, handle)
        handle += 0 if old else len(made)
        pieces += made
    doc.entitydb.handles.reset(f"{handle:X}")
    return _spliced(_text(doc), "".join(pieces))


def _document(version: str, sheet: Sheet, layers: list[Layer]) -> Any:  # noqa: ANN401
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
    from ezdxf._options import options

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
    return _ascii(out.getvalue())


def _ascii(text: str) -> str:
    return _BEYOND_ASCII.sub(lambda letter: _escaped(letter[0]), text)


def _escaped(letter: str) -> str:
    r"""A letter beyond ASCII as ``\U+XXXX``; "?" if it has no such code."""
    return f"\\U+{ord(letter):04X}" if ord(letter) <= 0xFFFF else "?"


def _spliced(text: str, contours: str) -> str:
    """The contours at the end of the document's list of entities."""
    start = text.index("  0\nSECTION\n  2\nENTITIES\n")
    end = text.index("  0\nENDSEC\n", start)
    return text[:end] + contours + text[end:]


def _polylines(shapes: PolygonArray, layer: Layer, owner: str, handle: int) -> list[str]:
    found = geometry.rings(shapes)
    points = ring_texts(found.xy, found.start, before=" 10\n", between="\n 20\n", after="\n")
    head = (
        f"  0\nLWPOLYLINE\n  5\n%X\n330\n{owner}\n100\nAcDbEntity\n  8\n{_ascii(layer.name)}\n100\nAcDbPolyline\n"
        " 90\n%d\n 70\n1\n"
    )
    counts = np.diff(found.start).tolist()
    numbered = zip(itertools.count(handle), counts, points)
    return [head % (number, count) + text for number, count, text in numbered]


def _old_polylines(shapes: PolygonArray, layer: Layer) -> list[str]:
    found = geometry.rings(shapes)
    name = layer.r12_name
    points = ring_texts(
        found.xy,
        found.start,
        before=f"  0\nVERTEX\n  8\n{name}\n 10\n",
        between="\n 20\n",
        after="\n 30\n0.0\n",
    )
    head = f"  0\nPOLYLINE\n  8\n{name}\n 66\n1\n 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n1\n"
    return [f"{head}{text}  0\nSEQEND\n  8\n{name}\n" for text in points]


def _name(layer: Layer, *, old: bool) -> str:
    return layer.r12_name if old else layer.name
