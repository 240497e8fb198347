"""Gestures as the page sends them, checked: what comes from outside is a frozen value or an error."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen.base.errors import InputError
from carvegen.marking.marks import Meaning

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = [
    "Area", "Bare", "ChooseTry", "Clear", "ClearStrip", "CutBy", "Draw", "Erase", "Gesture", "Keep", "Leave", "Mend",
    "Move", "Redraw", "Step", "Stroke", "TakeAway", "TakeMarks", "Try", "Weather", "gesture", "names_shapes",
]  # fmt: skip

_ID = re.compile(r"[A-Za-z0-9_-]{1,64}")
_MOST_POINTS, _MOST_IDS = 20_000, 100_000
_FAR_MM = 5_000.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Stroke:
    """A line drawn with a pencil of a meaning."""

    meaning: Meaning
    breadth_mm: float
    strength: float
    points: Floats  #: (n, 3): x, y, pressure 0…1
    motifs: tuple[str, ...]
    blocks: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Area:
    """An outline that is filled with a mark."""

    meaning: Meaning
    strength: float
    points: Floats  #: (n, 3)
    motifs: tuple[str, ...]
    blocks: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Erase:
    """Marks are rubbed out."""

    breadth_mm: float
    points: Floats
    whole: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class TakeAway:
    """Shapes go: those named, or those that a line touches."""

    ids: tuple[int, ...]
    breadth_mm: float
    points: Floats | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Move:
    """Shapes are moved, turned about a point, made larger or smaller."""

    ids: tuple[int, ...]
    by: tuple[float, float]
    turn_deg: float
    scale: float
    about: tuple[float, float]
    copied: bool  #: what was there stays, too


@dataclass(frozen=True, kw_only=True, eq=False)
class Redraw:
    """A shape gets a new outline, or a new edge from where a line leaves its outline to where it meets it again."""

    shape: int
    points: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class Draw:
    """A shape of her own."""

    motif: str
    points: Floats


@dataclass(frozen=True, kw_only=True)
class Bare:
    """What lies at a place goes bare, or comes back."""

    at: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Keep:
    """A motif is kept, or let go."""

    motif: str
    kept: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class Try:
    """What has grown in an outline grows anew, another try each time."""

    motif: str
    points: Floats


@dataclass(frozen=True, kw_only=True)
class ChooseTry:
    """An earlier try, or a later one, of a mark."""

    mark: str
    attempt: int  #: 0: as it was before the first


@dataclass(frozen=True, kw_only=True)
class Leave:
    """A finding is left to the carver's knife, or taken up again."""

    finding: str


@dataclass(frozen=True, kw_only=True)
class Mend:
    """What would break is mended when the block is built."""

    finding: str


@dataclass(frozen=True, kw_only=True)
class Clear:
    """What would break is cleared by a mark about its place: snow goes, or the block's land."""

    finding: str
    meaning: Meaning


@dataclass(frozen=True, kw_only=True)
class ClearStrip:
    """What would break along one land is cleared by one mark: snow goes along it, or else the land."""

    finding: str  #: any of its places


@dataclass(frozen=True, kw_only=True, eq=False)
class Weather:
    """A motif grows by another preset, or by other settings."""

    motif: str
    preset: str
    settings: Mapping[str, Any]  #: as the print file's reader checks them


@dataclass(frozen=True, kw_only=True)
class CutBy:
    """Others cut the print; what is empty stays each block's own."""

    kinds: tuple[str, ...]  #: each once
    material: str
    cutter: str


@dataclass(frozen=True, kw_only=True)
class TakeMarks:
    """What was read of photographs, of a coloured sheet or a cut block, becomes marks."""

    sheet: str


@dataclass(frozen=True, kw_only=True)
class Step:
    """Undo or redo."""

    back: bool


Gesture = (
    Stroke | Area | Erase | TakeAway | Move | Redraw | Draw | Bare | Keep | Try | ChooseTry | Leave | Mend | Clear
    | ClearStrip | Weather | CutBy | TakeMarks | Step
)  # fmt: skip


def gesture(body: Any) -> tuple[str, Gesture]:  # noqa: ANN401
    """The id of a gesture, and what is to be done.

    Raises
    ------
    InputError
        If it is none, with what is wrong.
    """
    fields = _Fields(body)
    name, do = fields.text("id"), fields.text("do")
    if not _ID.fullmatch(name):
        raise InputError("must be letters and digits, at most 64", value=name, field="id")
    if do not in _MAKERS:
        raise InputError("must be a known gesture", value=do, field="do", hint=f"one of: {', '.join(_MAKERS)}")
    return name, _MAKERS[do](fields)


def names_shapes(gesture: Gesture) -> bool:
    """Whether a gesture names shapes by their numbers, which hold as long as the print is not opened again."""
    return isinstance(gesture, Move | Redraw) or (isinstance(gesture, TakeAway) and bool(gesture.ids))


class _Fields:
    """A JSON object whose values are checked as they are taken."""

    def __init__(self, body: Any) -> None:  # noqa: ANN401
        if not isinstance(body, Mapping):
            raise InputError("must be an object", value=type(body).__name__)
        self._body = body

    def has(self, key: str) -> bool:
        return self._body.get(key) is not None

    def text(self, key: str, usual: str | None = None) -> str:
        value = self._body.get(key, usual)
        if not isinstance(value, str) or len(value) > 200:
            raise InputError("must be a text", value=value, field=key)
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        value = self._body.get(key) or []
        if not isinstance(value, list) or len(value) > 100 or not all(isinstance(item, str) for item in value):
            raise InputError("must be a list of texts", field=key)
        return tuple(value)

    def values(self, key: str) -> Mapping[str, Any]:
        value = self._body.get(key) or {}
        plain = isinstance(value, dict) and all(isinstance(item, str | int | float | bool) for item in value.values())
        if not plain or len(value) > 100:
            raise InputError("must be an object of plain values", field=key)
        return dict(value)

    def number(self, key: str, least: float, most: float, usual: float | None = None) -> float:
        return _number(self._body.get(key, usual), key, least, most)

    def flag(self, key: str) -> bool:
        return self._body.get(key) is True

    def place(self, key: str) -> tuple[float, float]:
        value = self._body.get(key)
        if not isinstance(value, list) or len(value) != 2:
            raise InputError("must be a place: two numbers", field=key)
        return _number(value[0], key, -_FAR_MM, _FAR_MM), _number(value[1], key, -_FAR_MM, _FAR_MM)

    def whole(self, value: object, key: str) -> int:
        if type(value) is not int or not 0 <= value < 2**32:
            raise InputError("must be the number of a shape", value=value, field=key)
        return value

    def shape(self, key: str) -> int:
        return self.whole(self._body.get(key), key)

    def ids(self, key: str) -> tuple[int, ...]:
        value = self._body.get(key) or []
        if not isinstance(value, list) or len(value) > _MOST_IDS:
            raise InputError("must be a list of shapes", field=key)
        return tuple(self.whole(item, key) for item in value)

    def points(self, least: int = 1) -> Floats:
        """Places and the pressure at each, 1 where it is not said; (n, 3)."""
        value = self._body.get("points")
        if not isinstance(value, list) or not least <= len(value) <= _MOST_POINTS:
            raise InputError(f"must be a list of {least} to {_MOST_POINTS} points", field="points")
        try:
            rows = [[*item, 1.0][:3] for item in value]
            result = np.array(rows, dtype=float)
        except (TypeError, ValueError, OverflowError):
            raise InputError("must be points: two or three numbers each", field="points") from None
        if result.shape != (len(value), 3) or not np.isfinite(result).all() or np.abs(result).max() > _FAR_MM:
            raise InputError("must be points: two or three numbers each", field="points")
        return result


def _number(value: object, key: str, least: float, most: float) -> float:
    good = isinstance(value, int | float) and not isinstance(value, bool)
    if not good or not least <= value <= most:  # type: ignore[operator]
        raise InputError(f"must lie in {least:g}…{most:g}", value=value, field=key)
    return float(value)  # type: ignore[arg-type]


def _meaning(fields: _Fields) -> Meaning:
    try:
        return Meaning(fields.text("meaning"))
    except ValueError:
        raise InputError("must be a known meaning", field="meaning", hint=f"one of: {', '.join(Meaning)}") from None


def _for(fields: _Fields) -> dict[str, Any]:
    motifs = (fields.text("motif"),) if fields.has("motif") else fields.texts("motifs")
    return {"motifs": motifs, "blocks": fields.texts("blocks"), "strength": fields.number("strength", 0.02, 1, 1.0)}


def _stroke(fields: _Fields) -> Stroke:
    return Stroke(
        meaning=_meaning(fields), breadth_mm=fields.number("breadth", 0.1, 200), points=fields.points(), **_for(fields)
    )


def _area(fields: _Fields) -> Area:
    return Area(meaning=_meaning(fields), points=fields.points(3), **_for(fields))


def _erase(fields: _Fields) -> Erase:
    return Erase(breadth_mm=fields.number("breadth", 0.1, 200), points=fields.points(), whole=fields.flag("whole"))


def _take_away(fields: _Fields) -> TakeAway:
    points = fields.points() if fields.has("points") else None
    if points is None and not fields.ids("ids"):
        raise InputError("names nothing", field="ids")
    return TakeAway(ids=fields.ids("ids"), breadth_mm=fields.number("breadth", 0.01, 200, 0.1), points=points)


def _move(fields: _Fields) -> Move:
    ids = fields.ids("ids")
    if not ids:
        raise InputError("names nothing", field="ids")
    return Move(
        ids=ids, by=(fields.number("dx", -_FAR_MM, _FAR_MM, 0.0), fields.number("dy", -_FAR_MM, _FAR_MM, 0.0)),
        turn_deg=fields.number("turn_deg", -360, 360, 0.0), scale=fields.number("scale", 0.1, 10, 1.0),
        about=fields.place("about") if fields.has("about") else (0.0, 0.0), copied=fields.flag("copied"),
    )  # fmt: skip


def _cut_by(fields: _Fields) -> CutBy:
    kinds = tuple(dict.fromkeys(fields.texts("for")))
    if fields.has("for") and not kinds:
        raise InputError("names nobody who cuts it", field="for", hint="choose a machine, or your own hand")
    return CutBy(kinds=kinds, material=fields.text("material", ""), cutter=fields.text("cutter", ""))


def cut_by(material: str, cutter: str, kinds: Sequence[str]) -> CutBy:
    """A wish that others cut the print, as its gesture would say it, before it is one."""
    return _cut_by(_Fields({"material": material, "cutter": cutter, "for": list(kinds) or None}))


_MAKERS: Mapping[str, Callable[[_Fields], Gesture]] = {
    "stroke": _stroke,
    "area": _area,
    "erase": _erase,
    "take away": _take_away,
    "move": _move,
    "redraw": lambda fields: Redraw(shape=fields.shape("shape"), points=fields.points(2)),
    "draw": lambda fields: Draw(motif=fields.text("motif"), points=fields.points(3)),
    "bare": lambda fields: Bare(at=fields.place("at")),
    "keep": lambda fields: Keep(motif=fields.text("motif"), kept=True),
    "let go": lambda fields: Keep(motif=fields.text("motif"), kept=False),
    "try": lambda fields: Try(motif=fields.text("motif"), points=fields.points(3)),
    "choose try": lambda fields: ChooseTry(mark=fields.text("mark"), attempt=int(fields.number("attempt", 0, 10_000))),
    "leave": lambda fields: Leave(finding=fields.text("finding")),
    "clear": lambda fields: Clear(finding=fields.text("finding"), meaning=_meaning(fields)),
    "clear strip": lambda fields: ClearStrip(finding=fields.text("finding")),
    "mend": lambda fields: Mend(finding=fields.text("finding")),
    "weather": lambda fields: Weather(
        motif=fields.text("motif"), preset=fields.text("preset", ""), settings=fields.values("settings")
    ),
    "cut by": _cut_by,
    "take marks": lambda fields: TakeMarks(sheet=fields.text("sheet")),
    "undo": lambda _: Step(back=True),
    "redo": lambda _: Step(back=False),
}
