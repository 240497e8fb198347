"""DXF drawings: closed outlines of each layer, nested by the even-odd rule, in the unit that the file says."""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.artwork.drawing import (
    EVERYTHING,
    Artwork,
    Notes,
    Wanted,
    known_mm_in,
    labels_in,
)
from carvegen.artwork.dxf import chains, scanned, splines
from carvegen.artwork.dxf.entities import (
    entities,
    fenced,
    name_of,
    whole,
)
from carvegen.artwork.outlines import rounds
from carvegen.artwork.outlines.clean import cleaned
from carvegen.artwork.outlines.crossings import take_overlaps
from carvegen.artwork.outlines.region import region
from carvegen.base.errors import InputError
from carvegen.base.units import MM_PER

if TYPE_CHECKING:
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["read_dxf"]

#: Millimetres in one $INSUNITS unit (published DXF reference, HEADER section); 0 means none.
INSUNITS_MM = {
    1: 25.4, 2: 304.8, 3: 1609344.0, 4: 1.0, 5: 10.0, 6: 1000.0, 7: 1e6, 8: 25.4e-6, 9: 0.0254, 10: 914.4,
    13: 1e-3, 14: 100.0, 15: 1e4, 16: 1e5,
}  # fmt: skip
_UNITS_TEXT = re.compile(r"\bUNITS\s*=\s*(MM|CM|IN|PT)\b", re.IGNORECASE)
_OUTLINES = frozenset({"ARC", "CIRCLE", "ELLIPSE", "LINE", "LWPOLYLINE", "POLYLINE", "SOLID", "SPLINE", "TRACE"})
_FILLED = frozenset({"HATCH", "MPOLYGON"})
_SILENT = frozenset({"ATTDEF", "VIEWPORT", "SEQEND"})
_CLOSE = f"close the outlines in the drawing program; gaps up to {chains.GAP_MM} mm are closed here"
_ARC_PARTS = 24  #: cubic curves for a turn: 8 x 45 degrees differ from the arc by 4e-6 of its radius


@dataclass
class _Layer:
    """What one layer holds."""

    closed: list[Floats] = field(default_factory=list)
    open: list[Floats] = field(default_factory=list)
    filled: list[PolygonArray] = field(default_factory=list)


def read_dxf(path: Path, *, units: str | None = None, scale: float = 1.0, wanted: Wanted = EVERYTHING) -> Artwork:
    """The drawing in a DXF file's model space; the origin stays where it is, and there is no page.

    Parameters
    ----------
    path
        The file.
    units
        The file's unit: mm, cm, in or pt; by default what the file says.
    scale
        Enlarges everything about the origin.
    wanted
        Which layers are read.

    Raises
    ------
    InputError
        If it can't be read, says no unit, or has outlines that don't close.
    """
    try:
        return _read(path, units, scale, wanted)
    except InputError:
        raise
    except Exception as error:  # an entity that is broken or unknown can raise anything at a first look
        raise _broken(error) from None


def _read(path: Path, units: str | None, scale: float, wanted: Wanted) -> Artwork:
    notes = Notes()
    scanned.check(path, units)
    document = _document(path, notes)
    unit_mm = _unit_mm(document, units, notes)
    reader = _Reader(unit_mm * scale, notes, wanted.tolerance_mm)
    for entity, move, layer in entities(document, notes):
        if not wanted.leaves_out(layer, notes):
            reader.take(entity, move, layer)
    wanted.check(notes)
    words = [_text(entity) for entity in document.modelspace().query("TEXT MTEXT")]
    view, new_only = labels_in(words)
    drawn = reader.shapes()
    take_overlaps(geometry.stack(part for parts in drawn.values() for part in parts), reader.budget)
    layers = cleaned(drawn, notes)
    return Artwork(
        layers,
        None,
        None,
        notes.lines(),
        tolerance_mm=wanted.tolerance_mm,
        says_view=view,
        new_cuts_only=new_only,
        unit_mm=unit_mm,
        known_mm=known_mm_in(words),
    )


def _broken(error: Exception) -> InputError:
    return InputError(
        "is not a whole DXF drawing", value=str(error)[:80] or type(error).__name__,
        hint="save it again from the drawing program, as R2000 DXF",
    )  # fmt: skip


def _document(path: Path, notes: Notes) -> Any:  # noqa: ANN401
    """The drawing; a damaged one as far as the library can repair it, if nothing is missing at its end."""
    import ezdxf
    from ezdxf import recover

    logging.getLogger("ezdxf").addHandler(logging.NullHandler())  # its warnings are not for a printmaker
    try:
        return ezdxf.readfile(path)  # type: ignore[attr-defined]
    except Exception:
        if not scanned.is_whole(path):
            raise
    document, auditor = recover.readfile(path)
    faults = [*auditor.errors, *auditor.fixes]
    notes.add(
        f"WARNING: the file is damaged and was repaired while it was read ({len(faults)} entries were mended or "
        "dropped): compare what is read with what was drawn, or save the file again as R2000 DXF",
        f"({_plainly(faults[0].message)})" if faults else "",
    )
    return document


def _plainly(text: str) -> str:
    return "".join(filter(str.isprintable, text))[:80]


def _unit_mm(document: Any, units: str | None, notes: Notes) -> float:  # noqa: ANN401
    unit_mm = INSUNITS_MM.get(whole(document.header.get("$INSUNITS", 0)))
    if unit_mm is None:
        texts = (str(text.dxf.get("text", "")) for text in document.modelspace().query("TEXT"))
        match = next((match for match in map(_UNITS_TEXT.search, texts) if match), None)
        unit_mm = MM_PER[match[1].lower()] if match else None
    if units is not None:
        if unit_mm is not None and unit_mm != MM_PER[units]:
            notes.add(f"the file says that its unit is {unit_mm:g} mm; it is read in {units}, as asked")
        return MM_PER[units]
    if unit_mm is None:
        raise scanned.no_units()
    return unit_mm


class _Reader:
    """Gathers each layer's outlines."""

    def __init__(self, unit_mm: float, notes: Notes, tolerance_mm: float) -> None:
        self.unit_mm, self.notes, self.tolerance_mm = unit_mm, notes, tolerance_mm
        self.layers: dict[str, _Layer] = {}
        self.open: dict[str, list[Floats]] = {}  #: lines that close no outline, by layer
        self.budget = bounds.Budget()

    def take(self, entity: Any, move: Any, name: str) -> None:  # noqa: ANN401
        """Add one entity to its layer."""
        kind = entity.dxftype()
        if kind in _OUTLINES:
            layer = self.layers.setdefault(name, _Layer())
            for xy in fenced(entity, lambda: self._lines(entity, move)):
                same = np.hypot(*(xy[0] - xy[-1])) < 1e-6 if len(xy) > 2 else False
                (layer.closed if same else layer.open).append(xy)
        elif kind in _FILLED:
            area = fenced(entity, lambda: region(self._hatch(entity, move), evenodd=True, budget=self.budget))
            self.layers.setdefault(name, _Layer()).filled.append(area.shapes)
        elif kind not in _SILENT and not (kind in ("TEXT", "MTEXT") and _UNITS_TEXT.search(_text(entity))):
            self.notes.add(f"{kind} is no outline and is left out", f"on layer {name!r}")

    def shapes(self) -> dict[str, list[PolygonArray]]:
        """Each layer's polygons, not yet cleaned."""
        layers = {name: self._layer(name, layer) for name, layer in self.layers.items()}
        for name, lines in self.open.items():
            if not any(len(part) for parts in layers.values() for part in parts):
                raise InputError(
                    f"has outlines that don't close: {len(lines)} lines, at {chains.places(lines)}",
                    where=f"layer {name!r}", hint=_CLOSE,
                )  # fmt: skip
            self.notes.add(
                f"WARNING: {len(lines)} lines on layer {name!r} close no outline and are left out, at "
                f"{chains.places(lines)}: are they meant to be cut? Then {_CLOSE}"
            )
        return layers

    def _layer(self, name: str, layer: _Layer) -> list[PolygonArray]:
        place = f"layer {name!r}"
        try:
            made = chains.chained(layer.open)
            if made.bridged:
                self.notes.add(f"{made.bridged} gaps narrower than {chains.GAP_MM} mm are closed", f"on {place}")
            if made.open:
                self.open[name] = made.open
            rings = [*layer.closed, *made.rings]
            once = _once(rings)
            for _ in range(len(rings) - len(once)):
                self.notes.add("an outline lies twice on the same place; it is taken once", f"on {place}")
            area = region(once, evenodd=True, budget=self.budget)
        except InputError as error:
            raise error.within(place) from None
        if area.crossing_place:
            where = f"on {place} {area.crossing_place} from the origin"
            self.notes.add("an outline crosses itself and is mended by even and odd", where)
        if area.flat:
            self.notes.add(f"{area.flat} outlines without area are left out", f"on {place}")
        return [*layer.filled, area.shapes]

    def _lines(self, entity: Any, move: Any) -> list[Floats]:  # noqa: ANN401
        from ezdxf import path as paths

        if entity.dxftype() == "LWPOLYLINE" and entity.dxf.get("const_width", 0):
            self.notes.add("the width of a polyline is not followed", name_of(entity))
        if entity.dxftype() == "CIRCLE":
            return [self._circle(entity, move)]
        if entity.dxftype() == "SPLINE":
            return [self._spline(entity, move)]
        path = paths.make_path(entity, segments=_ARC_PARTS)
        return [self._flat(path, move)] if len(path) else []

    def _hatch(self, entity: Any, move: Any) -> list[Floats]:  # noqa: ANN401
        from ezdxf import path as paths

        return [self._flat(path, move) for path in paths.from_hatch(entity) if len(path)]

    def _circle(self, entity: Any, move: Any) -> Floats:  # noqa: ANN401
        centre, radius = entity.dxf.center, abs(entity.dxf.radius)
        bounds.check_reach(np.array([*centre.xyz, radius]) * self.unit_mm)
        oval = rounds.ellipse((centre.x, centre.y), (radius, radius), self._tolerance(move))
        xyz = np.column_stack([np.concatenate([oval, oval[:1]]), np.full(len(oval) + 1, centre.z)])
        if entity.ocs().transform:
            xyz = np.array([corner.xyz for corner in entity.ocs().points_to_wcs(map(_vector(), xyz.tolist()))])
        return self._moved(xyz, move)

    def _spline(self, entity: Any, move: Any) -> Floats:  # noqa: ANN401
        curve = entity.construction_tool()  # its own flattening leaves the domain of a spline that is not clamped
        control = np.array([vertex.xyz for vertex in curve.control_points])
        weights = np.array(curve.weights() or [1.0] * len(control))
        xyz = splines.flattened(control, np.array(curve.knots()), weights, curve.degree, self._tolerance(move))
        if entity.closed and np.linalg.norm(xyz[0] - xyz[-1]) > 0:
            xyz = np.concatenate([xyz, xyz[:1]])
        return self._moved(xyz, move)

    def _moved(self, xyz: Floats, move: Any) -> Floats:  # noqa: ANN401
        rows = np.array(list(move)).reshape(4, 4)
        return self._checked(xyz @ rows[:3, :3] + rows[3, :3])

    def _flat(self, path: Any, move: Any) -> Floats:  # noqa: ANN401
        moved = path.transform(move)
        bounds.check_reach(np.array([vertex.xyz for vertex in moved.control_vertices()]) * self.unit_mm)
        vertices = moved.flattening(self.tolerance_mm / self.unit_mm / 2, 4)
        return self._checked(np.array([vertex.xyz for vertex in vertices]).reshape(-1, 3))

    def _checked(self, xyz: Floats) -> Floats:
        """Points of the model, (n, 3), in mm and seen from above."""
        xyz = xyz * self.unit_mm
        self.budget.take("points", len(xyz))
        bounds.check_reach(xyz)
        if np.ptp(xyz[:, 2]) > bounds.TOLERANCE_MM:
            self.notes.add("an outline that is not flat is seen from above")
        return xyz[:, :2]

    def _tolerance(self, move: Any) -> float:  # noqa: ANN401
        """The tolerance in a block's own units."""
        rows = np.array(list(move)).reshape(4, 4)[:3, :3]
        stretch = float(np.linalg.norm(rows, 2)) or 1.0
        return self.tolerance_mm / self.unit_mm / stretch


def _vector() -> Any:  # noqa: ANN401
    from ezdxf.math import Vec3

    return Vec3


def _text(entity: Any) -> str:  # noqa: ANN401
    return str(entity.dxf.get("text", "")) if entity.dxftype() == "TEXT" else str(entity.text)


def _once(rings: list[Floats]) -> list[Floats]:
    """The rings without those that lie on another, whatever corner they start from."""
    solid = [k for k, ring in enumerate(rings) if len(ring) > 3]
    if not solid:
        return rings
    shapes = shapely.normalize(np.array([shapely.Polygon(np.round(rings[k], 3)) for k in solid], dtype=object))
    first = {key: k for k, key in reversed(list(zip(solid, shapely.to_wkb(shapes), strict=True)))}
    kept = set(first.values()) | (set(range(len(rings))) - set(solid))
    return [rings[k] for k in sorted(kept)]
