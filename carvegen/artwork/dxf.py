"""DXF drawings: closed outlines of each layer, nested by the even-odd rule, in the unit that the file says."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen.artwork import bounds, chains, rounds, splines
from carvegen.artwork.clean import cleaned
from carvegen.artwork.drawing import EVERYTHING, Artwork, Notes, Wanted
from carvegen.artwork.region import region
from carvegen.errors import InputError
from carvegen.units import MM_PER

if TYPE_CHECKING:
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["read_dxf"]

#: Millimetres in one $INSUNITS unit (published DXF reference, HEADER section); 0 means none.
INSUNITS_MM = {
    1: 25.4, 2: 304.8, 3: 1609344.0, 4: 1.0, 5: 10.0, 6: 1000.0, 7: 1e6, 8: 25.4e-6, 9: 0.0254, 10: 914.4,
    13: 1e-3, 14: 100.0, 15: 1e4, 16: 1e5,
}  # fmt: skip
_SAID = re.compile(r"\bUNITS\s*=\s*(MM|CM|IN|PT)\b", re.IGNORECASE)
_OUTLINES = frozenset({"ARC", "CIRCLE", "ELLIPSE", "LINE", "LWPOLYLINE", "POLYLINE", "SOLID", "SPLINE", "TRACE"})
_FILLED = frozenset({"HATCH", "MPOLYGON"})
_SILENT = frozenset({"ATTDEF", "VIEWPORT", "SEQEND"})
_ARC_PARTS = 24  #: cubic curves for a turn: 8 x 45 degrees differ from the arc by 4e-6 of its radius
_MAX_NESTING = 32


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
    document = _document(path)
    notes = Notes()
    reader = _Reader(document, _unit_mm(document, units, notes) * scale, notes)
    for entity, move, layer in _entities(document, notes):
        if not wanted.leaves_out(layer, notes):
            reader.take(entity, move, layer)
    return Artwork(cleaned(reader.shapes(), notes), None, None, notes.lines())


def _document(path: Path) -> Any:  # noqa: ANN401
    import ezdxf

    logging.getLogger("ezdxf").addHandler(logging.NullHandler())  # its warnings are not for a printmaker
    try:
        return ezdxf.readfile(path)  # type: ignore[attr-defined]
    except Exception as error:  # a broken file can raise anything in there
        raise InputError(
            "is not a whole DXF drawing", value=str(error)[:80] or type(error).__name__,
            hint="save it again from the drawing program, as R2000 DXF",
        ) from None  # fmt: skip


def _unit_mm(document: Any, units: str | None, notes: Notes) -> float:  # noqa: ANN401
    said = INSUNITS_MM.get(_whole(document.header.get("$INSUNITS", 0)))
    if said is None:
        texts = (str(text.dxf.get("text", "")) for text in document.modelspace().query("TEXT"))
        found = next((match for match in map(_SAID.search, texts) if match), None)
        said = MM_PER[found[1].lower()] if found else None
    if units is not None:
        if said is not None and said != MM_PER[units]:
            notes.add(f"the file says that its unit is {said:g} mm; it is read in {units}, as asked")
        return MM_PER[units]
    if said is None:
        raise InputError("has no units", hint="say them: --units mm")
    return said


def _whole(value: object) -> int:
    try:
        return int(value)  # type: ignore[call-overload, no-any-return]
    except (TypeError, ValueError):
        return 0


def _entities(document: Any, notes: Notes) -> Iterator[tuple[Any, Any, str]]:  # noqa: ANN401
    """Each visible entity of the model space, its move to the model's coordinates, and its layer."""
    from ezdxf.math import Matrix44

    hidden = {layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen()}
    _check_count(document)
    waiting: list[tuple[Any, Any, str]] = [
        (entity, Matrix44(), "0") for entity in reversed(list(document.modelspace()))
    ]
    while waiting:
        entity, move, above = waiting.pop()
        own = str(entity.dxf.get("layer", "0"))
        layer = above if own == "0" else own
        if layer.lower() in hidden or entity.dxf.get("invisible", 0):
            notes.add("hidden things are left out", f"on layer {layer!r}")
        elif entity.dxftype() == "INSERT":
            inner = _fenced(entity, partial(_inserted, entity))
            waiting.extend((part, within * move, layer) for part, within in inner)
        else:
            yield entity, move, layer


def _check_count(document: Any) -> None:  # noqa: ANN401
    """Refuse blocks that contain themselves or unfold to too many entities, before any is unfolded."""
    counts: dict[str, int] = {}
    for _ in range(_MAX_NESTING):
        before = dict(counts)
        for block in document.blocks:
            counts[block.name.lower()] = sum(_times(entity, before) for entity in block)
        if counts == before:
            break
    else:
        raise InputError(
            f"nests blocks more than {_MAX_NESTING} deep", hint="explode the blocks in the drawing program"
        )
    total = counts.get(document.modelspace().block_record.dxf.name.lower(), 0)
    if total > bounds.MAX_SHAPES:
        raise InputError(
            f"draws more than {bounds.MAX_SHAPES} entities, inserted ones counted", value=total,
            hint="simplify the drawing, or split it into several files",
        )  # fmt: skip


def _times(entity: Any, counts: dict[str, int]) -> int:  # noqa: ANN401
    """How many entities one stands for, at most a little more than may be drawn."""
    if entity.dxftype() != "INSERT":
        return 1
    each = 1 + counts.get(str(entity.dxf.get("name", "")).lower(), 0)
    rows, columns = (max(1, _whole(entity.dxf.get(key, 1))) for key in ("row_count", "column_count"))
    return int(min(each * rows * columns, 10 * bounds.MAX_SHAPES))


def _inserted(insert: Any) -> list[tuple[Any, Any]]:  # noqa: ANN401
    """The entities of an inserted block with their moves, as often as it is inserted."""
    block = insert.block()
    if block is None:
        raise InputError("shows a block that is not in the file", value=str(insert.dxf.get("name", ""))[:40])
    places = insert.multi_insert() if insert.mcount > 1 else [insert]
    return [(entity, place.matrix44()) for place in places for entity in reversed(list(block))]


def _fenced(entity: Any, work: Any) -> Any:  # noqa: ANN401
    """What `work` returns; whatever a broken entity raises in the library becomes an `InputError`."""
    try:
        return work()
    except InputError as error:
        raise error.within(_name(entity)) from None
    except Exception as error:
        raise InputError(
            "can't be read", value=str(error)[:80] or type(error).__name__, where=_name(entity),
            hint="draw it again, or save the file again as R2000 DXF",
        ) from None  # fmt: skip


def _name(entity: Any) -> str:  # noqa: ANN401
    return f"{entity.dxftype()} #{entity.dxf.get('handle', '?')} on layer {entity.dxf.get('layer', '0')!r}"


class _Reader:
    """Gathers each layer's outlines."""

    def __init__(self, document: Any, unit_mm: float, notes: Notes) -> None:  # noqa: ANN401
        self.document, self.unit_mm, self.notes = document, unit_mm, notes
        self.layers: dict[str, _Layer] = {}
        self.points = 0

    def take(self, entity: Any, move: Any, name: str) -> None:  # noqa: ANN401
        """Add one entity to its layer."""
        kind = entity.dxftype()
        if kind in _OUTLINES:
            layer = self.layers.setdefault(name, _Layer())
            for xy in _fenced(entity, lambda: self._lines(entity, move)):
                same = np.hypot(*(xy[0] - xy[-1])) < 1e-6 if len(xy) > 2 else False
                (layer.closed if same else layer.open).append(xy)
        elif kind in _FILLED:
            found = _fenced(entity, lambda: region(self._hatch(entity, move), evenodd=True))
            self.layers.setdefault(name, _Layer()).filled.append(found.shapes)
        elif kind not in _SILENT and not (kind in ("TEXT", "MTEXT") and _SAID.search(_text(entity))):
            self.notes.add(f"{kind} is no outline and is left out", f"on layer {name!r}")

    def shapes(self) -> dict[str, list[PolygonArray]]:
        """Each layer's polygons, not yet cleaned."""
        return {name: self._layer(name, layer) for name, layer in self.layers.items()}

    def _layer(self, name: str, layer: _Layer) -> list[PolygonArray]:
        place = f"layer {name!r}"
        try:
            rings, bridged = chains.rings(layer.open)
            if bridged:
                self.notes.add(f"{bridged} gaps narrower than {chains.GAP_MM} mm are closed", f"on {place}")
            once = _once([*layer.closed, *rings])
            for _ in range(len(layer.closed) + len(rings) - len(once)):
                self.notes.add("an outline lies twice on the same place; it is taken once", f"on {place}")
            found = region(once, evenodd=True)
        except InputError as error:
            raise error.within(place) from None
        if found.crossing_at:
            x, y = found.crossing_at
            self.notes.add("an outline crosses itself and is mended by even and odd", f"near {x:.1f}, {y:.1f} mm")
        if found.flat:
            self.notes.add(f"{found.flat} outlines without area are left out", f"on {place}")
        return [*layer.filled, found.shapes]

    def _lines(self, entity: Any, move: Any) -> list[Floats]:  # noqa: ANN401
        from ezdxf import path as paths

        if entity.dxftype() == "LWPOLYLINE" and entity.dxf.get("const_width", 0):
            self.notes.add("the width of a polyline is not followed", _name(entity))
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
        vertices = moved.flattening(bounds.TOLERANCE_MM / self.unit_mm / 2, 4)
        return self._checked(np.array([vertex.xyz for vertex in vertices]).reshape(-1, 3))

    def _checked(self, xyz: Floats) -> Floats:
        """Points of the model, (n, 3), in mm and seen from above."""
        xyz = xyz * self.unit_mm
        self.points += len(xyz)
        bounds.check_points(self.points)
        bounds.check_reach(xyz)
        if np.ptp(xyz[:, 2]) > bounds.TOLERANCE_MM:
            self.notes.add("an outline that is not flat is seen from above")
        return xyz[:, :2]

    def _tolerance(self, move: Any) -> float:  # noqa: ANN401
        """The tolerance in a block's own units."""
        rows = np.array(list(move)).reshape(4, 4)[:3, :3]
        stretch = float(np.linalg.norm(rows, 2)) or 1.0
        return bounds.TOLERANCE_MM / self.unit_mm / stretch


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
